"""How far burrs have broken in, told by the checkpoints of the set that is in a grinder."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from ..core.records import Caller
from ..store import grinders
from ..store.database import Connection, Database
from ..store.types import to_instant
from . import asked, reach
from .counting import count
from .through import want_through

if TYPE_CHECKING:
    from ..core.grind_answers import BreakInAnswer


def get_break_in(
    database: Database,
    caller: Caller,
    *,
    grinder_id: str,
    as_of: datetime | None = None,
    now: datetime,
) -> BreakInAnswer:
    """The break-in of the set in a grinder with all it rests on, now or at a past instant."""

    # with numpy: loaded when first there is need
    from ..core.grind_report import report_break_in
    from .grind_facts import facts_about, facts_of

    def work(connection: Connection) -> BreakInAnswer:
        account_no = caller.account_no
        found = reach.grinder_of(connection, caller, grinder_id, now=now)
        if as_of is not None:
            reach.check_instant(connection, caller, found, as_of=as_of, now=now)
            found = grinders.by_nos(connection, account_no, [found.grinder_no], as_of=as_of)[
                found.grinder_no
            ]
        (one,) = asked.about(connection, account_no, [found], as_of=as_of, now=now)
        want_through(one)
        count(connection, account_no, {one.counter, *(stay.counter for stay in one.stays)})
        facts = facts_of(connection, account_no, [one]).get(found.grinder_no)
        if facts is None:
            facts = facts_about(one)
        shown = reach.ids_within(
            connection, caller, {grinder_id, *(c.grinder_id for c in facts.checkpoints)}, now=now
        )
        return report_break_in(
            facts, to_instant(one.at_ms), grinder_id=grinder_id, shown_grinder_ids=shown
        )

    return database.read(caller.account_no, work)
