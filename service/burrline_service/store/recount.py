"""Keeping what counts of a run true when other facts change: corrections, voids, other devices.

Called with the grinder's state row locked. It changes rows and sums by differences, so that sums
stay what a recount from scratch would give.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from sqlalchemy import Connection

from ..core.corrections import Correction, effective
from ..core.grind_windows import LONGEST_RUN_MS, affected
from ..core.grinds import TOLERANCE_MS, Reported, parts_of
from ..core.records import TIME_SOURCES
from . import entries, runs, state, sums
from .entries import EntryRow
from .row_columns import RunRow
from .runs import CORRECTED_OUT, VOIDED

MOST_MG = 2**31 - 1  # two tonnes in one run: what a column holds of a wild correction
RECEIVED = TIME_SOURCES.index("received")


def corrections_of(connection: Connection, account_no: int, grinder_no: int) -> list[Correction]:
    """The corrections in force for a grinder's runs."""
    rows = entries.in_force(connection, account_no, [grinder_no], [entries.CORRECTION])
    return [correction_of(row) for row in rows if entries.changes_runs(row)]


def correction_of(row: EntryRow) -> Correction:
    return Correction(
        correction_id=row.entry_id,
        source=row.body.get("source"),
        from_ms=row.from_ms,
        to_ms=row.to_ms,
        grams_offset_mg=row.body.get("grams_offset_mg"),
        grams_factor_ppm=row.body.get("grams_factor_ppm"),
        clock_offset_ms=row.body.get("clock_offset_ms"),
        is_void=bool(row.body.get("is_void")),
    )


def corrected(row: RunRow, source: str, corrections: Sequence[Correction]) -> RunRow:
    """The row with what counts of it under these corrections, worked out from its raw values."""
    raw_started_ms = row.started_ms if row.raw_started_ms is None else row.raw_started_ms
    raw_grams_mg = row.grams_mg if row.raw_started_ms is None else row.raw_grams_mg
    made = effective(raw_started_ms, raw_grams_mg, source, corrections)
    left_out = CORRECTED_OUT if made.is_out else 0
    grams_mg = None if made.grams_mg is None else min(made.grams_mg, MOST_MG)
    return row._replace(
        started_ms=made.started_ms,
        grams_mg=grams_mg,
        # a corrected row keeps both raw values; an uncorrected one keeps neither
        raw_started_ms=raw_started_ms if made.correction_ids else None,
        raw_grams_mg=raw_grams_mg if made.correction_ids else None,
        left_out=VOIDED if row.voided_ms is not None else left_out,
    )


def source_names(
    connection: Connection, account_no: int, rows: Iterable[RunRow]
) -> dict[int | None, str]:
    """The names of the rows' sources; '' for rows that name none."""
    numbers = {row.source_no for row in rows if row.source_no is not None}
    names: dict[int | None, str] = {None: ""}
    for number, name in state.source_names(connection, account_no, numbers).items():
        names[number] = name
    return names


def replace(
    connection: Connection,
    account_no: int,
    grinder_no: int,
    *,
    before: Sequence[RunRow],
    after: Sequence[RunRow],
    is_shared: bool,
) -> None:
    """Put rows in the place of themselves, sums and neighbours following.

    ``before`` are the rows as stored and counted, ``after`` the same as they should be (parts
    aside, which are worked out here).
    """
    changed = [(old, new) for old, new in zip(before, after, strict=True) if old != new]
    sums.add(connection, account_no, [old for old, _ in changed], sign=-1)
    runs.change(connection, account_no, [new for _, new in changed])
    sums.add(connection, account_no, [new for _, new in changed])
    if is_shared:
        touched = [row for pair in changed for row in pair]
        share_out(connection, account_no, grinder_no, touched)


def share_out(
    connection: Connection, account_no: int, grinder_no: int, touched: Sequence[RunRow]
) -> None:
    """Work out anew the parts of all runs in the grinds that the touched runs belong to.

    ``touched`` are rows as they were and as they are now; those left out, or without a known
    time, take no part.
    """
    names = source_names(connection, account_no, touched)
    present: dict[bytes, RunRow] = {}

    def fetch(windows: list[tuple[int, int]]) -> list[Reported]:
        present.clear()
        for low_ms, high_ms in windows:
            for row in runs.within(
                connection, account_no, grinder_no, low_ms=low_ms, high_ms=high_ms
            ):
                if _takes_part(row):
                    present[row.run_key] = row
        missing = {row.source_no for row in present.values()} - names.keys()
        if missing:
            names.update(source_names(connection, account_no, present.values()))
        return [_reported(row, names) for row in present.values()]

    near = affected([_reported(row, names) for row in touched if _takes_part(row)], fetch)
    parts = parts_of(near)
    before, after = [], []
    for key, part in parts.items():
        row = present[key]
        if row.part != part:
            before.append(row)
            after.append(row._replace(part=part))
    # a run that was part of a grind and no longer takes part counts for itself again
    for row in _left_alone(connection, account_no, touched):
        before.append(row)
        after.append(row._replace(part=None))
    sums.add(connection, account_no, before, sign=-1)
    runs.change(connection, account_no, after)
    sums.add(connection, account_no, after)


def parts_before(
    connection: Connection, account_no: int, grinder_no: int, *, cut_ms: int
) -> list[tuple[RunRow, int | None]]:
    """Runs begun before an instant whose part would be another without those begun later.

    Each with the part it has in what was known of the grind by then.
    """
    names: dict[int | None, str] = {None: ""}
    present: dict[bytes, RunRow] = {}

    def fetch(windows: list[tuple[int, int]]) -> list[Reported]:
        present.clear()
        for low_ms, high_ms in windows:
            rows = runs.within(connection, account_no, grinder_no, low_ms=low_ms, high_ms=high_ms)
            present.update((row.run_key, row) for row in rows if _takes_part(row))
        if {row.source_no for row in present.values()} - names.keys():
            names.update(source_names(connection, account_no, present.values()))
        return [_reported(row, names) for row in present.values()]

    earliest_ms = cut_ms - LONGEST_RUN_MS - TOLERANCE_MS
    begun = fetch([(earliest_ms, cut_ms - 1)])
    crossing = [run for run in begun if run.started_ms + (run.on_ms or 0) + TOLERANCE_MS >= cut_ms]
    near = affected(crossing, fetch)
    then = parts_of(run for run in near if run.started_ms < cut_ms)
    return [(present[key], part) for key, part in then.items() if present[key].part != part]


def _left_alone(connection: Connection, account_no: int, touched: Sequence[RunRow]) -> list[RunRow]:
    out = {row.run_key for row in touched if row.part is not None and not _takes_part(row)}
    found = (runs.by_key(connection, account_no, key) for key in sorted(out))
    return [
        row for row in found if row is not None and row.part is not None and not _takes_part(row)
    ]


def _takes_part(row: RunRow) -> bool:
    return row.left_out == 0 and row.time_source != RECEIVED


def _reported(row: RunRow, names: dict[int | None, str]) -> Reported:
    return Reported(
        key=row.run_key,
        source=names[row.source_no],
        started_ms=row.started_ms,
        on_ms=row.on_ms,
        grams_mg=row.grams_mg,
        grams_basis=row.grams_basis,
    )
