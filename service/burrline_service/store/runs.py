"""Runs: one row each, found again by the key of their id; rows in, rows out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache
from operator import itemgetter
from typing import Any, NamedTuple

from sqlalchemy import Connection, Table, and_, bindparam, delete, func, insert, select, update

from . import arrays
from .tables import run, run_more, run_seen

CHUNK_COUNT = 1000
VOIDED, CORRECTED_OUT = 1, 2  # why a run is left out of what counts; 0: it is not


class RunRow(NamedTuple):
    """A run in stored units: milliseconds, milligrams, tenths of a degree."""

    run_key: bytes
    run_id: str | None
    grinder_no: int
    started_ms: int
    on_ms: int | None
    grams_mg: int | None
    grams_basis: int
    feed: int | None
    purpose: int
    setting_milli: int | None
    rpm: int | None
    energy_joules: int | None
    motor_decicelsius: int | None
    ambient_decicelsius: int | None
    time_source: int
    source_no: int | None
    fingerprint: bytes
    received_ms: int
    voided_ms: int | None = None
    raw_started_ms: int | None = None
    raw_grams_mg: int | None = None
    left_out: int = 0
    part: int | None = None
    more: dict[str, Any] | None = None


_NAMES = RunRow._fields[:-1]
COLUMNS = tuple(run.c[name] for name in _NAMES)
_LEFT_OUT = {"left_out": 0}


def add(connection: Connection, account_no: int, rows: Sequence[RunRow]) -> set[bytes]:
    """Insert the rows whose key is new, also to the archive; returns the keys inserted.

    A concurrent writer of the same key wins or loses as a whole row. Of rows with one key the
    caller sends one.
    """
    if not rows:
        return set()
    # by key alone: two writers of the same keys meet in one order, whatever their grinders
    ordered = sorted(rows, key=itemgetter(0))
    add_all = _add_postgresql if connection.dialect.name == "postgresql" else _add_sqlite
    added = add_all(connection, account_no, ordered)
    more = [
        {"account_no": account_no, "run_key": row.run_key, "more": row.more}
        for row in ordered
        if row.more and row.run_key in added
    ]
    if more:
        connection.execute(insert(run_more), more)
    return added


def _add_postgresql(
    connection: Connection, account_no: int, ordered: Sequence[RunRow]
) -> set[bytes]:
    """One statement; what the archive turns out to know is taken back.

    The archive is looked at last: what moved there while we inserted is then in sight.
    """
    columns = list(zip(*ordered, strict=True))[:-1]
    places = [  # a column that is left out is NULL, or 0 as it is here
        place
        for place, column in enumerate(columns)
        if any(column) or column.count(_LEFT_OUT.get(_NAMES[place])) < len(column)
    ]
    names = tuple(_NAMES[place] for place in places)
    count, kept = connection.exec_driver_sql(
        _postgresql_insert(names),
        (
            account_no,
            *arrays.written(run, names, (columns[place] for place in places)),
            len(ordered),
        ),
    ).one()
    added = {row.run_key for row in ordered} if count == len(ordered) else {*map(bytes, kept or ())}
    if added and has_archived(connection, account_no):
        stale = _known(connection, account_no, added, run_seen).keys()
        if stale:
            connection.execute(
                delete(run).where(run.c.account_no == account_no, run.c.run_key.in_(sorted(stale)))
            )
            added -= stale
    return added


def _add_sqlite(connection: Connection, account_no: int, ordered: Sequence[RunRow]) -> set[bytes]:
    """All at once where the first is new, as then mostly all are; else those found new."""
    values = [(account_no, *row[:-1]) for row in ordered]
    first = [ordered[0].run_key]
    if not (has_archived(connection, account_no) or _known(connection, account_no, first, run)):
        with connection.begin_nested() as all_at_once:
            if connection.exec_driver_sql(_SQLITE_INSERT, values).rowcount == len(values):
                return {row.run_key for row in ordered}
            all_at_once.rollback()
    known = fingerprints(connection, account_no, (row.run_key for row in ordered))
    values = [value for value in values if value[1] not in known]
    if values:
        connection.exec_driver_sql(_SQLITE_INSERT, values)
    return {value[1] for value in values}


@cache
def _postgresql_insert(names: tuple[str, ...]) -> str:
    """Inserts the rows; answers how many were new and, where not all, the keys of those."""
    return (
        f"WITH added AS (INSERT INTO run (account_no, {', '.join(names)})"
        f" SELECT %s, u.* FROM {arrays.unnested(run, names)} AS u"
        " ON CONFLICT (account_no, run_key) DO NOTHING RETURNING run_key)"
        " SELECT count(*), CASE WHEN count(*) < %s THEN array_agg(run_key) END FROM added"
    )


_SQLITE_INSERT = (
    f"INSERT INTO run (account_no, {', '.join(_NAMES)})"
    f" VALUES (?{', ?' * len(_NAMES)}) ON CONFLICT DO NOTHING"
)


_FINGERPRINTS = {
    table: select(table.c.run_key, table.c.fingerprint).where(
        table.c.account_no == bindparam("account_no"),
        table.c.run_key.in_(bindparam("run_keys", expanding=True)),
    )
    for table in (run, run_seen)
}
_HAS_ARCHIVED = (
    select(run_seen.c.account_no).where(run_seen.c.account_no == bindparam("account_no")).limit(1)
)


_CHANGING = (
    "started_ms", "grams_mg", "voided_ms", "raw_started_ms", "raw_grams_mg", "left_out", "part",
)  # fmt: skip
_CHANGE = (
    update(run)
    .where(run.c.account_no == bindparam("of_account"), run.c.run_key == bindparam("of_key"))
    .values({name: bindparam(name) for name in _CHANGING})
)
_ALL = select(*COLUMNS, run_more.c.more)


def fingerprints(
    connection: Connection, account_no: int, run_keys: Iterable[bytes]
) -> dict[bytes, bytes]:
    """The fingerprint of every key that is known, archived ones included."""
    keys = set(run_keys)
    found = _known(connection, account_no, keys, run)
    missing = keys - found.keys()  # looked for in the archive after: runs move but one way
    if missing and has_archived(connection, account_no):
        found |= _known(connection, account_no, missing, run_seen)
    return found


def _known(
    connection: Connection, account_no: int, run_keys: Iterable[bytes], table: Table
) -> dict[bytes, bytes]:
    keys = sorted(run_keys)
    if connection.dialect.name == "postgresql":
        rows = connection.exec_driver_sql(
            f"SELECT run_key, fingerprint FROM {table.name}"
            " WHERE account_no = %s AND run_key = ANY(%s::bytea[])",
            (account_no, arrays.bytes_of(keys)),
        ).all()
        return {bytes(key): bytes(fingerprint) for key, fingerprint in rows}
    found: dict[bytes, bytes] = {}
    for start in range(0, len(keys), CHUNK_COUNT):
        chunk = {"account_no": account_no, "run_keys": keys[start : start + CHUNK_COUNT]}
        for key, fingerprint in connection.execute(_FINGERPRINTS[table], chunk):
            found[bytes(key)] = bytes(fingerprint)
    return found


def has_archived(connection: Connection, account_no: int) -> bool:
    """Whether any run of the account was ever archived."""
    return connection.execute(_HAS_ARCHIVED, {"account_no": account_no}).first() is not None


def by_key(connection: Connection, account_no: int, run_key: bytes) -> RunRow | None:
    rows = with_more(
        connection, select(*COLUMNS, run_more.c.more), account_no, run.c.run_key == run_key
    )
    return rows[0] if rows else None


def is_archived(connection: Connection, account_no: int, run_key: bytes) -> bool:
    return bool(_known(connection, account_no, [run_key], run_seen))


def listed(
    connection: Connection,
    account_no: int,
    grinder_no: int,
    *,
    from_ms: int | None,
    to_ms: int | None,
    limit: int,
    after: tuple[int, bytes] | None,
) -> list[RunRow]:
    """Runs of a grinder from the earliest on, voided ones included and marked."""
    wanted = [run.c.grinder_no == grinder_no]
    if from_ms is not None:
        wanted.append(run.c.started_ms >= from_ms)
    if to_ms is not None:
        wanted.append(run.c.started_ms < to_ms)
    if after is not None:
        started_ms, run_key = after
        wanted.append(run.c.started_ms >= started_ms)
        wanted.append((run.c.started_ms > started_ms) | (run.c.run_key > run_key))
    return with_more(
        connection,
        select(*COLUMNS, run_more.c.more).order_by(run.c.started_ms, run.c.run_key).limit(limit),
        account_no,
        *wanted,
    )


def within(
    connection: Connection, account_no: int, grinder_no: int, *, low_ms: int, high_ms: int
) -> list[RunRow]:
    """Runs started in [low, high], left-out ones included."""
    return with_more(
        connection,
        _ALL.order_by(run.c.started_ms, run.c.run_key),
        account_no,
        run.c.grinder_no == grinder_no,
        run.c.started_ms >= low_ms,
        run.c.started_ms <= high_ms,
    )


def raw_within(
    connection: Connection, account_no: int, grinder_no: int, *, low_ms: int, high_ms: int | None
) -> list[RunRow]:
    """Runs whose raw start, as it was sent, lies in [low, high)."""
    raw = func.coalesce(run.c.raw_started_ms, run.c.started_ms)
    wanted = [run.c.grinder_no == grinder_no, raw >= low_ms]
    if high_ms is not None:
        wanted.append(raw < high_ms)
    return with_more(connection, _ALL.order_by(run.c.run_key), account_no, *wanted)


def change(connection: Connection, account_no: int, rows: Sequence[RunRow]) -> None:
    """Write what counts of the rows (start, grams, left out, part, voided) over what did."""
    if rows:
        connection.execute(
            _CHANGE,
            [
                {
                    "of_account": account_no,
                    "of_key": row.run_key,
                    **{name: getattr(row, name) for name in _CHANGING},
                }
                for row in sorted(rows, key=lambda row: row.run_key)
            ],
        )


def with_more(
    connection: Connection, statement: Any, account_no: int, *wanted: Any
) -> list[RunRow]:
    joined = statement.join_from(
        run,
        run_more,
        and_(run_more.c.account_no == run.c.account_no, run_more.c.run_key == run.c.run_key),
        isouter=True,
    ).where(run.c.account_no == account_no, *wanted)
    return [
        RunRow(
            **{
                **row._mapping,
                "run_key": bytes(row.run_key),
                "fingerprint": bytes(row.fingerprint),
            }
        )
        for row in connection.execute(joined)
    ]
