"""What people enter about a grinder: tallies, periods, corrections, care.

An entry is never changed: it is voided (a correction: revoked) and another is entered. The same
entry sent again under its own id is once; other content under that id is refused.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any, TypeVar

from ..core.entered import (
    CareEntry,
    Correction,
    Period,
    Tally,
)
from ..core.errors import (
    AlreadyExists,
    Fault,
    Invalid,
    NotFound,
)
from ..core.records import Caller, Page
from ..store import entries, sums
from ..store.database import Connection, Database
from ..store.entries import CARE, CORRECTION, PERIOD, TALLY, EntryRow
from ..store.run_rows import thousandths
from ..store.types import to_milliseconds
from . import reach
from .entries_and_runs import apply_correction, check_archive
from .entry_records import PERIOD_NAMES, care_of, correction_of, period_of, tally_of
from .listing import cut, milliseconds_or_none

NOUNS = {TALLY: "tally", PERIOD: "period", CORRECTION: "correction", CARE: "care entry"}
Record = TypeVar("Record", Tally, Period, Correction, CareEntry)


def add_tally(
    database: Database, caller: Caller, *, fields: Mapping[str, Any], now: datetime
) -> tuple[Tally, bool]:
    """Record grams over a stretch of time; the tally, and whether it is new."""
    if fields["to_at"] > now:
        raise Invalid(Fault("lies in the future", pointer="/to"))
    body = {
        "grams_mg": thousandths(fields["grams"]),
        "basis": fields["basis"],
        "purpose": fields.get("purpose") or "service",
        **_given(fields, "note"),
    }
    return _enter(database, caller, TALLY, fields, body, tally_of, now=now)


def set_period(
    database: Database,
    caller: Caller,
    *,
    grinder_id: str,
    fields: Mapping[str, Any],
    now: datetime,
) -> tuple[Period, bool]:
    """Tell what holds from an instant (default now) on for runs that leave it out."""
    body = _given(fields, *PERIOD_NAMES)
    if not body:
        raise Invalid(Fault(f"give at least one of {', '.join(PERIOD_NAMES)}", pointer=""))
    fields = {**fields, "grinder_id": grinder_id}
    return _enter(database, caller, PERIOD, fields, body, period_of, now=now)


def add_correction(
    database: Database, caller: Caller, *, fields: Mapping[str, Any], now: datetime
) -> tuple[Correction, bool]:
    """Undo a known mistake of a grinder's devices in every answer."""
    offset, factor = fields.get("grams_offset"), fields.get("grams_factor")
    clock = fields.get("clock_offset_seconds")
    body: dict[str, Any] = {
        "reason": fields["reason"],
        **_given(fields, "source"),
        **({} if offset is None else {"grams_offset_mg": thousandths(offset)}),
        **({} if factor is None else {"grams_factor_ppm": round(factor * 1_000_000)}),
        **({} if clock is None else {"clock_offset_ms": thousandths(clock)}),
        **{name: True for name in ("is_void", "is_unwatched") if fields.get(name)},
    }
    if not body.keys() - {"reason", "source"}:
        raise Invalid(
            Fault(
                "give at least one of grams_offset, grams_factor, clock_offset_seconds, is_void, "
                "is_unwatched",
                pointer="",
            )
        )
    return _enter(database, caller, CORRECTION, fields, body, correction_of, now=now)


def record_care(
    database: Database,
    caller: Caller,
    *,
    grinder_id: str,
    fields: Mapping[str, Any],
    now: datetime,
) -> tuple[CareEntry, bool]:
    """Record something done to a grinder, at an instant (default now)."""
    body = {"task": fields["task"], **_given(fields, "zero_setting", "note")}
    fields = {**fields, "grinder_id": grinder_id, "from_at": fields.get("at")}
    return _enter(database, caller, CARE, fields, body, care_of, now=now)


def list_tallies(
    database: Database, caller: Caller, *, grinder_id: str, now: datetime, **wanted: Any
) -> Page:
    return _list(database, caller, TALLY, grinder_id, tally_of, now=now, **wanted)


def list_periods(
    database: Database, caller: Caller, *, grinder_id: str, now: datetime, **wanted: Any
) -> Page:
    return _list(database, caller, PERIOD, grinder_id, period_of, now=now, **wanted)


def list_corrections(
    database: Database, caller: Caller, *, grinder_id: str, now: datetime, **wanted: Any
) -> Page:
    return _list(database, caller, CORRECTION, grinder_id, correction_of, now=now, **wanted)


def list_care(
    database: Database, caller: Caller, *, grinder_id: str, now: datetime, **wanted: Any
) -> Page:
    return _list(database, caller, CARE, grinder_id, care_of, now=now, **wanted)


def void_tally(database: Database, caller: Caller, *, tally_id: str, now: datetime) -> Tally:
    return _void(database, caller, TALLY, tally_id, tally_of, now=now)


def void_period(database: Database, caller: Caller, *, period_id: str, now: datetime) -> Period:
    return _void(database, caller, PERIOD, period_id, period_of, now=now)


def revoke_correction(
    database: Database, caller: Caller, *, correction_id: str, now: datetime
) -> Correction:
    """Let the raw runs count again as if the correction had never been."""
    return _void(database, caller, CORRECTION, correction_id, correction_of, now=now)


def void_care(database: Database, caller: Caller, *, care_id: str, now: datetime) -> CareEntry:
    return _void(database, caller, CARE, care_id, care_of, now=now)


def _enter(
    database: Database,
    caller: Caller,
    kind: int,
    fields: Mapping[str, Any],
    body: dict[str, Any],
    record_of: Callable[[EntryRow, str], Record],
    *,
    now: datetime,
) -> tuple[Record, bool]:
    told_at, to_at = fields.get("from_at"), fields.get("to_at")
    from_at = told_at or now
    if from_at > now:
        raise Invalid(Fault("lies in the future", pointer="/at" if kind == CARE else "/from"))
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
                return record_of(known, found.grinder.grinder_id), False
        check_archive(connection, caller.account_no, found, row)
        entries.add(connection, caller.account_no, row)
        if entries.changes_runs(row):
            apply_correction(connection, caller.account_no, row, held[found.grinder_no])
        return record_of(row, found.grinder.grinder_id), True

    return database.write(caller.account_no, work)


def _void(
    database: Database,
    caller: Caller,
    kind: int,
    entry_id: str,
    record_of: Callable[[EntryRow, str], Record],
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
        return record_of(voided, found.grinder.grinder_id)

    return database.write(caller.account_no, work)


def _list(
    database: Database,
    caller: Caller,
    kind: int,
    grinder_id: str,
    record_of: Callable[[EntryRow, str], Record],
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
        items = tuple(record_of(row, grinder_id) for row in kept)
        return Page(items, None if last is None else (last.from_ms, last.entry_id))

    return database.read(caller.account_no, work)


def _id_name(kind: int) -> str:
    return f"{_prefix(kind)}_id"


def _prefix(kind: int) -> str:
    return NOUNS[kind].split()[0]


def _given(fields: Mapping[str, Any], *names: str) -> dict[str, Any]:
    return {name: fields[name] for name in names if fields.get(name) is not None}
