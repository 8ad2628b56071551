"""Temperatures read between and during runs, and signs that a motor runs."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from sqlalchemy import Connection, and_, bindparam, insert, select, update

from . import entries
from .fact_tables import reading, watched
from .tables import run

FOR_EVER_MS = 2**62


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


def between(
    connection: Connection, account_no: int, grinder_no: int, *, from_ms: int, to_ms: int
) -> list[ReadingRow]:
    """Readings of known time in [from, to), earliest first, without voided ones."""
    rows = connection.execute(
        _BETWEEN,
        {
            "account_no": account_no,
            "grinder_no": grinder_no,
            "from_ms": from_ms,
            "to_ms": to_ms,
        },
    )
    return [_row(row) for row in rows]


def latest_motor(
    connection: Connection, account_no: int, grinder_no: int, *, from_ms: int, to_ms: int
) -> tuple[int, int] | None:
    """The latest motor temperature inside (from, to]: its instant and tenths of a degree."""
    row = connection.execute(
        _LATEST_MOTOR,
        {
            "account_no": account_no,
            "grinder_no": grinder_no,
            "from_ms": from_ms,
            "to_ms": to_ms,
        },
    ).first()
    return None if row is None else (row[0], row[1])


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
    grinder_no: int,
    run_keys: Iterable[bytes],
    *,
    until_ms: int,
) -> set[bytes]:
    """Which of the runs named by a grinder's readings have come as its runs, begun by an instant.

    A run of another grinder under that id is another run.
    """
    rows = connection.execute(
        _CLOSED,
        {
            "account_no": account_no,
            "grinder_no": grinder_no,
            "keys": sorted(set(run_keys)),
            "until_ms": until_ms,
        },
    )
    return {bytes(key) for (key,) in rows}


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


def watched_within(
    connection: Connection,
    account_no: int,
    grinder_no: int,
    *,
    low_ms: int,
    high_ms: int,
    at_ms: int,
) -> tuple[list[tuple[int, int]], bool]:
    """The watched spans that touch [low, high], and whether any at all began by an instant.

    Corrections take back what was not watched; a span that lies in one was never watched.
    """
    wanted = [watched.c.account_no == account_no, watched.c.grinder_no == grinder_no]
    rows = connection.execute(
        select(watched.c.from_ms, watched.c.to_ms)
        .where(*wanted, watched.c.from_ms <= high_ms, watched.c.to_ms >= low_ms)
        .order_by(watched.c.from_ms, watched.c.to_ms)
    ).all()
    spans = [(row.from_ms, row.to_ms) for row in rows]
    taken_back = [
        (entry.from_ms, FOR_EVER_MS if entry.to_ms is None else entry.to_ms)
        for entry in entries.in_force(connection, account_no, [grinder_no], [entries.CORRECTION])
        if entry.body.get("is_unwatched")
    ]
    if spans and not taken_back:
        return spans, True
    any_row = connection.execute(
        select(watched.c.from_ms)
        .where(
            *wanted,
            watched.c.from_ms <= at_ms,
            *((watched.c.from_ms < low) | (watched.c.to_ms > high) for low, high in taken_back),
        )
        .limit(1)
    ).first()
    return _without(spans, taken_back), any_row is not None


def _without(spans: list[tuple[int, int]], taken: list[tuple[int, int]]) -> list[tuple[int, int]]:
    for low, high in taken:
        pieces = [
            piece
            for begin, end in spans
            for piece in ((begin, min(end, low)), (max(begin, high), end))
        ]
        spans = [piece for piece in pieces if piece[0] < piece[1]]
    return spans


_KNOWN = select(reading.c.reading_key, reading.c.fingerprint).where(
    reading.c.account_no == bindparam("account_no"),
    reading.c.reading_key.in_(bindparam("keys", expanding=True)),
)
_BETWEEN = (
    select(*COLUMNS)
    .where(
        reading.c.account_no == bindparam("account_no"),
        reading.c.grinder_no == bindparam("grinder_no"),
        reading.c.at_ms >= bindparam("from_ms"),
        reading.c.at_ms < bindparam("to_ms"),
        reading.c.voided_ms.is_(None),
        reading.c.time_source != 2,  # received: when it was read is not known
    )
    .order_by(reading.c.at_ms, reading.c.reading_key)
)
_LATEST_MOTOR = (
    select(reading.c.at_ms, reading.c.motor_decicelsius)
    .where(
        reading.c.account_no == bindparam("account_no"),
        reading.c.grinder_no == bindparam("grinder_no"),
        reading.c.at_ms > bindparam("from_ms"),
        reading.c.at_ms <= bindparam("to_ms"),
        reading.c.motor_decicelsius.is_not(None),
        reading.c.voided_ms.is_(None),
        reading.c.time_source != 2,
    )
    .order_by(reading.c.at_ms.desc(), reading.c.motor_decicelsius.desc())
    .limit(1)
)
_CLOSED = select(run.c.run_key).where(
    and_(
        run.c.account_no == bindparam("account_no"),
        run.c.grinder_no == bindparam("grinder_no"),
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
