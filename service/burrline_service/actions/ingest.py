"""Runs coming in: each once for ever, whatever the order, the batching or the repeats."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from ..core.errors import NotFound, Refusal, RunArchived, RunConflict
from ..core.quality import judge_run
from ..core.records import (
    Caller,
    Run,
    RunOutcome,
    StoredRun,
    Watched,
)
from ..core.run_columns import RunColumns, RunOutcomes
from ..store import grinders, recount, run_rows, runs, sums
from ..store.database import Connection, Database
from ..store.grinders import GrinderRow
from ..store.row_columns import RunRow
from ..store.runs import VOIDED
from ..store.types import to_milliseconds
from . import reach, reading_back, recording


def add_run(database: Database, caller: Caller, *, run: Run, now: datetime) -> RunOutcome:
    """Record one run and judge it; NotFound for its grinder, RunConflict for a reused id."""

    def work(connection: Connection) -> RunOutcome | Refusal:
        (outcome,) = _add(connection, caller, RunColumns.of([run]), None, now)
        if isinstance(outcome, RunOutcome) and outcome.outcome == "accepted":
            plate = grinders.plate_of(connection, caller.account_no, run.grinder_id, as_of=now)
            findings = (*outcome.findings, *judge_run(run, plate, received_at=now))
            return replace(outcome, findings=findings)
        return outcome

    outcome = database.write(caller.account_no, work)
    if isinstance(outcome, Refusal):
        raise outcome
    if outcome.outcome == "conflict":
        raise RunConflict(run.run_id)
    return outcome


def add_runs(
    database: Database,
    caller: Caller,
    *,
    runs: Sequence[Run],
    watched: Watched | None = None,
    now: datetime,
) -> RunOutcomes:
    """Record many runs in one transaction; one outcome or refusal each, in the order given.

    Of findings an outcome has those about the clock; the others stand with the run as it is read
    back. With ``watched`` it is recorded too that nothing else ran then.
    """
    sent = RunColumns.of(runs)
    return database.write(
        caller.account_no, lambda connection: _add(connection, caller, sent, watched, now)
    )


def _add(
    connection: Connection,
    caller: Caller,
    sent: RunColumns,
    watched: Watched | None,
    now: datetime,
) -> RunOutcomes:
    return recording.record(connection, caller, sent, watched, now)


def void_run(database: Database, caller: Caller, *, run_id: str, now: datetime) -> StoredRun:
    """Take a run out of every total; it stays readable, marked, and stays voided when re-sent."""

    def work(connection: Connection) -> StoredRun:
        found, grinder = visible_run(connection, caller, run_id, now=now)
        held = sums.lock(connection, caller.account_no, [found.grinder_no])
        found, grinder = visible_run(connection, caller, run_id, now=now)  # not archived meanwhile
        if found.voided_ms is None:
            voided = found._replace(voided_ms=to_milliseconds(now), left_out=VOIDED)
            recount.replace(
                connection,
                caller.account_no,
                found.grinder_no,
                before=[found],
                after=[voided],
                is_shared=held[found.grinder_no].is_shared,
            )
        return read_run(connection, caller, found.run_key, grinder)

    return database.write(caller.account_no, work)


def visible_run(
    connection: Connection, caller: Caller, run_id: str, *, now: datetime
) -> tuple[RunRow, GrinderRow]:
    """The row of a run and its grinder, or NotFound, or RunArchived."""
    run_key = run_rows.run_key_of(run_id)
    row = runs.by_key(connection, caller.account_no, run_key)
    if row is None:
        if not caller.is_bound and runs.is_archived(connection, caller.account_no, run_key):
            raise RunArchived(run_id)
        raise NotFound("run", run_id)
    grinder = grinders.by_nos(connection, caller.account_no, [row.grinder_no], as_of=now)[
        row.grinder_no
    ]
    if not reach.may_see(
        caller, site_id=grinder.grinder.site_id, grinder_id=grinder.grinder.grinder_id
    ):
        raise NotFound("run", run_id)
    return row, grinder


def read_run(
    connection: Connection, caller: Caller, run_key: bytes, grinder: GrinderRow
) -> StoredRun:
    row = runs.by_key(connection, caller.account_no, run_key)
    assert row is not None
    return reading_back.stored_runs(connection, caller.account_no, grinder, [row])[0]
