"""Runs coming in: each once for ever, whatever the order, the batching or the repeats."""

from __future__ import annotations

import logging
from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import datetime

from ..core.errors import NotFound, Refusal, RunArchived, RunConflict
from ..core.quality import judge_run, place_in_time
from ..core.records import (
    Caller,
    Run,
    RunOutcome,
    StoredRun,
    Watched,
)
from ..store import accounts, grinders, readings, recount, run_rows, runs, state, sums
from ..store.database import Connection, Database
from ..store.grinders import GrinderRow
from ..store.runs import VOIDED, RunRow
from ..store.types import to_milliseconds
from . import reach, reading_back, watching

logger = logging.getLogger(__name__)


def add_run(database: Database, caller: Caller, *, run: Run, now: datetime) -> RunOutcome:
    """Record one run and judge it; NotFound for its grinder, RunConflict for a reused id."""

    def work(connection: Connection) -> RunOutcome | Refusal:
        (outcome,) = _add(connection, caller, [run], None, now)
        if isinstance(outcome, RunOutcome) and outcome.outcome == "accepted":
            plate = reach.grinder_of(connection, caller, run.grinder_id, now=now).grinder
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
) -> list[RunOutcome | Refusal]:
    """Record many runs in one transaction; one outcome or refusal each, in the order given.

    Of findings an outcome has those about the clock; the others stand with the run as it is read
    back. With ``watched`` it is recorded too that nothing else ran then.
    """
    return database.write(
        caller.account_no, lambda connection: _add(connection, caller, runs, watched, now)
    )


def _add(
    connection: Connection,
    caller: Caller,
    sent: Sequence[Run],
    watched: Watched | None,
    now: datetime,
) -> list[RunOutcome | Refusal]:
    outcomes: list[RunOutcome | Refusal | None] = [None] * len(sent)
    known = _numbers(connection, caller, {run.grinder_id for run in sent}, now)
    named = {run.source for run in sent if run.source is not None and run.grinder_id in known}
    sources = source_numbers(connection, caller.account_no, named)
    fresh: dict[bytes, tuple[int, RunRow]] = {}
    repeats: list[tuple[int, RunRow]] = []
    for index, run in enumerate(sent):
        grinder_no = known.get(run.grinder_id)
        if grinder_no is None:
            outcomes[index] = NotFound("grinder", run.grinder_id)
            continue
        row = _row(run, grinder_no, sources, now)
        if row.run_key in fresh:
            repeats.append((index, row))
        else:
            fresh[row.run_key] = (index, row)

    spans = watching.spans_of(connection, caller, watched, known, now)
    held = sums.lock(
        connection,
        caller.account_no,
        {row.grinder_no for _, row in fresh.values()} | {grinder_no for grinder_no, _, _ in spans},
    )
    readings.add_watched(connection, caller.account_no, spans)
    _correct(connection, caller.account_no, held, sent, fresh)
    added = runs.add(connection, caller.account_no, [row for _, row in fresh.values()])
    rows = [row for key, (_, row) in fresh.items() if key in added]
    sums.add(connection, caller.account_no, rows)
    _share_out(connection, caller.account_no, held, rows)
    seen = {row.run_key: row.fingerprint for row in rows}
    if len(added) < len(fresh):
        others = fresh.keys() - added
        seen |= runs.fingerprints(connection, caller.account_no, others)
    for key, (index, row) in fresh.items():
        if key in added:
            findings = run_rows.findings_of(row)
            outcomes[index] = RunOutcome(sent[index].run_id, "accepted", findings)
        else:
            outcomes[index] = _repeat(sent[index], row, seen[key])
    for index, row in repeats:
        outcomes[index] = _repeat(sent[index], row, seen[row.run_key])
    return [outcome for outcome in outcomes if outcome is not None]


def _numbers(
    connection: Connection, caller: Caller, grinder_ids: Collection[str], now: datetime
) -> dict[str, int]:
    """The numbers of the grinders that the caller may see."""
    if not caller.is_bound:
        return grinders.numbers_of(connection, caller.account_no, grinder_ids)
    found = grinders.by_ids(connection, caller.account_no, grinder_ids, as_of=now)
    return {
        grinder_id: row.grinder_no
        for grinder_id, row in found.items()
        if reach.may_see(caller, site_id=row.grinder.site_id, grinder_id=grinder_id)
    }


def _correct(
    connection: Connection,
    account_no: int,
    held: dict[int, sums.Held],
    sent: Sequence[Run],
    fresh: dict[bytes, tuple[int, RunRow]],
) -> None:
    """Let the corrections in force take hold of runs that arrive after them."""
    in_force = {
        grinder_no: recount.corrections_of(connection, account_no, grinder_no)
        for grinder_no, state_row in held.items()
        if state_row.is_corrected
    }
    if not in_force:
        return
    for key, (index, row) in fresh.items():
        if row.grinder_no in in_force:
            source = sent[index].source or ""
            fresh[key] = (index, recount.corrected(row, source, in_force[row.grinder_no]))


def _share_out(
    connection: Connection, account_no: int, held: dict[int, sums.Held], rows: list[RunRow]
) -> None:
    """Where several devices report one grinder, see that no grind counts twice."""
    by_grinder: dict[int, list[RunRow]] = defaultdict(list)
    firsts: dict[int, int] = {}
    for row in rows:
        by_grinder[row.grinder_no].append(row)
    for grinder_no, added in sorted(by_grinder.items()):
        state_row = held[grinder_no]
        sources = {row.source_no or 0 for row in added}
        first = state_row.first_source_no
        if first is None:
            first = min(sources)
        is_shared = state_row.is_shared or sources != {first}
        if is_shared != state_row.is_shared:
            sums.mark(
                connection,
                account_no,
                grinder_no,
                first_source_no=first,
                is_shared=is_shared,
                is_corrected=state_row.is_corrected,
            )
        elif first != state_row.first_source_no:
            firsts[grinder_no] = first
        if is_shared:
            recount.share_out(connection, account_no, grinder_no, added)
    state.mark_first_source(connection, account_no, firsts)


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


def _row(run: Run, grinder_no: int, sources: dict[str, int], now: datetime) -> RunRow:
    started_at, time_source, finding = place_in_time(run, received_at=now)
    return run_rows.row_of(
        run,
        grinder_no=grinder_no,
        source_no=None if run.source is None else sources[run.source],
        started_at=started_at,
        time_source=time_source,
        received_at=now,
        finding=finding,
    )


def _repeat(run: Run, row: RunRow, first: bytes) -> RunOutcome:
    is_same = run_rows.is_same_content(row.fingerprint, first)
    return RunOutcome(run.run_id, "duplicate" if is_same else "conflict")


def source_numbers(connection: Connection, account_no: int, names: set[str]) -> dict[str, int]:
    """The numbers of the named sources, new names getting one."""
    if not names:
        return {}
    known = state.source_nos(connection, account_no, names)
    for name in sorted(names - known.keys()):
        state.add_source(connection, account_no, name, accounts.next_no(connection, account_no))
    return known if names <= known.keys() else state.source_nos(connection, account_no, names)
