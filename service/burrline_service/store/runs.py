"""Runs: one row each, found again by the key of their id; rows in, rows out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

from sqlalchemy import Connection, and_, bindparam, insert, select, update

from .tables import run, run_more, run_seen

CHUNK_COUNT = 1000


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
    more: dict[str, Any] | None = None


_NAMES = RunRow._fields[:-1]
COLUMNS = tuple(run.c[name] for name in _NAMES)
_UNNEST_TYPES = {"LargeBinary": "bytea", "Text": "text", "Integer": "int4", "BigInteger": "int8",
                 "SmallInteger": "int2"}  # fmt: skip
_PG_INSERT = (
    f"INSERT INTO run (account_no, {', '.join(_NAMES)}) SELECT %s, u.* FROM unnest("
    + ", ".join(f"%s::{_UNNEST_TYPES[type(run.c[name].type).__name__]}[]" for name in _NAMES)
    + ") AS u ON CONFLICT (account_no, run_key) DO NOTHING RETURNING run_key"
)


def add(connection: Connection, account_no: int, rows: Sequence[RunRow]) -> set[bytes]:
    """Insert the rows whose key is new; returns the keys inserted.

    On PostgreSQL one statement for all rows, and a concurrent writer of the same key wins or
    loses as a whole row. On SQLite the writer is alone, so rows are those found new before.
    """
    if not rows:
        return set()
    # by key alone: two writers of the same keys meet in one order, whatever their grinders
    ordered = sorted(rows, key=lambda row: row.run_key)
    if connection.dialect.name == "postgresql":
        columns = [[row[position] for row in ordered] for position in range(len(_NAMES))]
        added = {
            bytes(key) for (key,) in connection.exec_driver_sql(_PG_INSERT, (account_no, *columns))
        }
    else:
        connection.execute(
            insert(run),
            [{"account_no": account_no, **dict(zip(_NAMES, row, strict=False))} for row in ordered],
        )
        added = {row.run_key for row in ordered}
    more = [
        {"account_no": account_no, "run_key": row.run_key, "more": row.more}
        for row in ordered
        if row.more and row.run_key in added
    ]
    if more:
        connection.execute(insert(run_more), more)
    return added


_FINGERPRINTS = tuple(
    select(table.c.run_key, table.c.fingerprint).where(
        table.c.account_no == bindparam("account_no"),
        table.c.run_key.in_(bindparam("run_keys", expanding=True)),
    )
    for table in (run, run_seen)
)


def fingerprints(
    connection: Connection, account_no: int, run_keys: Iterable[bytes]
) -> dict[bytes, bytes]:
    """The fingerprint of every key that is known, archived ones included."""
    found: dict[bytes, bytes] = {}
    keys = sorted(set(run_keys))
    for start in range(0, len(keys), CHUNK_COUNT):
        chunk = keys[start : start + CHUNK_COUNT]
        for statement in _FINGERPRINTS:
            found.update(
                (bytes(key), bytes(fingerprint))
                for key, fingerprint in connection.execute(
                    statement, {"account_no": account_no, "run_keys": chunk}
                )
            )
    return found


def by_key(connection: Connection, account_no: int, run_key: bytes) -> RunRow | None:
    rows = with_more(
        connection, select(*COLUMNS, run_more.c.more), account_no, run.c.run_key == run_key
    )
    return rows[0] if rows else None


def is_archived(connection: Connection, account_no: int, run_key: bytes) -> bool:
    return (
        connection.execute(
            select(run_seen.c.account_no).where(
                run_seen.c.account_no == account_no, run_seen.c.run_key == run_key
            )
        ).first()
        is not None
    )


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


def void(connection: Connection, account_no: int, run_key: bytes, *, voided_ms: int) -> bool:
    """Mark the run voided; False when it was already."""
    return (
        connection.execute(
            update(run)
            .where(
                run.c.account_no == account_no,
                run.c.run_key == run_key,
                run.c.voided_ms.is_(None),
            )
            .values(voided_ms=voided_ms)
        ).rowcount
        == 1
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
