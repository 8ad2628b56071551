"""How runs are written down: found, placed in time, written once, counted, shared out.

All of it column by column, one run or thousands alike; single rows are made only where another
fact (a correction, a second device) takes hold of them.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Sequence
from datetime import datetime, timedelta
from functools import partial
from typing import NamedTuple

from ..core.errors import NotFound, Refusal
from ..core.quality import EARLIEST_START_AT, FUTURE_SECONDS, place_in_time
from ..core.records import Caller, Finding, RunOutcome, Watched
from ..core.run_columns import RunColumns, RunOutcomes
from ..store import (
    accounts,
    early,
    grinders,
    holding,
    readings,
    recount,
    run_inserts,
    run_rows,
    runs,
    state,
    sums,
)
from ..store.database import Connection
from ..store.row_columns import RowColumns, RunRow
from ..store.sums import Held
from ..store.types import to_milliseconds
from . import reach, watching


class Found(NamedTuple):
    """What the runs name, as far as the caller may see it; ``held`` are the grinders, locked."""

    numbers: dict[str, int]
    sources: dict[str, int]
    spans: list[watching.Span]
    held: dict[int, Held]


class Placed(NamedTuple):
    """When each run started, by whose clock, and what is wrong with that where something is."""

    started_ms: list[int]
    time_sources: Sequence[str]
    findings: dict[int, Finding]


def record(
    connection: Connection,
    caller: Caller,
    sent: RunColumns,
    watched: Watched | None,
    now: datetime,
) -> RunOutcomes:
    """Record the runs; what became of each, in the order given."""
    account_no = caller.account_no
    others: dict[int, RunOutcome | Refusal] = {}
    outcomes = RunOutcomes(sent.column("run_id"), others)
    placed = _placed(sent, now)
    # motors' fits that were kept stay good where nothing here begins before the last minutes
    earliest_ms = min(placed.started_ms, default=None)
    found = _found(connection, caller, sent, watched, now, earliest_ms)
    readings.add_watched(connection, account_no, found.spans)
    places: Sequence[int] = range(len(sent))
    if not found.numbers.keys() >= set(sent.column("grinder_id")):
        for place, grinder_id in enumerate(sent.column("grinder_id")):
            if grinder_id not in found.numbers:
                others[place] = NotFound("grinder", grinder_id)
        places = [place for place in places if place not in others]
        sent = sent.taken(places)
        placed = _placed(sent, now)
    if not sent:
        return outcomes
    rows = _rows(sent, placed, found, now)
    keys = rows.column("run_key")
    once: Sequence[int] = range(rows.count)
    if len(set(keys)) < rows.count:
        first = {key: index for index, key in reversed(list(enumerate(keys)))}
        once = sorted(first.values())
    fresh = rows if len(once) == rows.count else rows.taken(once)
    fresh = _corrected(connection, account_no, found.held, sent, once, fresh)
    added = run_inserts.add(connection, account_no, fresh)
    _share_out(connection, account_no, found.held, fresh, added)
    run_ids = sent.column("run_id")
    for index, made in _remarkable(connection, account_no, rows, [once[i] for i in added]):
        others[places[index]] = made(run_ids[index])
    return outcomes


def _found(
    connection: Connection,
    caller: Caller,
    sent: RunColumns,
    watched: Watched | None,
    now: datetime,
    earliest_ms: int | None,
) -> Found:
    """Find and hold; for a whole account's key, which sees all there is, in one statement."""
    account_no = caller.account_no
    grinder_ids = set(sent.column("grinder_id"))
    if not caller.is_bound and (watched is None or watched.grinder_ids is None):
        names = set(sent.column("source")) - {None}
        sources = state.source_nos(connection, account_no, names) if names else {}
        if len(sources) == len(names):
            by_id = holding.by_ids(
                connection,
                account_no,
                grinder_ids,
                earliest_ms=earliest_ms,
                now_ms=to_milliseconds(now),
            )
            numbers = {grinder_id: held.grinder_no for grinder_id, held in by_id.items()}
            spans = watching.spans_of(connection, caller, watched, numbers, now)
            return Found(numbers, sources, spans, {h.grinder_no: h for h in by_id.values()})
    # New sources draw their numbers before grinders are held, as everybody does who takes both.
    numbers = _numbers(connection, caller, grinder_ids, now)
    named = {
        source
        for source, grinder_id in zip(sent.column("source"), sent.column("grinder_id"), strict=True)
        if source is not None and grinder_id in numbers
    }
    sources = source_numbers(connection, account_no, named)
    spans = watching.spans_of(connection, caller, watched, numbers, now)
    watched_nos = {grinder_no for grinder_no, _, _ in spans}
    held = sums.lock(
        connection,
        account_no,
        {*numbers.values(), *watched_nos},
        earliest_ms=earliest_ms,
        now_ms=to_milliseconds(now),
    )
    return Found(numbers, sources, spans, held)


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


def source_numbers(connection: Connection, account_no: int, names: set[str]) -> dict[str, int]:
    """The numbers of the named sources, new names getting one."""
    if not names:
        return {}
    known = state.source_nos(connection, account_no, names)
    for name in sorted(names - known.keys()):
        state.add_source(connection, account_no, name, accounts.next_no(connection, account_no))
    return known if names <= known.keys() else state.source_nos(connection, account_no, names)


def _rows(sent: RunColumns, placed: Placed, found: Found, now: datetime) -> RowColumns:
    sources = found.sources
    return run_rows.columns_of(
        sent,
        grinder_nos=[found.numbers[grinder_id] for grinder_id in sent.column("grinder_id")],
        source_nos=None
        if not sources
        else [None if name is None else sources[name] for name in sent.column("source")],
        started_ms=placed.started_ms,
        time_sources=placed.time_sources,
        received_at=now,
        findings=placed.findings,
    )


def _placed(sent: RunColumns, now: datetime) -> Placed:
    """When each run started, by whose clock, and what is wrong with that: ``place_in_time``.

    Its common case, a start that its device told and that can be, is taken for all at once.
    """
    told = sent.column("started_at")
    latest = now + timedelta(seconds=FUTURE_SECONDS)
    if len(sent) and None not in told and min(told) >= EARLIEST_START_AT and max(told) <= latest:
        return Placed(list(map(to_milliseconds, told)), ["device"] * len(sent), {})
    started_ms, time_sources, findings = [], [], {}
    for index, run in enumerate(sent):
        started_at, time_source, finding = place_in_time(run, received_at=now)
        started_ms.append(to_milliseconds(started_at))
        time_sources.append(time_source)
        if finding is not None:
            findings[index] = finding
    return Placed(started_ms, time_sources, findings)


def _corrected(
    connection: Connection,
    account_no: int,
    held: dict[int, Held],
    sent: RunColumns,
    indices: Sequence[int],
    fresh: RowColumns,
) -> RowColumns:
    """Let the corrections in force take hold of runs that arrive after them."""
    in_force = {
        grinder_no: recount.corrections_of(connection, account_no, grinder_no)
        for grinder_no, grinder in held.items()
        if grinder.is_corrected
    }
    if not in_force:
        return fresh
    early.mark(connection, account_no, in_force)  # a correction may have moved a run anywhere
    sources = sent.column("source")
    return RowColumns.of(
        [
            recount.corrected(row, sources[index] or "", in_force[row.grinder_no])
            if row.grinder_no in in_force
            else row
            for index, row in zip(indices, fresh.rows(), strict=True)
        ]
    )


def _share_out(
    connection: Connection,
    account_no: int,
    held: dict[int, Held],
    rows: RowColumns,
    added: Sequence[int],
) -> None:
    """Where several devices report one grinder, see that no grind counts twice."""
    grinder_nos, source_nos = rows.column("grinder_no"), rows.column("source_no")
    sources: dict[int, set[int]] = defaultdict(set)
    for index in added:
        sources[grinder_nos[index]].add(source_nos[index] or 0)
    firsts: dict[int, int] = {}
    shared: dict[int, list[RunRow]] = {}
    for grinder_no, names in sorted(sources.items()):
        grinder = held[grinder_no]
        first = min(names) if grinder.first_source_no is None else grinder.first_source_no
        if grinder.is_shared or names != {first}:
            shared[grinder_no] = []
        if grinder_no in shared and not grinder.is_shared:
            sums.mark(
                connection,
                account_no,
                grinder_no,
                first_source_no=first,
                is_shared=True,
                is_corrected=grinder.is_corrected,
            )
        elif first != grinder.first_source_no:
            firsts[grinder_no] = first
    if shared:
        for index in added:
            if grinder_nos[index] in shared:
                shared[grinder_nos[index]].append(rows.row(index))
        for grinder_no, touched in shared.items():
            recount.share_out(connection, account_no, grinder_no, touched)
    state.mark_first_source(connection, account_no, firsts)


def _remarkable(
    connection: Connection, account_no: int, rows: RowColumns, added: Sequence[int]
) -> Iterable[tuple[int, Callable[[str], RunOutcome]]]:
    """Of each row that was not simply added: what makes its outcome of its id."""
    for index in added:
        if index in rows.more:
            findings = run_rows.findings_in(rows.more[index])
            if findings:
                yield index, partial(RunOutcome, outcome="accepted", findings=findings)
    if len(added) == rows.count:
        return
    keys, fingerprints = rows.column("run_key"), rows.column("fingerprint")
    seen = {keys[index]: fingerprints[index] for index in added}
    seen |= runs.fingerprints(connection, account_no, set(keys) - seen.keys())
    was_added = set(added)
    for index, (key, fingerprint) in enumerate(zip(keys, fingerprints, strict=True)):
        if index not in was_added:
            is_same = run_rows.is_same_content(fingerprint, seen[key])
            yield index, partial(RunOutcome, outcome="duplicate" if is_same else "conflict")
