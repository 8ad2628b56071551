"""How the dial of a grinder moves its grind, told by the checkpoints of the set that is in."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from ..core.errors import Fault, Invalid, NotFound
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
    from ..core.calibration_answers import CalibrationAnswer


def get_calibration(
    database: Database,
    caller: Caller,
    *,
    grinder_id: str,
    reference_d50_micrometres: float | None = None,
    reference_checkpoint_id: str | None = None,
    reference_grams_per_second: float | None = None,
    as_of: datetime | None = None,
    now: datetime,
) -> CalibrationAnswer:
    """The calibration of the set in a grinder with all it rests on, now or at a past instant."""
    if reference_d50_micrometres is not None and reference_checkpoint_id is not None:
        raise Invalid(
            Fault(
                "cannot go with reference_d50_micrometres",
                parameter="reference_checkpoint_id",
                place="query",
            )
        )

    # with numpy: loaded when first there is need
    from ..core.calibration_report import report_calibration
    from .grind_facts import facts_about, facts_of
    from .stream_told import stream_of

    def work(connection: Connection) -> tuple[CalibrationAnswer, Folded | None]:
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
        shown = reach.ids_within(
            connection, caller, {grinder_id, *(c.grinder_id for c in facts.checkpoints)}, now=now
        )
        if reference_checkpoint_id is not None and not any(
            c.checkpoint_id == reference_checkpoint_id and c.grinder_id in shown
            for c in facts.checkpoints
        ):
            raise NotFound("checkpoint", reference_checkpoint_id)
        told = stream_of(connection, account_no, one)
        is_steady = told is not None and told.stream.verdict == "flow_steadied"
        answer = report_calibration(
            facts,
            to_instant(one.at_ms),
            grinder_id=grinder_id,
            grind=found.grinder.grind,
            retained_grams=found.grinder.retained_grams,
            shown_grinder_ids=shown,
            flow=None if told is None else told.flow,
            steadied_grams_per_second=(
                told.stream.settled_grams_per_second.best if told and is_steady else None
            ),
            reference_d50_micrometres=reference_d50_micrometres,
            reference_checkpoint_id=reference_checkpoint_id,
            reference_grams_per_second=reference_grams_per_second,
        )
        return answer, None if told is None else told.folded

    answer, folded = database.read(caller.account_no, work)
    keep_folded(database, caller.account_no, folded)
    return answer
