"""What people enter about a grinder: tallies, periods, corrections, care.

An entry is never changed: it is voided (a correction: revoked) and another is entered. The same
entry sent again under its own id is once; other content under that id is refused.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Any, TypeVar

from ..core.entered import (
    CareEntry,
    Correction,
    Period,
    Tally,
)
from ..core.errors import Fault, Invalid, Refusal
from ..core.records import Caller, Page, RunOutcome
from ..store.database import Database
from ..store.entries import CARE, CORRECTION, PERIOD, TALLY, EntryRow
from ..store.run_rows import thousandths
from .entering import RecordOf, enter, enter_tallies, listed, void
from .entry_records import PERIOD_NAMES, care_of, correction_of, period_of, tally_of

Record = TypeVar("Record", Tally, Period, Correction, CareEntry)


def add_tally(
    database: Database, caller: Caller, *, fields: Mapping[str, Any], now: datetime
) -> tuple[Tally, bool]:
    """Record grams over a stretch of time; the tally, and whether it is new."""
    body = _tally_body(fields)
    return enter(database, caller, TALLY, fields, body, plain(tally_of), now=now)


def add_tallies(
    database: Database, caller: Caller, *, sent: Sequence[Mapping[str, Any]], now: datetime
) -> list[RunOutcome | Refusal]:
    """Record many tallies, each with its id; one outcome or refusal each, in the order given."""
    told = [(fields, _tally_body(fields)) for fields in sent]
    return enter_tallies(database, caller, told, now=now)


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
    return enter(database, caller, PERIOD, fields, body, plain(period_of), now=now)


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
    return enter(database, caller, CORRECTION, fields, body, plain(correction_of), now=now)


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
    return enter(database, caller, CARE, fields, body, plain(care_of), now=now)


def list_tallies(
    database: Database, caller: Caller, *, grinder_id: str, now: datetime, **wanted: Any
) -> Page:
    return listed(database, caller, TALLY, grinder_id, plain(tally_of), now=now, **wanted)


def list_periods(
    database: Database, caller: Caller, *, grinder_id: str, now: datetime, **wanted: Any
) -> Page:
    return listed(database, caller, PERIOD, grinder_id, plain(period_of), now=now, **wanted)


def list_corrections(
    database: Database, caller: Caller, *, grinder_id: str, now: datetime, **wanted: Any
) -> Page:
    return listed(database, caller, CORRECTION, grinder_id, plain(correction_of), now=now, **wanted)


def list_care(
    database: Database, caller: Caller, *, grinder_id: str, now: datetime, **wanted: Any
) -> Page:
    return listed(database, caller, CARE, grinder_id, plain(care_of), now=now, **wanted)


def void_tally(database: Database, caller: Caller, *, tally_id: str, now: datetime) -> Tally:
    return void(database, caller, TALLY, tally_id, plain(tally_of), now=now)


def void_period(database: Database, caller: Caller, *, period_id: str, now: datetime) -> Period:
    return void(database, caller, PERIOD, period_id, plain(period_of), now=now)


def revoke_correction(
    database: Database, caller: Caller, *, correction_id: str, now: datetime
) -> Correction:
    """Let the raw runs count again as if the correction had never been."""
    return void(database, caller, CORRECTION, correction_id, plain(correction_of), now=now)


def void_care(database: Database, caller: Caller, *, care_id: str, now: datetime) -> CareEntry:
    return void(database, caller, CARE, care_id, plain(care_of), now=now)


def _tally_body(fields: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "grams_mg": thousandths(fields["grams"]),
        "basis": fields["basis"],
        "purpose": fields.get("purpose") or "service",
        **_given(fields, "note"),
    }


def plain(record_of: Callable[[EntryRow, str], Record]) -> RecordOf[Record]:
    """A record that needs nothing but its row and the grinder's id."""
    return lambda connection, row, found: record_of(row, found.grinder.grinder_id)


def _given(fields: Mapping[str, Any], *names: str) -> dict[str, Any]:
    return {name: fields[name] for name in names if fields.get(name) is not None}
