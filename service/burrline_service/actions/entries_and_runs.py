"""What entries do to runs: corrections work them out anew, cuts need single ones."""

from __future__ import annotations

from ..core.errors import CorrectionArchived, PeriodArchived
from ..store import entries, recount, runs, state, sums
from ..store.database import Connection
from ..store.entries import EntryRow
from ..store.grinders import GrinderRow
from ..store.tables import HOUR_MS
from ..store.types import to_instant, to_milliseconds


def check_archive(
    connection: Connection, account_no: int, found: GrinderRow, row: EntryRow
) -> None:
    """Refuse what would need single runs that are archived."""
    before = state.of_grinder(connection, account_no, found.grinder_no).archived_before
    if before is None:
        return
    before_ms = to_milliseconds(before)
    if entries.changes_runs(row) and row.from_ms < before_ms:
        raise CorrectionArchived(before.isoformat())
    for at_ms in entries.cuts_of(row):
        if at_ms < before_ms and at_ms % HOUR_MS:
            raise PeriodArchived(to_instant(at_ms).isoformat(), before.isoformat())


def apply_correction(
    connection: Connection, account_no: int, row: EntryRow, held: sums.Held
) -> None:
    """Work out anew the runs that a correction takes hold of, or lets go."""
    in_force = recount.corrections_of(connection, account_no, row.grinder_no)
    if not held.is_corrected:
        sums.mark(
            connection,
            account_no,
            row.grinder_no,
            first_source_no=held.first_source_no,
            is_shared=held.is_shared,
            is_corrected=True,
        )
    before = runs.raw_within(
        connection, account_no, row.grinder_no, low_ms=row.from_ms, high_ms=row.to_ms
    )
    names = recount.source_names(connection, account_no, before)
    recount.replace(
        connection,
        account_no,
        row.grinder_no,
        before=before,
        after=[recount.corrected(run, names[run.source_no], in_force) for run in before],
        is_shared=held.is_shared,
    )
