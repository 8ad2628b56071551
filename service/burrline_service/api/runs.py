"""Operations on runs: one by one, in batches, read back, voided."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from functools import cache
from typing import Any

from ..actions import ingest, report
from ..core.errors import NotFound, Refusal, RunArchived, RunConflict
from ..core.records import (
    Brew,
    Caller,
    Run,
    RunOutcome,
    StoredRun,
    Watched,
)
from .batches import Kind, judge
from .device_clock import DeviceClock, placed
from .fast_lines import Plan, plan_of, quick_runs
from .operation import CSV, NDJSON, Link, Operation
from .run_lines import list_runs
from .schemas_run_batches import RunBatchOutcomeSchema, RunBatchSchema
from .schemas_runs import (
    NewRunSchema,
    RunFilterSchema,
    RunOutcomeSchema,
    RunPageSchema,
    RunSchema,
)
from .streams import csv_example

TAG = "Runs"


@cache
def _line_schema() -> NewRunSchema:
    return NewRunSchema()


@cache
def _line_plan() -> Plan:
    return plan_of(_line_schema())


def run_of(fields: Mapping[str, Any], clock: DeviceClock | None = None) -> Run:
    """The record of a loaded run, its time told by the device's clock where it has none."""
    told = placed(fields, clock)
    brew = told.get("brew")
    if brew is None:
        return Run(**told)
    return Run(**{**told, "brew": Brew(**brew)})


def add_run(
    database: Any,
    caller: Caller,
    *,
    fields: Mapping[str, Any],
    device_clock: DeviceClock | None = None,
    now: datetime,
) -> RunOutcome:
    return ingest.add_run(database, caller, run=run_of(fields, device_clock), now=now)


def add_runs(
    database: Any,
    caller: Caller,
    *,
    fields: Mapping[str, Any],
    device_clock: DeviceClock | None = None,
    now: datetime,
) -> dict[str, Any]:
    """Judge each line alone, record the good ones, answer for every one."""
    watched = _watched_of(fields)

    def add(runs: Sequence[Run]) -> Sequence[RunOutcome | Refusal]:
        if not runs and watched is None:
            return []
        return ingest.add_runs(database, caller, runs=runs, watched=watched, now=now)

    kind = Kind(
        member="runs",
        id_name="run_id",
        record_of=lambda line: run_of(_line_schema().load(line), device_clock),
        conflict=lambda run_id: str(RunConflict(run_id)),
        quickly=lambda lines: quick_runs(_line_plan(), lines, device_clock),
    )
    return judge(kind, fields["runs"], add)


def _watched_of(fields: Mapping[str, Any]) -> Watched | None:
    if fields.get("watched_from_at") is None:
        return None
    grinder_ids = fields.get("watched_grinder_ids")
    return Watched(
        from_at=fields["watched_from_at"],
        until_at=fields["watched_until_at"],
        grinder_ids=None if grinder_ids is None else tuple(grinder_ids),
    )


def _status_of(outcome: RunOutcome) -> int:
    return 201 if outcome.outcome == "accepted" else 200


def void_run(database: Any, caller: Caller, *, run_id: str, now: datetime) -> StoredRun:
    return ingest.void_run(database, caller, run_id=run_id, now=now)


NEW_RUN = {
    "run_id": "bar-1-0007-000123",
    "grinder_id": "bar-1",
    "started_at": "2026-07-06T07:41:12Z",
    "seconds": 7.4,
    "grams": 18.2,
    "setting": 5,
    "motor_celsius": 41.5,
}
RUN = {
    "run_id": "bar-1-0007-000123",
    "grinder_id": "bar-1",
    "started_at": "2026-07-06T07:41:12.000Z",
    "seconds": 7.4,
    "grams": 18.2,
    "grams_basis": "weighed_out",
    "feed": None,
    "energy_joules": None,
    "setting": 5.0,
    "rpm": None,
    "motor_celsius": 41.5,
    "ambient_celsius": None,
    "purpose": "service",
    "coffee_lot": "lot-0712",
    "brew": None,
    "source": None,
    "time_source": "device",
    "received_at": "2026-07-06T07:41:20.317Z",
    "findings": [],
    "voided_at": None,
    "raw_started_at": None,
    "raw_grams": None,
    "correction_ids": [],
    "from_period": ["coffee_lot"],
    "counts": ["grams", "seconds"],
}

OPERATIONS = (
    Operation(
        name="add_run",
        method="POST",
        path="/v1/runs",
        tag=TAG,
        summary="Record a run",
        description=(
            "One stretch of motor-on, once for ever by its `run_id`, in any order and however "
            "late. What is implausible is recorded with findings; only the impossible is refused."
        ),
        act=add_run,
        reads_device_clock=True,
        scope="runs:write",
        takes=NewRunSchema,
        gives=RunOutcomeSchema,
        status=201,
        status_of=_status_of,
        statuses={
            201: "Recorded now.",
            200: "A duplicate: recorded before with the same content, nothing changed.",
        },
        refuses=(NotFound, RunConflict),
        location="/v1/runs/<run_id>",
        links=tuple(
            Link(name, {"run_id": "$response.body#/run_id"}) for name in ("get_run", "void_run")
        ),
        takes_example=NEW_RUN,
        gives_example={"run_id": "bar-1-0007-000123", "outcome": "accepted", "findings": []},
    ),
    Operation(
        name="add_runs",
        method="POST",
        path="/v1/runs/batch",
        tag=TAG,
        summary="Record many runs",
        description=(
            "Up to 5000 runs within 1 MiB, in any order, in one transaction. Each line is judged "
            "alone; a bad one never blocks a good one. Sending the same batch again is harmless. "
            "`watched_from` and `watched_until` tell silence from idleness: where nothing was "
            "reported between them, nothing ran. A batch may hold no run at all to say so; a "
            "correction with `is_unwatched` takes it back."
        ),
        act=add_runs,
        reads_device_clock=True,
        scope="runs:write",
        takes=RunBatchSchema,
        gives=RunBatchOutcomeSchema,
        statuses={200: "Every line has its outcome; those not recorded are under `problems`."},
        takes_example={
            "runs": [NEW_RUN, {"run_id": "bar-1-0007-000124", "grinder_id": "bar-1"}],
            "watched_from": "2026-07-06T05:00:00Z",
            "watched_until": "2026-07-06T09:00:00Z",
            "watched_grinder_ids": ["bar-1", "bar-2"],
        },
        gives_example={
            "received": 2,
            "accepted": 1,
            "duplicates": 0,
            "conflicts": 0,
            "rejected": 1,
            "problems": [
                {
                    "index": 1,
                    "run_id": "bar-1-0007-000124",
                    "outcome": "rejected",
                    "errors": [
                        {
                            "detail": "needs at least one of seconds and grams",
                            "pointer": "#/runs/1",
                        }
                    ],
                }
            ],
        },
    ),
    Operation(
        name="list_runs",
        method="GET",
        path="/v1/grinders/<grinder_id>/runs",
        tag=TAG,
        summary="List a grinder's runs",
        description=(
            "Runs in the order of their start, voided ones marked. Corrections are taken in, and "
            "what a run leaves out is filled in from the periods. As `text/csv` (RFC 4180; a "
            "text that a spreadsheet would take for a formula begins with `'`) or "
            "`application/x-ndjson` (one JSON object per line; the schema shows them as an "
            "array) all of them are sent at once, without pages."
        ),
        act=list_runs,
        scope="read",
        query=RunFilterSchema,
        gives=RunPageSchema,
        gives_lines=RunSchema,
        is_list=True,
        gives_example={"items": [RUN], "next_cursor": None},
        lines_examples={
            NDJSON: [RUN],
            CSV: csv_example(RunSchema(), RUN),
        },
    ),
    Operation(
        name="get_run",
        method="GET",
        path="/v1/runs/<run_id>",
        tag=TAG,
        summary="Read a run",
        description=(
            "One run: its numbers with corrections taken in (the raw ones beside, where they "
            "differ), and what burrline added."
        ),
        act=report.get_run,
        scope="read",
        gives=RunSchema,
        refuses=(RunArchived,),
        gives_example=RUN,
    ),
    Operation(
        name="void_run",
        method="POST",
        path="/v1/runs/<run_id>/void",
        tag=TAG,
        summary="Void a run",
        description=(
            "Take a run out of every total. It stays readable, marked, and stays voided when the "
            "device sends it again. Voiding it again changes nothing. There is no body."
        ),
        act=void_run,
        scope="care:write",
        gives=RunSchema,
        refuses=(RunArchived,),
        gives_example={**RUN, "voided_at": "2026-07-06T09:05:00.000Z", "counts": []},
    ),
)
