"""Runs coming in: each once for ever, whatever the order, the batching or the repeats."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from datetime import datetime

from ..core.errors import NotFound, Refusal, RunArchived, RunConflict
from ..core.quality import judge_run, place_in_time
from ..core.records import Caller, Finding, Run, RunOutcome, StoredRun
from ..store import accounts, grinders, run_rows, runs, state, sums
from ..store.database import Connection, Database
from ..store.grinders import GrinderRow
from ..store.runs import RunRow
from ..store.types import to_milliseconds
from . import reach

logger = logging.getLogger(__name__)


def add_run(database: Database, caller: Caller, *, run: Run, now: datetime) -> RunOutcome:
    """Record one run; raises NotFound for its grinder and RunConflict for a reused id."""
    (outcome,) = add_runs(database, caller, runs=[run], now=now)
    if isinstance(outcome, Refusal):
        raise outcome
    if outcome.outcome == "conflict":
        raise RunConflict(run.run_id)
    return outcome


def add_runs(
    database: Database, caller: Caller, *, runs: Sequence[Run], now: datetime
) -> list[RunOutcome | Refusal]:
    """Record many runs in one transaction; one outcome or refusal each, in the order given."""
    return database.write(caller.account_no, lambda connection: _add(connection, caller, runs, now))


def _add(
    connection: Connection, caller: Caller, sent: Sequence[Run], now: datetime
) -> list[RunOutcome | Refusal]:
    outcomes: list[RunOutcome | Refusal | None] = [None] * len(sent)
    known = {
        grinder_id: row
        for grinder_id, row in grinders.by_ids(
            connection, caller.account_no, {run.grinder_id for run in sent}, as_of=now
        ).items()
        if reach.may_see(caller, site_id=row.grinder.site_id, grinder_id=grinder_id)
    }
    named = {run.source for run in sent if run.source is not None and run.grinder_id in known}
    sources = _source_nos(connection, caller.account_no, named)
    fresh: dict[bytes, tuple[int, RunRow]] = {}
    repeats: list[tuple[int, RunRow]] = []
    for index, run in enumerate(sent):
        grinder = known.get(run.grinder_id)
        if grinder is None:
            outcomes[index] = NotFound("grinder", run.grinder_id)
            continue
        row = _row(run, grinder, sources, now)
        if row.run_key in fresh:
            repeats.append((index, row))
        else:
            fresh[row.run_key] = (index, row)

    sums.lock(connection, caller.account_no, {row.grinder_no for _, row in fresh.values()})
    seen = runs.fingerprints(connection, caller.account_no, fresh)
    added = runs.add(
        connection,
        caller.account_no,
        [row for key, (_, row) in fresh.items() if key not in seen],
    )
    sums.add(connection, caller.account_no, [fresh[key][1] for key in added])
    lost_races = fresh.keys() - added - seen.keys()
    if lost_races:
        seen |= runs.fingerprints(connection, caller.account_no, lost_races)
    for key, (index, row) in fresh.items():
        if key in added:
            outcomes[index] = RunOutcome(sent[index].run_id, "accepted", _findings(row))
            seen[key] = row.fingerprint
        else:
            outcomes[index] = _repeat(sent[index], row, seen[key])
    for index, row in repeats:
        outcomes[index] = _repeat(sent[index], row, seen[row.run_key])
    return [outcome for outcome in outcomes if outcome is not None]


def void_run(database: Database, caller: Caller, *, run_id: str, now: datetime) -> StoredRun:
    """Take a run out of every total; it stays readable, marked, and stays voided when re-sent."""

    def work(connection: Connection) -> StoredRun:
        found, grinder = visible_run(connection, caller, run_id, now=now)
        sums.lock(connection, caller.account_no, [found.grinder_no])
        found, grinder = visible_run(connection, caller, run_id, now=now)  # not archived meanwhile
        if runs.void(connection, caller.account_no, found.run_key, voided_ms=to_milliseconds(now)):
            sums.add(connection, caller.account_no, [found], sign=-1)
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
    names = (
        {}
        if row.source_no is None
        else state.source_names(connection, caller.account_no, [row.source_no])
    )
    return run_rows.stored_run_of(
        row,
        grinder_id=grinder.grinder.grinder_id,
        source=None if row.source_no is None else names[row.source_no],
    )


def _row(run: Run, grinder: GrinderRow, sources: dict[str, int], now: datetime) -> RunRow:
    started_at, time_source, finding = place_in_time(run, received_at=now)
    findings = judge_run(run, grinder.grinder, received_at=now)
    return run_rows.row_of(
        run,
        grinder_no=grinder.grinder_no,
        source_no=None if run.source is None else sources[run.source],
        started_at=started_at,
        time_source=time_source,
        received_at=now,
        findings=findings if finding is None else (finding, *findings),
    )


def _findings(row: RunRow) -> tuple[Finding, ...]:
    return tuple(Finding(**finding) for finding in (row.more or {}).get("findings", ()))


def _repeat(run: Run, row: RunRow, first: bytes) -> RunOutcome:
    is_same = run_rows.is_same_content(row.fingerprint, first)
    return RunOutcome(run.run_id, "duplicate" if is_same else "conflict")


def _source_nos(connection: Connection, account_no: int, names: set[str]) -> dict[str, int]:
    """The numbers of the named sources, new names getting one."""
    if not names:
        return {}
    known = state.source_nos(connection, account_no, names)
    for name in sorted(names - known.keys()):
        state.add_source(connection, account_no, name, accounts.next_no(connection, account_no))
    return known if names <= known.keys() else state.source_nos(connection, account_no, names)
