"""How something is entered about a grinder, voided and listed, whatever its kind.

An entry is never changed: it is voided (a correction: revoked) and another is entered. The same
entry sent again under its own id is once; other content under that id is refused.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any, TypeVar

from ..core.errors import AlreadyExists, Fault, Invalid, NotFound, Refusal
from ..core.records import Caller, Page, RunOutcome
from ..store import entries, grinders, sums
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
    faults = _misplaced(kind, from_at, to_at, now)
    if faults:
        raise Invalid(*faults)
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


def enter_tallies(
    database: Database,
    caller: Caller,
    sent: Sequence[tuple[Mapping[str, Any], dict[str, Any]]],
    *,
    now: datetime,
) -> list[RunOutcome | Refusal]:
    """Enter many, each with its fields and body, in one transaction; one outcome each, in order.

    Tallies alone: they take hold of no run, so nothing is counted anew.
    """

    def work(connection: Connection) -> list[RunOutcome | Refusal]:
        named = {fields["grinder_id"] for fields, _ in sent}
        numbers = {
            grinder_id: row.grinder_no
            for grinder_id, row in grinders.by_ids(
                connection, caller.account_no, named, as_of=now
            ).items()
            if reach.may_see(caller, site_id=row.grinder.site_id, grinder_id=grinder_id)
        }
        sums.lock(connection, caller.account_no, numbers.values())
        ids = [fields["tally_id"] for fields, _ in sent]
        known = entries.by_ids(connection, caller.account_no, TALLY, ids)
        fresh: list[EntryRow] = []
        outcomes: list[RunOutcome | Refusal] = []
        for fields, body in sent:
            entry_id, grinder_no = fields["tally_id"], numbers.get(fields["grinder_id"])
            faults = _misplaced(TALLY, fields["from_at"], fields["to_at"], now)
            if grinder_no is None or faults:
                missing = NotFound("grinder", fields["grinder_id"])
                outcomes.append(missing if grinder_no is None else Invalid(*faults))
                continue
            row = EntryRow(
                kind=TALLY,
                entry_id=entry_id,
                grinder_no=grinder_no,
                from_ms=to_milliseconds(fields["from_at"]),
                to_ms=to_milliseconds(fields["to_at"]),
                body=body,
                created_at=now,
            )
            first = known.setdefault(entry_id, row)
            if first is row:
                fresh.append(row)
                outcomes.append(RunOutcome(entry_id, "accepted"))
                continue
            again = replace(row, created_at=first.created_at, voided_at=first.voided_at)
            outcomes.append(RunOutcome(entry_id, "duplicate" if first == again else "conflict"))
        entries.add(connection, caller.account_no, *fresh)
        return outcomes

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


def _misplaced(
    kind: int, from_at: datetime, to_at: datetime | None, now: datetime
) -> tuple[Fault, ...]:
    """What is wrong with when an entry begins and ends; one thing at a time."""
    if kind == TALLY and to_at is not None and to_at > now:
        return (Fault("lies in the future", pointer="/to"),)
    if from_at > now:
        return (Fault("lies in the future", pointer=INSTANT_POINTERS.get(kind, "/from")),)
    if to_at is not None and to_at <= from_at:
        return (Fault("must be later than from", pointer="/to"),)
    return ()


def _id_name(kind: int) -> str:
    return f"{_prefix(kind)}_id"


def _prefix(kind: int) -> str:
    return NOUNS[kind].split()[0]
