"""What people enter about a grinder: tallies, periods, corrections, care, checkpoints."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, insert, select, update

from ..core.entered import MOTOR_REPLACED
from . import accounts
from .fact_tables import entry
from .types import to_milliseconds

TALLY, PERIOD, CORRECTION, CARE, CHECKPOINT = range(5)


@dataclass(frozen=True)
class EntryRow:
    """One entry; times in ms since 1970, ``to_ms`` None while it is open or has no length."""

    kind: int
    entry_id: str
    grinder_no: int
    from_ms: int
    to_ms: int | None
    body: dict[str, Any]
    created_at: datetime
    voided_at: datetime | None = None


def cuts_of(row: EntryRow) -> tuple[int, ...]:
    """The instants at which sums of runs are cut in two because of an entry."""
    if row.kind == PERIOD and row.body.get("purpose") is not None:
        return (row.from_ms,) if row.to_ms is None else (row.from_ms, row.to_ms)
    if row.kind == CARE and row.body["task"] == MOTOR_REPLACED:
        return (row.from_ms,)
    if row.kind == CHECKPOINT and row.body.get("burr_grams") is None:
        return tuple(doses_ms(row))
    return ()


def doses_ms(row: EntryRow) -> list[int]:
    """When each dose of a checkpoint was ground."""
    told = (replicate.get("ground_at") for replicate in row.body["replicates"])
    return [
        row.from_ms if at is None else to_milliseconds(datetime.fromisoformat(at)) for at in told
    ]


def changes_runs(row: EntryRow) -> bool:
    """Whether an entry is a correction that is about runs, not about watched time alone."""
    named = ("grams_offset_mg", "grams_factor_ppm", "clock_offset_ms", "is_void")
    return row.kind == CORRECTION and any(name in row.body for name in named)


COLUMNS = tuple(
    entry.c[name]
    for name in (
        "kind",
        "entry_id",
        "grinder_no",
        "from_ms",
        "to_ms",
        "body",
        "created_at",
        "voided_at",
    )
)


def add(connection: Connection, account_no: int, *rows: EntryRow) -> None:
    made = [
        {
            "account_no": account_no,
            "kind": row.kind,
            "entry_id": row.entry_id,
            "grinder_no": row.grinder_no,
            "from_ms": row.from_ms,
            "to_ms": row.to_ms,
            "body": row.body,
            "created_at": row.created_at,
        }
        for row in rows
    ]
    if made:
        connection.execute(insert(entry), made)


def by_id(connection: Connection, account_no: int, kind: int, entry_id: str) -> EntryRow | None:
    row = connection.execute(
        select(*COLUMNS).where(
            entry.c.account_no == account_no, entry.c.kind == kind, entry.c.entry_id == entry_id
        )
    ).first()
    return None if row is None else EntryRow(*row)


def by_ids(
    connection: Connection, account_no: int, kind: int, entry_ids: Iterable[str]
) -> dict[str, EntryRow]:
    """Those of the entries that are there, by their ids."""
    rows = connection.execute(
        select(*COLUMNS).where(
            entry.c.account_no == account_no,
            entry.c.kind == kind,
            entry.c.entry_id.in_(sorted(set(entry_ids))),
        )
    )
    return {row.entry_id: EntryRow(*row) for row in rows}


def free_id(connection: Connection, account_no: int, kind: int, prefix: str) -> str:
    """An id that nobody chose yet."""
    while True:
        entry_id = f"{prefix}-{accounts.next_no(connection, account_no):06}"
        if by_id(connection, account_no, kind, entry_id) is None:
            return entry_id


def void(
    connection: Connection, account_no: int, kind: int, entry_id: str, *, now: datetime
) -> bool:
    """Mark the entry voided; False when it was already."""
    return (
        connection.execute(
            update(entry)
            .where(
                entry.c.account_no == account_no,
                entry.c.kind == kind,
                entry.c.entry_id == entry_id,
                entry.c.voided_at.is_(None),
            )
            .values(voided_at=now)
        ).rowcount
        == 1
    )


def in_force(
    connection: Connection,
    account_no: int,
    grinder_nos: Sequence[int],
    kinds: Sequence[int],
    *,
    until_ms: int | None = None,
) -> list[EntryRow]:
    """Entries of the grinders that are not voided and begin at or before an instant."""
    wanted = [
        entry.c.account_no == account_no,
        entry.c.grinder_no.in_(sorted(grinder_nos)),
        entry.c.kind.in_(sorted(kinds)),
        entry.c.voided_at.is_(None),
    ]
    if until_ms is not None:
        wanted.append(entry.c.from_ms <= until_ms)
    rows = connection.execute(
        select(*COLUMNS).where(*wanted).order_by(entry.c.from_ms, entry.c.kind, entry.c.entry_id)
    )
    return [EntryRow(*row) for row in rows]


def listed(
    connection: Connection,
    account_no: int,
    grinder_no: int,
    kind: int,
    *,
    from_ms: int | None,
    to_ms: int | None,
    limit: int,
    after: tuple[int, str] | None,
) -> list[EntryRow]:
    """Entries of one kind from the earliest on, voided ones included and marked."""
    wanted = [
        entry.c.account_no == account_no,
        entry.c.grinder_no == grinder_no,
        entry.c.kind == kind,
    ]
    if from_ms is not None:
        wanted.append(entry.c.from_ms >= from_ms)
    if to_ms is not None:
        wanted.append(entry.c.from_ms < to_ms)
    if after is not None:
        from_after, id_after = after
        wanted.append(entry.c.from_ms >= from_after)
        wanted.append((entry.c.from_ms > from_after) | (entry.c.entry_id > id_after))
    rows = connection.execute(
        select(*COLUMNS).where(*wanted).order_by(entry.c.from_ms, entry.c.entry_id).limit(limit)
    )
    return [EntryRow(*row) for row in rows]


def grinders_with(
    connection: Connection, account_no: int, grinder_nos: Iterable[int], kind: int
) -> set[int]:
    """Those of the grinders of which there is an entry of a kind that is not voided."""
    rows = connection.execute(
        select(entry.c.grinder_no)
        .where(
            entry.c.account_no == account_no,
            entry.c.grinder_no.in_(sorted(set(grinder_nos))),
            entry.c.kind == kind,
            entry.c.voided_at.is_(None),
        )
        .distinct()
    )
    return set(rows.scalars())
