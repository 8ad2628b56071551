"""The cups of a grinder: what the drinks recorded with its runs say beside the grind.

Looked at are 90 days before the burrs were proven settled and the latest 90 days since, within the
stay of the set that is in, and at most 500 cups of each; without a proof the latest 90 days.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from ..core.records import Caller, StoredRun
from ..store import cups, grinders
from ..store.database import Connection, Database
from ..store.grinders import GrinderRow
from ..store.tables import DAY_MS
from ..store.types import to_instant, to_milliseconds
from . import asked, reach
from .counting import count
from .reading_back import stored_runs
from .through import burr_set_in, want_through

if TYPE_CHECKING:
    from ..core.calibration_answers import CupsAnswer
    from ..core.cups import Cup

LOOK_DAYS = 90
MOST_CUPS = 500
WEIGHED = ("weighed_out", "weighed_in")


def get_cups(
    database: Database,
    caller: Caller,
    *,
    grinder_id: str,
    as_of: datetime | None = None,
    now: datetime,
) -> CupsAnswer:
    """Extraction and shot times with the set in a grinder, before and after it settled."""

    # with numpy: loaded when first there is need
    from ..core.cups_report import CupWindows, report_cups
    from ..core.stages import stage_at
    from .grind_facts import facts_about, facts_of

    def work(connection: Connection) -> CupsAnswer:
        account_no = caller.account_no
        found = reach.grinder_of(connection, caller, grinder_id, now=now)
        if as_of is not None:
            reach.check_instant(connection, caller, found, as_of=as_of, now=now)
            found = grinders.by_nos(connection, account_no, [found.grinder_no], as_of=as_of)[
                found.grinder_no
            ]
        (one,) = asked.about(connection, account_no, [found], as_of=as_of, now=now)
        at = to_instant(one.at_ms)
        burr_set = burr_set_in(one)
        if burr_set is None:
            return report_cups(CupWindows(), at, grinder_id=grinder_id, burr_set_id=None)
        want_through(one)
        count(connection, account_no, {one.counter, *(stay.counter for stay in one.stays)})
        facts = facts_of(connection, account_no, [one]).get(found.grinder_no) or facts_about(one)
        settled_at = stage_at(facts, at).settled_at
        fitted_ms = max(
            stay.from_ms for stay in one.stays if stay.counter.grinder_no == found.grinder_no
        )
        split_ms = one.end_ms if settled_at is None else to_milliseconds(settled_at)
        before_ms = max(fitted_ms, split_ms - LOOK_DAYS * DAY_MS)
        before, is_cut = _cups(connection, account_no, found, before_ms, split_ms)
        after: tuple[Cup, ...] = ()
        after_ms, is_cut_after = max(fitted_ms, split_ms, one.at_ms - LOOK_DAYS * DAY_MS), False
        if settled_at is not None:
            after, is_cut_after = _cups(connection, account_no, found, after_ms, one.end_ms)
        windows = CupWindows(
            before=before,
            after=after,
            before_from=to_instant(min(before_ms, split_ms)),
            after_from=None if settled_at is None else to_instant(after_ms),
            settled_at=settled_at,
            is_cut_off=is_cut or is_cut_after,
        )
        return report_cups(windows, at, grinder_id=grinder_id, burr_set_id=burr_set.burr_set_id)

    return database.read(caller.account_no, work)


def _cups(
    connection: Connection, account_no: int, found: GrinderRow, low_ms: int, high_ms: int
) -> tuple[tuple[Cup, ...], bool]:
    """The latest cups of a stretch, and whether there were more."""
    if low_ms >= high_ms:
        return (), False
    rows = cups.latest(
        connection,
        account_no,
        found.grinder_no,
        low_ms=low_ms,
        high_ms=high_ms,
        limit=MOST_CUPS + 1,
    )
    read = stored_runs(connection, account_no, found, rows[:MOST_CUPS])
    return _made(read), len(rows) > MOST_CUPS


def _made(read: Sequence[StoredRun]) -> tuple[Cup, ...]:
    from ..core.cups import Cup

    found = []
    for stored in read:
        run, brew = stored.run, stored.run.brew
        if brew is None or run.started_at is None or run.purpose == "cleaning":
            continue
        is_weighed = run.grams_basis in WEIGHED and "grams" in stored.counts
        found.append(
            Cup(
                at=run.started_at,
                method=brew.method,
                dose_grams=run.grams if is_weighed else None,
                seconds=brew.seconds,
                beverage_grams=brew.beverage_grams,
                water_grams=brew.water_grams,
                tds_fraction=brew.tds_fraction,
                setting=run.setting,
                coffee_lot=run.coffee_lot,
            )
        )
    return tuple(found)
