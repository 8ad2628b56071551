"""Operations on runs: one by one, in batches, read back, voided."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from functools import cache
from typing import Any

from marshmallow import ValidationError

from ..actions import ingest, report
from ..core.errors import Fault, NotFound, Refusal, RunArchived, RunConflict
from ..core.records import Brew, Caller, Run, RunOutcome, StoredRun
from .operation import Link, Operation
from .problems import fault_body, faults_of
from .schemas_runs import (
    NewRunSchema,
    RunBatchOutcomeSchema,
    RunBatchSchema,
    RunFilterSchema,
    RunOutcomeSchema,
    RunPageSchema,
    RunSchema,
)

TAG = "Runs"


@cache
def _line_schema() -> NewRunSchema:
    return NewRunSchema()


def run_of(fields: Mapping[str, Any]) -> Run:
    """The record of a loaded run."""
    brew = fields.get("brew")
    if brew is None:
        return Run(**fields)
    return Run(**{**fields, "brew": Brew(**brew)})


def add_run(
    database: Any, caller: Caller, *, fields: Mapping[str, Any], now: datetime
) -> RunOutcome:
    return ingest.add_run(database, caller, run=run_of(fields), now=now)


def add_runs(
    database: Any, caller: Caller, *, fields: Mapping[str, Any], now: datetime
) -> dict[str, Any]:
    """Judge each line alone, record the good ones, answer for every one."""
    lines: list[Any] = fields["runs"]
    problems: list[dict[str, Any]] = []
    runs: list[Run] = []
    places: list[int] = []
    for index, line in enumerate(lines):
        try:
            runs.append(run_of(_line_schema().load(line)))
            places.append(index)
        except ValidationError as error:
            problems.append(_rejected(index, line, faults_of(error, f"/runs/{index}")))
    counts = {"accepted": 0, "duplicate": 0, "conflict": 0, "rejected": len(problems)}
    outcomes = ingest.add_runs(database, caller, runs=runs, now=now) if runs else []
    for index, outcome in zip(places, outcomes, strict=True):
        if isinstance(outcome, Refusal):
            counts["rejected"] += 1
            member = "grinder_id" if isinstance(outcome, NotFound) else "run_id"
            fault = Fault(str(outcome), pointer=f"/runs/{index}/{member}")
            problems.append(_rejected(index, lines[index], outcome.faults or (fault,)))
            continue
        counts[outcome.outcome] += 1
        if outcome.outcome == "conflict":
            fault = Fault(str(RunConflict(outcome.run_id)), pointer=f"/runs/{index}/run_id")
            problems.append(_line_problem(index, outcome.run_id, "conflict", (fault,)))
    return {
        "received": len(lines),
        "accepted": counts["accepted"],
        "duplicates": counts["duplicate"],
        "conflicts": counts["conflict"],
        "rejected": counts["rejected"],
        "problems": sorted(problems, key=lambda problem: problem["index"]),
    }


def _rejected(index: int, line: Any, faults: tuple[Fault, ...]) -> dict[str, Any]:
    run_id = line.get("run_id") if isinstance(line, dict) else None
    is_readable = isinstance(run_id, str) and len(run_id) <= 128
    return _line_problem(index, run_id if is_readable else None, "rejected", faults)


def _line_problem(
    index: int, run_id: str | None, outcome: str, faults: tuple[Fault, ...]
) -> dict[str, Any]:
    errors = [fault_body(fault) for fault in faults[:10]]
    return {"index": index, "run_id": run_id, "outcome": outcome, "errors": errors}


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
    "coffee_lot": None,
    "brew": None,
    "source": None,
    "time_source": "device",
    "received_at": "2026-07-06T07:41:20.317Z",
    "findings": [],
    "voided_at": None,
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
            "alone; a bad one never blocks a good one. Sending the same batch again is harmless."
        ),
        act=add_runs,
        scope="runs:write",
        takes=RunBatchSchema,
        gives=RunBatchOutcomeSchema,
        statuses={200: "Every line has its outcome; those not recorded are under `problems`."},
        takes_example={"runs": [NEW_RUN, {"run_id": "bar-1-0007-000124", "grinder_id": "bar-1"}]},
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
        description="Runs in the order of their start, voided ones marked.",
        act=report.list_runs,
        scope="read",
        query=RunFilterSchema,
        gives=RunPageSchema,
        is_list=True,
        gives_example={"items": [RUN], "next_cursor": None},
    ),
    Operation(
        name="get_run",
        method="GET",
        path="/v1/runs/<run_id>",
        tag=TAG,
        summary="Read a run",
        description="One run: its numbers as kept, and what burrline added.",
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
        gives_example={**RUN, "voided_at": "2026-07-06T09:05:00.000Z"},
    ),
)
