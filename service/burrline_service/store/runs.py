"""Runs: one row each, found again by the key of their id; rows in, rows out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import Connection, Table, and_, bindparam, func, select, update

from . import arrays, driver
from .row_columns import NAMES, RunRow
from .tables import run, run_more, run_seen

CHUNK_COUNT = 1000
VOIDED, CORRECTED_OUT = 1, 2  # why a run is left out of what counts; 0: it is not
COLUMNS = tuple(run.c[name] for name in NAMES)


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


def known(connection: Connection, account_no: int, run_keys: Iterable[bytes]) -> dict[bytes, bytes]:
    """The fingerprints of those of the keys whose runs are not archived."""
    return _known(connection, account_no, run_keys, run)


def archived(
    connection: Connection, account_no: int, run_keys: Iterable[bytes]
) -> dict[bytes, bytes]:
    """The fingerprints of those of the keys whose runs are archived."""
    return _known(connection, account_no, run_keys, run_seen)


def _known(
    connection: Connection, account_no: int, run_keys: Iterable[bytes], table: Table
) -> dict[bytes, bytes]:
    keys = sorted(run_keys)
    if connection.dialect.name == "postgresql":
        rows = connection.exec_driver_sql(
            f"SELECT run_key, fingerprint FROM {table.name}"
            " JOIN unnest(%s::bytea[]) AS u (run_key) USING (run_key) WHERE account_no = %s",
            (arrays.bytes_of(keys), account_no),
        ).all()
        return {bytes(key): bytes(fingerprint) for key, fingerprint in rows}
    found: dict[bytes, bytes] = {}
    for start in range(0, len(keys), CHUNK_COUNT):
        chunk = keys[start : start + CHUNK_COUNT]
        found.update(
            driver.rows_of(
                connection,
                f"SELECT run_key, fingerprint FROM {table.name}"
                f" WHERE account_no = ? AND run_key IN (?{', ?' * (len(chunk) - 1)})",
                (account_no, *chunk),
            )
        )
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
