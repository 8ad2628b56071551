"""When a run ended that small rises follow: pulses belong to it, lumps from the chute do not."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Sequence

from burrline._curve import Curve
from burrline._edges import Level, edges, usual_rate
from burrline._shaken import shaken_edges
from burrline._shapes import (
    LONGEST_PULSE_SECONDS,
    SHORTEST_PULSE_SECONDS,
    Late,
    noise_square,
    pulse_odds,
    shaking,
)

LATE_GRAMS, LEAST_LATE_GRAMS = 1.6, 0.15
JOIN_SECONDS, BLUR_SECONDS = 2.0, 0.3
LOOK_SECONDS, MIDDLE_SECONDS = 0.8, 0.2
USUAL_ODDS, REPEATED_ODDS = 0.3, 3.0
"""Of pulses over lumps, as logarithms: of one late rise, and of one among several."""


def ends(
    curve: Curve,
    nodes: Sequence[Level],
    chain: tuple[int, int],
    rest: int,
    stands: Callable[[int], bool],
) -> tuple[float, float]:
    """When a run began, and when it ended, small rises between its last level and ``rest`` seen."""
    first, last = chain
    low = nodes[first]
    rough = (nodes[last].first - low.last) / max(nodes[last].start - low.end, 0.2)
    rises = _late_rises(nodes, first, rest, rough, stands)
    high = nodes[min(rises[0][0], last) if rises else last]
    start, stop = edges(curve, low, high, high.first - low.last)
    start, stop = shaken_edges(curve, low, high, start, stop)
    if not rises:
        return start, stop
    rough = (high.first - low.last) / max(high.start - low.end, 0.2)
    width = curve.width_for(rough, curve.noise_within(low.end, high.start))
    rate = usual_rate(curve, low.end, high.start, width, rough)
    for before, after in rises:
        told = _odds(curve, nodes, (first, before, after), rate)
        if told is None:
            continue
        if told.start - stop > JOIN_SECONDS + BLUR_SECONDS:
            break
        odds = told.odds + (REPEATED_ODDS if len(rises) > 1 else USUAL_ODDS)
        share = 1 / (1 + math.exp(-min(max(odds, -50.0), 50.0)))
        stop += share * (told.end - stop)
    return start, stop


def _late_rises(
    nodes: Sequence[Level], first: int, rest: int, rough: float, stands: Callable[[int], bool]
) -> list[tuple[int, int]]:
    """The small rises at the end, each from a level that stood to the next one that did."""
    found: list[tuple[int, int]] = []
    after, before = rest, rest - 1
    while before > first:
        if stands(before):
            grams = nodes[after].first - nodes[before].last
            lasts = nodes[after].start - nodes[before].end
            is_flow = min(grams / rough, lasts + BLUR_SECONDS) > LONGEST_PULSE_SECONDS
            if grams > LATE_GRAMS or is_flow:
                break
            if grams >= LEAST_LATE_GRAMS:
                found.append((before, after))
            after = before
        before -= 1
    found.reverse()
    return found


def _odds(
    curve: Curve, nodes: Sequence[Level], places: tuple[int, int, int], rate: float
) -> Late | None:
    """The odds of a pulse; None for what is too short to be one."""
    low, before, after = (nodes[place] for place in places)
    seconds = (after.first - before.last) / rate
    if not SHORTEST_PULSE_SECONDS <= seconds <= LONGEST_PULSE_SECONDS:
        return None
    first = max(before.start, before.end - LOOK_SECONDS)
    last = min(after.end, after.start + LOOK_SECONDS + curve.lag)
    square = noise_square(curve, bisect_left(curve.ts, first), bisect_left(curve.ts, last))
    shaken = shaking(curve, low.end, before.start, square)
    middle = before.end - MIDDLE_SECONDS, after.start + MIDDLE_SECONDS
    return pulse_odds(curve, (first, last), middle, seconds, shaken)
