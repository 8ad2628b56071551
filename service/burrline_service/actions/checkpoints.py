"""Checkpoints: the grind of a burr set measured in replicate doses, entered, read and voided."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from ..core.entered import Checkpoint
from ..core.errors import Fault, Invalid, NotFound, SampleRefused
from ..core.particles_records import DEFAULT_FINES_CUT_MICROMETRES, SampleSummary
from ..core.records import Caller, Page
from ..store import entries
from ..store.database import Connection, Database
from ..store.entries import CHECKPOINT, EntryRow
from ..store.grinders import GrinderRow
from . import reach
from .checkpoint_records import instant_text, records_of
from .entering import RecordOf, enter, listed_together, void

PLAIN = (
    "session_id",
    "setting",
    "rpm",
    "burr_grams",
    "method",
    "instrument_id",
    "sieve_set_id",
    "dispersant",
    "coffee_lot",
    "fines_cut_micrometres",
    "note",
)


def add_checkpoint(
    database: Database,
    caller: Caller,
    *,
    grinder_id: str,
    fields: Mapping[str, Any],
    now: datetime,
) -> tuple[Checkpoint, bool]:
    """Record the grind measured in doses ground at an instant (default now)."""
    ground_at = fields.get("ground_at") or now
    measured_at = fields.get("measured_at")
    if measured_at is not None and measured_at > now:
        raise Invalid(Fault("lies in the future", pointer="/measured_at"))
    if measured_at is not None and measured_at < ground_at:
        raise Invalid(Fault("must not be earlier than ground_at", pointer="/measured_at"))
    cut_micrometres = fields.get("fines_cut_micrometres") or DEFAULT_FINES_CUT_MICROMETRES
    replicates = [
        _replicate(index, replicate, cut_micrometres, now=now)
        for index, replicate in enumerate(fields["replicates"])
    ]
    body = {
        **{name: fields[name] for name in PLAIN if fields.get(name) is not None},
        **({} if measured_at is None else {"measured_at": instant_text(measured_at)}),
        "replicates": replicates,
    }
    fields = {**fields, "grinder_id": grinder_id, "from_at": fields.get("ground_at")}
    return enter(database, caller, CHECKPOINT, fields, body, _record_at(caller, now), now=now)


def list_checkpoints(
    database: Database, caller: Caller, *, grinder_id: str, now: datetime, **wanted: Any
) -> Page:
    def records(
        connection: Connection, rows: Sequence[EntryRow], found: GrinderRow
    ) -> list[Checkpoint]:
        return records_of(connection, caller.account_no, rows, found.grinder.grinder_id, now)

    return listed_together(database, caller, CHECKPOINT, grinder_id, records, now=now, **wanted)


def get_checkpoint(
    database: Database, caller: Caller, *, checkpoint_id: str, now: datetime
) -> Checkpoint:
    def work(connection: Connection) -> Checkpoint:
        row = entries.by_id(connection, caller.account_no, CHECKPOINT, checkpoint_id)
        if row is None:
            raise NotFound("checkpoint", checkpoint_id)
        found = reach.grinder_numbered(connection, caller, row.grinder_no, now=now)
        if found is None:
            raise NotFound("checkpoint", checkpoint_id)
        return _record_at(caller, now)(connection, row, found)

    return database.read(caller.account_no, work)


def void_checkpoint(
    database: Database, caller: Caller, *, checkpoint_id: str, now: datetime
) -> Checkpoint:
    """Let a checkpoint never have been measured."""
    return void(database, caller, CHECKPOINT, checkpoint_id, _record_at(caller, now), now=now)


def summarize_sample(
    database: Database, caller: Caller, *, fields: Mapping[str, Any], now: datetime
) -> SampleSummary:
    """What one distribution tells; nothing is kept."""
    # with numpy: loaded when first there is need
    from ..core.particles import summarize as summary_of
    from ..core.particles_reading import distribution_of

    try:
        return summary_of(
            distribution_of(fields["distribution"]),
            dose_grams=fields.get("dose_grams"),
            fines_cut_micrometres=fields.get("fines_cut_micrometres")
            or DEFAULT_FINES_CUT_MICROMETRES,
        )
    except SampleRefused as refused:
        raise refused.within("/distribution") from None


def _record_at(caller: Caller, now: datetime) -> RecordOf[Checkpoint]:
    """How the row of a checkpoint becomes its record, with the kilograms as known by now."""

    def record(connection: Connection, row: EntryRow, found: GrinderRow) -> Checkpoint:
        grinder_id = found.grinder.grinder_id
        return records_of(connection, caller.account_no, [row], grinder_id, now)[0]

    return record


def _replicate(
    index: int, replicate: Mapping[str, Any], cut_micrometres: float, *, now: datetime
) -> dict[str, Any]:
    """A replicate as it is kept, once its distribution has been read."""
    # with numpy: loaded when first there is need
    from ..core.particles import measure_sample
    from ..core.particles_reading import distribution_of

    ground_at, dose_grams = replicate.get("ground_at"), replicate.get("dose_grams")
    if ground_at is not None and ground_at > now:
        raise Invalid(Fault("lies in the future", pointer=f"/replicates/{index}/ground_at"))
    members = {
        name: value for name, value in replicate["distribution"].items() if value is not None
    }
    try:
        measure_sample(
            distribution_of(members), dose_grams=dose_grams, fines_cut_micrometres=cut_micrometres
        )
    except SampleRefused as refused:
        raise refused.within(f"/replicates/{index}/distribution") from None
    return {
        "distribution": members,
        **({} if dose_grams is None else {"dose_grams": dose_grams}),
        **({} if ground_at is None else {"ground_at": instant_text(ground_at)}),
    }
