"""How long a motor ran of late, how much of that is known, and what its rating makes of it."""

from __future__ import annotations

from ..core.answers import Duty
from ..core.coverage import covered, length_ms
from ..core.duty import judge_duty
from ..core.grinds import COUNTS_GRAMS, HAS_SECONDS
from ..core.records import TIME_SOURCES, Grinder
from ..store.stretches import LONGEST_RUN_MS
from ..store.types import to_milliseconds
from .asked import Asked

PLACED = tuple(number for number, name in enumerate(TIME_SOURCES) if name != "received")


def duty_of(asked: Asked, flow: float | None) -> Duty:
    since_ms = asked.at_ms - asked.cycle_ms
    on = [*ran(asked), *asked.running]
    first_ms = 0 if asked.marks.kept.archived_before is not None else asked.marks.first_ms
    is_known = first_ms is not None and first_ms <= asked.at_ms
    return judge_duty(
        starts_seconds=[start / 1000 for start, _ in on],
        ends_seconds=[end / 1000 for _, end in on],
        now_seconds=asked.at_ms / 1000,
        first_known_seconds=(first_ms or 0) / 1000 if is_known else None,
        possible_on_seconds=_possible_on_seconds(asked, since_ms, flow),
        rated=asked.grinder.rated_duty,
        covered_seconds=length_ms(
            covered(
                since_ms,
                asked.at_ms,
                first_known_ms=first_ms if is_known else None,
                watched=asked.watched,
                ran=on,
                unknown=[(tally.from_ms, tally.to_ms) for tally, _, _ in asked.counter.tallies],
                out_of_service=out_of_service(asked.grinder, asked.at_ms),
            )
        )
        / 1000,
    )


def ran(asked: Asked) -> list[tuple[int, int]]:
    """Motor-on time of the recent runs begun by the instant, cut off there."""
    return [
        (stretch.started_ms, min(stretch.started_ms + stretch.on_ms, asked.at_ms))
        for stretch in asked.recent
        if stretch.started_ms <= asked.at_ms
        and stretch.time_source in PLACED
        and stretch.on_ms is not None
    ]


def out_of_service(grinder: Grinder, until_ms: int) -> list[tuple[int, int]]:
    """When the grinder did not run because it was put aside, as far as an instant."""
    spans = (
        (to_milliseconds(span.from_at), None if span.to_at is None else to_milliseconds(span.to_at))
        for span in grinder.out_of_service
    )
    return [(low, until_ms if high is None else high) for low, high in spans if low < until_ms]


def _possible_on_seconds(asked: Asked, since_ms: int, flow: float | None) -> float | None:
    """Motor time that may lie in the cycle: of runs without seconds, or without a known start.

    None where grams without seconds tell of a run that may reach into it, and no flow is known.
    """
    possible_ms = 0.0
    for stretch in asked.recent:
        if not since_ms - LONGEST_RUN_MS <= stretch.started_ms <= asked.at_ms:
            continue
        lasted_ms = float(stretch.on_ms or 0)
        if stretch.on_ms is None:
            is_believed = stretch.part is None or (
                stretch.part & COUNTS_GRAMS and not stretch.part & HAS_SECONDS
            )
            if not is_believed or not stretch.grams_mg:
                continue
            if not flow:
                return None
            lasted_ms = stretch.grams_mg / flow
        elif stretch.time_source in PLACED:
            continue
        before_ms = max(0, since_ms - stretch.started_ms)
        possible_ms += max(0.0, lasted_ms - before_ms)
    return possible_ms / 1000
