"""How far the burrs in grinders have broken in, by checkpoints and by the flow of ordinary runs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from ..core.answers import BreakIn
from ..store.database import Connection
from . import stream_now
from .asked import Asked

if TYPE_CHECKING:
    from ..core.stage_facts import GrindFacts


def stages_of(
    connection: Connection, account_no: int, each: Sequence[Asked], *, keeps: bool
) -> tuple[dict[int, GrindFacts], dict[int, BreakIn], list[stream_now.Memo]]:
    """What checkpoints tell, how far burrs have broken in where anything tells of it; memos.

    Both by number of grinder. The flow is asked for only where checkpoints leave the stage to what
    one may expect.
    """
    facts: dict[int, GrindFacts] = {}
    told: dict[int, BreakIn] = {}
    if any(one.has_checkpoints for one in each):
        from .grind_facts import facts_of

        facts = facts_of(connection, account_no, each)
    if facts:
        from ..core.stages import stage_at  # with numpy: loaded when first there is need

        told = {number: stage_at(known, each[0].at).break_in for number, known in facts.items()}
    open_still = [
        one
        for one in each
        if one.found.grinder_no not in told or told[one.found.grinder_no].basis == "expected"
    ]
    steadied, memos = stream_now.steadied_of(connection, account_no, open_still, keeps=keeps)
    if steadied:
        from ..core.stages import stage_at
        from .grind_facts import facts_about

        for one in open_still:
            number = one.found.grinder_no
            if number in steadied:
                known = replace(
                    facts.get(number) or facts_about(one), flow_steadied_at=steadied[number]
                )
                told[number] = stage_at(known, one.at).break_in
    return facts, told, memos
