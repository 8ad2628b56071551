"""From the rows of burr sets and fittings to records with the ends that count, and new dates."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime

from ..core import nameplate
from ..core.burrs import Entry, check_entries, end_of
from ..core.errors import Fault, Invalid, PeriodArchived
from ..core.records import BurrSet, Caller, Fitting
from ..store import burr_sets, state, sums
from ..store.burr_sets import BurrSetRow, FittingRow
from ..store.database import Connection


def record_of(
    row: BurrSetRow, around: list[FittingRow], *, is_within: Callable[[str], bool]
) -> BurrSet:
    """The record of a set, with its stays in the grinders that are within the caller's reach."""
    entries = entries_of(around)
    stays = tuple(
        stay_of(entry, entries)
        for entry in entries
        if entry.burr_set_id == row.burr_set_id and is_within(entry.grinder_id)
    )
    return nameplate.burr_set_of(
        row.description,
        burr_set_id=row.burr_set_id,
        created_at=row.created_at,
        revision=row.revision,
        fittings=stays,
        voided_at=row.voided_at,
    )


def stay_of(entry: Entry, entries: list[Entry]) -> Fitting:
    removed_at = end_of(entry, entries)
    return Fitting(
        entry.grinder_id,
        entry.fitted_at,
        removed_at,
        is_removal_implied=removed_at is not None and entry.removed_at is None,
    )


def entries_of(rows: list[FittingRow]) -> list[Entry]:
    return [Entry(row.grinder_id, row.burr_set_id, row.fitted_at, row.removed_at) for row in rows]


def check_dates(
    connection: Connection,
    account_no: int,
    fitting: Fitting,
    *,
    grinder_no: int,
    burr_set_no: int,
    known: Iterable[FittingRow],
    place: str,
    now: datetime,
) -> None:
    """Refuse dates to come, and new ones amid an hour whose single runs are archived.

    A fitting ends the set's stay elsewhere too, so the archive of every grinder the set was in
    counts. ``known`` are fittings that were there before: the runs of their hours were kept.
    ``place`` points to where in the body the fitting was told.
    """
    named = {"fitted_at": fitting.fitted_at, "removed_at": fitting.removed_at}
    dates = [at for at in named.values() if at is not None]
    faults = [
        Fault("lies in the future", pointer=f"{place}/{name}")
        for name, at in named.items()
        if at is not None and at > now
    ]
    if faults:
        raise Invalid(*faults)
    around = burr_sets.fittings_around(
        connection, account_no, grinder_nos=[grinder_no], burr_set_nos=[burr_set_no]
    )
    rows = {*known, *around}
    nos = {grinder_no, *(row.grinder_no for row in rows if row.burr_set_no == burr_set_no)}
    sums.hold(connection, account_no, nos)
    for no in sorted(nos):
        archived_before = state.of_grinder(connection, account_no, no).archived_before
        if archived_before is None:
            continue
        kept = _dates_of(rows, no)
        for at in dates:
            is_full_hour = (at.minute, at.second, at.microsecond) == (0, 0, 0)
            if at < archived_before and not is_full_hour and at not in kept:
                raise PeriodArchived(at.isoformat(), archived_before.isoformat())


def _dates_of(rows: set[FittingRow], grinder_no: int) -> set[datetime | None]:
    """Every instant at which a set came into the grinder or left it."""
    here = [row for row in rows if row.grinder_no == grinder_no]
    set_nos = {row.burr_set_no for row in here}
    dates = {at for row in here for at in (row.fitted_at, row.removed_at)}
    return dates | {row.fitted_at for row in rows if row.burr_set_no in set_nos}


def check_implied(fitting: Fitting, around: Iterable[FittingRow], place: str) -> None:
    """Refuse a removal told as implied that no fitting implies: it was changed, so is entered."""
    if fitting.removed_at not in {None, *(row.fitted_at for row in around)}:
        raise Invalid(
            Fault(
                "no fitting implies it; leave out is_removal_implied to enter it",
                pointer=f"{place}/removed_at",
            )
        )


def check_all(connection: Connection, caller: Caller, found: BurrSetRow) -> None:
    """Refuse what contradicts the others; count up the other sets whose stay this changes."""
    around = burr_sets.fittings_around(
        connection, caller.account_no, burr_set_nos=[found.burr_set_no]
    )
    check_entries(entries_of(around))
    others = {row.burr_set_no for row in around} - {found.burr_set_no}
    if others:
        burr_sets.touch(connection, caller.account_no, others)
