"""Runs as they are answered: rows put together with periods, corrections and what they show."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from ..core.corrections import effective
from ..core.grinds import DISAGREES
from ..core.nameplate import grinder_of
from ..core.periods import Period, value_at
from ..core.quality import judge_run
from ..core.records import Finding, Grinder, StoredRun
from ..store import entries, grinders, recount, run_rows
from ..store.database import Connection
from ..store.grinders import GrinderRow
from ..store.row_columns import RunRow
from ..store.types import EPOCH

FILLED = ("setting", "coffee_lot", "rpm", "purpose", "feed")
SOURCES_DISAGREE = Finding(
    "sources_disagree", "Two devices weighed this grind and differ; only one of them counts."
)


def stored_runs(
    connection: Connection, account_no: int, grinder: GrinderRow, rows: Sequence[RunRow]
) -> list[StoredRun]:
    """The runs of one grinder as they are known now, in the order given."""
    if not rows:
        return []
    names = recount.source_names(connection, account_no, rows)
    in_force = entries.in_force(
        connection, account_no, [grinder.grinder_no], [entries.PERIOD, entries.CORRECTION]
    )
    periods = periods_of(in_force)
    corrections = [recount.correction_of(row) for row in in_force if entries.changes_runs(row)]
    plates = grinders.plates_from(connection, account_no, grinder.grinder_no, since=EPOCH)
    dated = [
        (
            at,
            grinder_of(
                plate,
                grinder_id=grinder.grinder.grinder_id,
                site_id=grinder.grinder.site_id,
                created_at=grinder.grinder.created_at,
                revision=grinder.grinder.revision,
            ),
        )
        for at, plate in plates
    ]
    answered = []
    for row in rows:
        source = names[row.source_no]
        stored = run_rows.stored_run_of(
            row, grinder_id=grinder.grinder.grinder_id, source=source or None
        )
        if row.raw_started_ms is not None:
            made = effective(row.raw_started_ms, row.raw_grams_mg, source, corrections)
            stored = replace(stored, correction_ids=made.correction_ids)
        answered.append(_completed(stored, row, periods, dated))
    return answered


def periods_of(rows: Sequence[entries.EntryRow]) -> list[Period]:
    return [
        Period(row.entry_id, row.from_ms, row.to_ms, row.body)
        for row in rows
        if row.kind == entries.PERIOD
    ]


def _completed(
    stored: StoredRun,
    row: RunRow,
    periods: Sequence[Period],
    dated: Sequence[tuple[datetime, Grinder]],
) -> StoredRun:
    """What the run leaves out, from the periods; what it shows, by the plate of its time."""
    filled = {
        name: value
        for name in FILLED
        if getattr(stored.run, name) is None
        and (value := value_at(periods, name, row.started_ms)) is not None
    }
    run = replace(stored.run, **filled)
    if run.purpose is None:
        run = replace(run, purpose="service")
    assert run.started_at is not None
    position = bisect_right([at for at, _ in dated], max(run.started_at, EPOCH)) - 1
    findings = (
        *stored.findings,
        *judge_run(run, dated[position][1], received_at=stored.received_at),
        *((SOURCES_DISAGREE,) if row.part is not None and row.part & DISAGREES else ()),
    )
    return replace(stored, run=run, findings=findings, from_period=tuple(filled))
