"""Temperatures read between and during runs, and signs that a motor runs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from sqlalchemy import Connection, and_, bindparam, insert, select, update

from ..core.records import TIME_SOURCES
from .fact_tables import reading, watched
from .many import Many, for_each
from .runs import CHUNK_COUNT
from .stretches import LONGEST_RUN_MS
from .tables import run


class ReadingRow(NamedTuple):
    """A reading in stored units."""

    reading_key: bytes
    reading_id: str | None
    grinder_no: int
    at_ms: int
    motor_decicelsius: int | None
    ambient_decicelsius: int | None
    is_running: bool | None
    run_key: bytes | None
    run_id: str | None
    time_source: int
    source_no: int | None
    fingerprint: bytes
    received_ms: int
    voided_ms: int | None = None


_NAMES = ReadingRow._fields
COLUMNS = tuple(reading.c[name] for name in _NAMES)


def known(connection: Connection, account_no: int, keys: Iterable[bytes]) -> dict[bytes, bytes]:
    """Fingerprints of the readings that are there already."""
    rows = connection.execute(_KNOWN, {"account_no": account_no, "keys": sorted(set(keys))})
    return {bytes(row.reading_key): bytes(row.fingerprint) for row in rows}


def add(connection: Connection, account_no: int, rows: Sequence[ReadingRow]) -> None:
    """Insert new readings; the grinders' state rows must be locked."""
    if rows:
        connection.execute(
            insert(reading), [{"account_no": account_no, **row._asdict()} for row in rows]
        )


def by_key(connection: Connection, account_no: int, reading_key: bytes) -> ReadingRow | None:
    row = connection.execute(
        select(*COLUMNS).where(
            reading.c.account_no == account_no, reading.c.reading_key == reading_key
        )
    ).first()
    return None if row is None else _row(row)


def void(connection: Connection, account_no: int, reading_key: bytes, *, voided_ms: int) -> bool:
    return (
        connection.execute(
            update(reading)
            .where(
                reading.c.account_no == account_no,
                reading.c.reading_key == reading_key,
                reading.c.voided_ms.is_(None),
            )
            .values(voided_ms=voided_ms)
        ).rowcount
        == 1
    )


def signs_of_running(
    connection: Connection, account_no: int, since_ms: Mapping[int, int], *, until_ms: int
) -> dict[int, list[tuple[bytes, int]]]:
    """Of each grinder the readings that said its motor ran, with the run they named.

    Those at or before an instant, from the longest run before an instant of its own on.
    """
    found: dict[int, list[tuple[bytes, int]]] = defaultdict(list)
    for number, run_key, at_ms in _RUNNING.rows(
        connection, list(since_ms.items()), account_no=account_no, until_ms=until_ms
    ):
        found[number].append((bytes(run_key), at_ms))
    return found


def of_motors(
    connection: Connection, account_no: int, since_ms: Mapping[int, int], *, until_ms: int
) -> dict[int, list[tuple[int, int]]]:
    """Instants and tenths of a degree from an instant of each grinder's own on, up to one."""
    found: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for number, at_ms, decicelsius in _OF_MOTORS.rows(
        connection, list(since_ms.items()), account_no=account_no, until_ms=until_ms
    ):
        found[number].append((at_ms, decicelsius))
    return found


def lags_ms(
    connection: Connection, account_no: int, since_ms: Mapping[int, int], *, until_ms: int
) -> list[int]:
    """How long after their own instant readings were received, from an instant on."""
    rows = _LAGS.rows(connection, list(since_ms.items()), account_no=account_no, until_ms=until_ms)
    return [lag_ms for (lag_ms,) in rows]


def listed(
    connection: Connection,
    account_no: int,
    grinder_no: int,
    *,
    from_ms: int | None,
    to_ms: int | None,
    limit: int,
    after: tuple[int, bytes] | None,
) -> list[ReadingRow]:
    """Readings from the earliest on, voided ones included and marked."""
    wanted = [reading.c.account_no == account_no, reading.c.grinder_no == grinder_no]
    if from_ms is not None:
        wanted.append(reading.c.at_ms >= from_ms)
    if to_ms is not None:
        wanted.append(reading.c.at_ms < to_ms)
    if after is not None:
        at_ms, key = after
        wanted.append(reading.c.at_ms >= at_ms)
        wanted.append((reading.c.at_ms > at_ms) | (reading.c.reading_key > key))
    rows = connection.execute(
        select(*COLUMNS)
        .where(*wanted)
        .order_by(reading.c.at_ms, reading.c.reading_key)
        .limit(limit)
    )
    return [_row(row) for row in rows]


def closed_runs(
    connection: Connection,
    account_no: int,
    named: Iterable[tuple[int, bytes]],
    *,
    until_ms: int,
) -> set[tuple[int, bytes]]:
    """Which of the runs that readings name have come as runs of their grinder by an instant.

    ``named`` are (grinder, run) pairs: a run of another grinder under that id is another run.
    """
    named = set(named)
    keys = sorted({run_key for _, run_key in named})
    closed: set[tuple[int, bytes]] = set()
    for start in range(0, len(keys), CHUNK_COUNT):
        chunk = keys[start : start + CHUNK_COUNT]
        of_chunk = {"account_no": account_no, "keys": chunk, "until_ms": until_ms}
        closed.update((row[0], bytes(row[1])) for row in connection.execute(_CLOSED, of_chunk))
    return closed & named


def add_watched(
    connection: Connection, account_no: int, spans: Iterable[tuple[int, int, int]]
) -> None:
    """Record (grinder, from, to) that somebody watched; the same span twice is once."""
    for grinder_no, from_ms, to_ms in sorted(set(spans)):
        there = connection.execute(
            select(watched.c.to_ms).where(
                watched.c.account_no == account_no,
                watched.c.grinder_no == grinder_no,
                watched.c.from_ms == from_ms,
                watched.c.to_ms == to_ms,
            )
        ).first()
        if there is None:
            connection.execute(
                insert(watched).values(
                    account_no=account_no, grinder_no=grinder_no, from_ms=from_ms, to_ms=to_ms
                )
            )


def watched_since(
    connection: Connection, account_no: int, since_ms: Mapping[int, int], *, until_ms: int
) -> dict[int, list[tuple[int, int]]]:
    """The watched spans of each grinder that touch the time from an instant of its own on."""
    found: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for number, from_ms, to_ms in _WATCHED.rows(
        connection, list(since_ms.items()), account_no=account_no, until_ms=until_ms
    ):
        found[number].append((from_ms, to_ms))
    return {number: sorted(spans) for number, spans in found.items()}


def is_watched_beside(
    connection: Connection,
    account_no: int,
    grinder_no: int,
    taken_back: Sequence[tuple[int, int]],
    *,
    until_ms: int,
) -> bool:
    """Whether any watched span begun by an instant lies in none of those taken back."""
    found = connection.execute(
        select(watched.c.from_ms)
        .where(
            watched.c.account_no == account_no,
            watched.c.grinder_no == grinder_no,
            watched.c.from_ms <= until_ms,
            *((watched.c.from_ms < low) | (watched.c.to_ms > high) for low, high in taken_back),
        )
        .limit(1)
    ).first()
    return found is not None


_KNOWN = select(reading.c.reading_key, reading.c.fingerprint).where(
    reading.c.account_no == bindparam("account_no"),
    reading.c.reading_key.in_(bindparam("keys", expanding=True)),
)
_OF_EACH = (
    "reading.account_no = :account_no"
    " AND reading.grinder_no = asked.grinder_no AND reading.at_ms <= :until_ms"
    " AND reading.voided_ms IS NULL"
    f" AND reading.time_source <> {TIME_SOURCES.index('received')}"  # when it was read: not known
)
_RUNNING = Many(
    for_each(
        "reading",
        "reading.grinder_no, reading.run_key, reading.at_ms",
        f"{_OF_EACH} AND reading.at_ms >= asked.since_ms - {LONGEST_RUN_MS}"
        " AND reading.is_running AND reading.run_key IS NOT NULL",
    ),
    asked=("grinder_no", "since_ms"),
)
_OF_MOTORS = Many(
    for_each(
        "reading",
        "reading.grinder_no, reading.at_ms, reading.motor_decicelsius",
        f"{_OF_EACH} AND reading.at_ms >= asked.since_ms AND reading.motor_decicelsius IS NOT NULL",
    ),
    asked=("grinder_no", "since_ms"),
)
_LAGS = Many(
    for_each(
        "reading",
        "reading.received_ms - reading.at_ms AS lag_ms",
        f"{_OF_EACH} AND reading.at_ms >= asked.since_ms",
    ),
    asked=("grinder_no", "since_ms"),
)
_WATCHED = Many(
    for_each(
        "watched",
        "watched.grinder_no, watched.from_ms, watched.to_ms",
        "watched.account_no = :account_no AND watched.grinder_no = asked.grinder_no"
        " AND watched.from_ms <= :until_ms AND watched.to_ms >= asked.since_ms",
    ),
    asked=("grinder_no", "since_ms"),
)
_CLOSED = select(run.c.grinder_no, run.c.run_key).where(
    and_(
        run.c.account_no == bindparam("account_no"),
        run.c.run_key.in_(bindparam("keys", expanding=True)),
        run.c.started_ms <= bindparam("until_ms"),
    )
)


def _row(row: object) -> ReadingRow:
    values = row._asdict()  # type: ignore[attr-defined]
    for name in ("reading_key", "run_key", "fingerprint"):
        if values[name] is not None:
            values[name] = bytes(values[name])
    return ReadingRow(**values)
