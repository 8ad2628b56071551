"""How far burrs have broken in, told by the checkpoints of the set that is in a grinder."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from ..core.records import Caller
from ..store import grinders
from ..store.database import Connection, Database
from ..store.stream_cells import Folded
from ..store.types import to_instant
from . import asked, reach
from .counting import count
from .stream import keep_folded, want_stream
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
    from .stream_told import stream_of

    def work(connection: Connection) -> tuple[BreakInAnswer, Folded | None]:
        account_no = caller.account_no
        found = reach.grinder_of(connection, caller, grinder_id, now=now)
        if as_of is not None:
            reach.check_instant(connection, caller, found, as_of=as_of, now=now)
            found = grinders.by_nos(connection, account_no, [found.grinder_no], as_of=as_of)[
                found.grinder_no
            ]
        (one,) = asked.about(connection, account_no, [found], as_of=as_of, now=now)
        want_through(one)
        want_stream(found.grinder_no, one.stays)
        count(connection, account_no, {one.counter, *(stay.counter for stay in one.stays)})
        facts = facts_of(connection, account_no, [one]).get(found.grinder_no)
        if facts is None:
            facts = facts_about(one)
        told = stream_of(connection, account_no, one)
        if told is not None:
            facts = replace(facts, flow_steadied_at=told.steadied_at)
        shown = reach.ids_within(
            connection, caller, {grinder_id, *(c.grinder_id for c in facts.checkpoints)}, now=now
        )
        answer = report_break_in(
            facts,
            to_instant(one.at_ms),
            grinder_id=grinder_id,
            shown_grinder_ids=shown,
            stream=None if told is None else told.answer(found.grinder.grind),
        )
        return answer, None if told is None else told.folded

    answer, folded = database.read(caller.account_no, work)
    keep_folded(database, caller.account_no, folded)
    return answer
