"""How something is entered about a grinder, voided and listed, whatever its kind.

An entry is never changed: it is voided (a correction: revoked) and another is entered. The same
entry sent again under its own id is once; other content under that id is refused.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any, TypeVar

from ..core.errors import AlreadyExists, Fault, Invalid, NotFound
from ..core.records import Caller, Page
from ..store import entries, sums
from ..store.database import Connection, Database
from ..store.entries import CARE, CHECKPOINT, CORRECTION, PERIOD, TALLY, EntryRow
from ..store.grinders import GrinderRow
from ..store.types import to_milliseconds
from . import reach
from .entries_and_runs import apply_correction, check_archive
from .listing import cut, milliseconds_or_none

NOUNS = {
    TALLY: "tally",
    PERIOD: "period",
    CORRECTION: "correction",
    CARE: "care entry",
    CHECKPOINT: "checkpoint",
}
INSTANT_POINTERS = {CARE: "/at", CHECKPOINT: "/ground_at"}
Record = TypeVar("Record")
RecordOf = Callable[[Connection, EntryRow, GrinderRow], Record]
RecordsOf = Callable[[Connection, Sequence[EntryRow], GrinderRow], Sequence[Record]]


def enter(
    database: Database,
    caller: Caller,
    kind: int,
    fields: Mapping[str, Any],
    body: dict[str, Any],
    record_of: RecordOf[Record],
    *,
    now: datetime,
) -> tuple[Record, bool]:
    told_at, to_at = fields.get("from_at"), fields.get("to_at")
    from_at = told_at or now
    if from_at > now:
        raise Invalid(Fault("lies in the future", pointer=INSTANT_POINTERS.get(kind, "/from")))
    if to_at is not None and to_at <= from_at:
        raise Invalid(Fault("must be later than from", pointer="/to"))
    entry_id = fields.get(_id_name(kind))

    def work(connection: Connection) -> tuple[Record, bool]:
        found = reach.grinder_of(connection, caller, fields["grinder_id"], now=now)
        held = sums.lock(connection, caller.account_no, [found.grinder_no])
        row = EntryRow(
            kind=kind,
            entry_id=entry_id
            or entries.free_id(connection, caller.account_no, kind, _prefix(kind)),
            grinder_no=found.grinder_no,
            from_ms=to_milliseconds(from_at),
            to_ms=None if to_at is None else to_milliseconds(to_at),
            body=body,
            created_at=now,
        )
        if entry_id is not None:
            known = entries.by_id(connection, caller.account_no, kind, entry_id)
            if known is not None:
                sent_again = replace(row, created_at=known.created_at, voided_at=known.voided_at)
                if told_at is None:  # "from now on": the now of the first
                    sent_again = replace(sent_again, from_ms=known.from_ms)
                if known != sent_again:
                    raise AlreadyExists(NOUNS[kind], entry_id)
                return record_of(connection, known, found), False
        check_archive(connection, caller.account_no, found, row)
        entries.add(connection, caller.account_no, row)
        if entries.changes_runs(row):
            apply_correction(connection, caller.account_no, row, held[found.grinder_no])
        return record_of(connection, row, found), True

    return database.write(caller.account_no, work)


def void(
    database: Database,
    caller: Caller,
    kind: int,
    entry_id: str,
    record_of: RecordOf[Record],
    *,
    now: datetime,
) -> Record:
    def work(connection: Connection) -> Record:
        row = entries.by_id(connection, caller.account_no, kind, entry_id)
        if row is None:
            raise NotFound(NOUNS[kind], entry_id)
        found = reach.grinder_numbered(connection, caller, row.grinder_no, now=now)
        if found is None:
            raise NotFound(NOUNS[kind], entry_id)
        held = sums.lock(connection, caller.account_no, [row.grinder_no])
        if kind == CORRECTION:
            check_archive(connection, caller.account_no, found, row)
        is_voided_now = entries.void(connection, caller.account_no, kind, entry_id, now=now)
        if is_voided_now and entries.changes_runs(row):
            apply_correction(connection, caller.account_no, row, held[row.grinder_no])
        voided = entries.by_id(connection, caller.account_no, kind, entry_id)
        assert voided is not None
        return record_of(connection, voided, found)

    return database.write(caller.account_no, work)


def listed(
    database: Database,
    caller: Caller,
    kind: int,
    grinder_id: str,
    record_of: RecordOf[Record],
    *,
    now: datetime,
    **wanted: Any,
) -> Page:
    def records_of(
        connection: Connection, rows: Sequence[EntryRow], found: GrinderRow
    ) -> list[Record]:
        return [record_of(connection, row, found) for row in rows]

    return listed_together(database, caller, kind, grinder_id, records_of, now=now, **wanted)


def listed_together(
    database: Database,
    caller: Caller,
    kind: int,
    grinder_id: str,
    records_of: RecordsOf[Record],
    *,
    from_at: datetime | None = None,
    to_at: datetime | None = None,
    limit: int,
    position: tuple[Any, ...] | None,
    now: datetime,
) -> Page:
    def work(connection: Connection) -> Page:
        found = reach.grinder_of(connection, caller, grinder_id, now=now)
        rows = entries.listed(
            connection,
            caller.account_no,
            found.grinder_no,
            kind,
            from_ms=milliseconds_or_none(from_at),
            to_ms=milliseconds_or_none(to_at),
            limit=limit + 1,
            after=None if position is None else (position[0], position[1]),
        )
        kept, last = cut(rows, limit)
        items = tuple(records_of(connection, kept, found))
        return Page(items, None if last is None else (last.from_ms, last.entry_id))

    return database.read(caller.account_no, work)


def _id_name(kind: int) -> str:
    return f"{_prefix(kind)}_id"


def _prefix(kind: int) -> str:
    return NOUNS[kind].split()[0]
