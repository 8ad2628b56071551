"""Which rises of an episode are grinding, and what they amount to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from burrline._breaks import breaks
from burrline._curve import Curve
from burrline._edges import is_closing_in, is_put_down, is_sudden
from burrline._late import JOIN_SECONDS, LATE_GRAMS, ends
from burrline._plateaus import plateaus
from burrline._shaken import is_of_shaking, may_flow, spread_grams
from burrline._vessels import (
    LEAST_RISE_GRAMS,
    STOOD_SECONDS,
    Node,
    beside,
    fallen_to,
    is_spoon,
    vessels,
    went_below,
)

SHORTEST_SECONDS = 0.6
LEAST_GRAMS = 4.0
LEAST_FLOW, MOST_FLOW = 0.25, 11.0  # g/s
LATE_SECONDS = 3.0
CUP_SECONDS, SUDDEN_GRAMS = 0.3, 1.3
SETTLING_FRACTION, SETTLING_SECONDS = 0.001, 3.5
LANDING_FRACTION, LANDING_SECONDS = 0.004, 1.5
CUP_STOOD_SECONDS, BOTH_STOOD_SECONDS, CLEARLY_STOOD_SECONDS = 0.6, 0.9, 1.0
STEP_SECONDS, LIGHT_GRAMS = 2.5, 10.0
OPEN_SECONDS, LEAST_ALONE_SECONDS, OVERSHOT_SECONDS = 0.9, 5.0, 1.3
"""A run that no rest stands before or after is believed from here on."""


@dataclass(frozen=True)
class Flow:
    """Grounds that came, on the clock of the episode."""

    start: float
    end: float
    grams: float
    is_cut: bool  # the cup went before the weight was at rest


def flows(
    ts: Sequence[float],
    ys: Sequence[float],
    lag: float,
    noise: float,
    *,
    is_lag_known: bool = True,
    step_seconds: float = 0.0,
) -> list[Flow]:
    """The runs of an episode; ``step_seconds`` is what a step of this scale takes."""
    if len(ts) < 4:
        return []
    curve = Curve(ts, ys, lag, noise, step_seconds)
    flats = plateaus(ts, ys, lag, noise)
    cuts, hands = breaks(curve, flats)
    flats = [one for flat in flats for one in beside(flat, hands)]
    cuts = [cut for cut in cuts if not is_of_shaking(curve, cut)]
    found = []
    parts = vessels(curve, flats, cuts)
    for number, (nodes, cut) in enumerate(parts):
        fallen = [] if cut is None or went_below(curve, cut) else [cut.after]
        if fallen and cut is not None and cut.net < 0:
            fallen += fallen_to(parts[number + 1][0])
        for chain in chains(nodes):
            flow = _measured(curve, nodes, chain, fallen)
            if flow is None:
                continue
            is_short = flow.end - flow.start < STEP_SECONDS
            if is_lag_known or not (is_short and is_closing_in(curve, flow.start, flow.end)):
                found.append(flow)
    return found


def chains(nodes: Sequence[Node]) -> list[tuple[int, int]]:
    """First and last node of each row of rises that pauses of less than two seconds part."""
    found: list[tuple[int, int]] = []
    first, reach, flowed_until, last = -1, -1, 0.0, 0
    for i in range(1, len(nodes)):
        rise = nodes[i].first - nodes[last].last
        if rise < LEAST_RISE_GRAMS:
            if rise < -LEAST_RISE_GRAMS or nodes[i].end - nodes[i].start > STOOD_SECONDS:
                last = i
            continue
        if first >= 0 and nodes[i - 1].end - flowed_until < _longest_pause(nodes, first, reach):
            reach = i
        else:
            if first >= 0:
                found.append((first, reach))
            first, reach = last, i
        flowed_until, last = nodes[i].start, i
    if first >= 0:
        found.append((first, reach))
    return found


def _longest_pause(nodes: Sequence[Node], first: int, reach: int) -> float:
    """How long a level may last within a run: one that was cut out of a slow flow looks longer."""
    flow = _usual(nodes, (first, reach))
    return JOIN_SECONDS + 0.2 + min(LEAST_RISE_GRAMS / max(flow, 0.01), 0.7)


def _measured(
    curve: Curve, nodes: Sequence[Node], chain: tuple[int, int], fallen: Sequence[float]
) -> Flow | None:
    first, last = chain
    usual = _usual(nodes, chain)
    while last - first > 1 and is_spoon(curve, nodes[last - 1], nodes[last]):
        last -= 1
    shaken = spread_grams(curve, nodes[first].end, nodes[last].start)
    while stood := _stood_after(curve, nodes, first, last, usual, shaken):
        first = stood
    # the weight after it, late grounds taken in
    rest = last
    for i in range(last + 1, len(nodes)):
        near = nodes[i].start - nodes[rest].start < LATE_SECONDS
        if not near or nodes[i].first - nodes[last].last > LATE_GRAMS:
            break
        if is_spoon(curve, nodes[rest], nodes[i]):
            break
        if nodes[i].is_rest:
            rest = i
    high = nodes[rest]
    later = [*(node.first for node in nodes[last + 1 :]), *fallen]
    if (
        _is_undone(nodes[first].last, high.last - nodes[first].last, later)
        and last - first > 1
        and nodes[first + 1].end - nodes[first + 1].start > CUP_STOOD_SECONDS
        and nodes[first + 1].first - nodes[first].last < LIGHT_GRAMS
    ):
        first += 1  # what went again came with a light cup
    low = nodes[first]
    grams = high.last - low.last
    if grams < LEAST_GRAMS or _is_undone(low.last, grams, later):
        return None
    start, stop = ends(
        curve, nodes, (first, last), rest, lambda place: _is_pause(curve, nodes[place], usual)
    )
    seconds = stop - start
    rested = _stood_seconds(nodes, first) + (high.end - high.start if high.is_rest else 0.0)
    least = LEAST_ALONE_SECONDS  # no cup, and no grounds, but a hand that never stood still
    if low.is_rest and high.is_rest:
        least = SHORTEST_SECONDS if rested >= BOTH_STOOD_SECONDS else least
    elif rested > CUP_STOOD_SECONDS:
        least = OPEN_SECONDS
    if seconds < least:
        return None
    kept = min([nodes[last].first, *(level for level in later if level > low.last + LEAST_GRAMS)])
    if is_put_down(curve, low, nodes[last], kept, SHORTEST_SECONDS):
        return None  # however long a hand was there
    if seconds < OVERSHOT_SECONDS and curve.exceeds(high.last + 0.3 * grams, start, stop):
        return None
    if not LEAST_FLOW * 0.8 <= grams / seconds <= MOST_FLOW:
        return None
    return Flow(start, stop, grams, not high.is_rest)


def _stood_seconds(nodes: Sequence[Node], place: int) -> float:
    """How long a level had stood, those before it that differ by less than a rise taken in."""
    start, level = nodes[place].end, nodes[place].last
    for node in nodes[place::-1]:
        if not node.is_rest or abs(level - node.last) >= LEAST_RISE_GRAMS:
            break
        start, level = node.start, node.first
    return nodes[place].end - start


def _usual(nodes: Sequence[Node], chain: tuple[int, int]) -> float:
    """The rate of a chain all in all."""
    low, high = nodes[chain[0]], nodes[chain[1]]
    return (high.first - low.last) / max(high.start - low.end, 0.2)


def _stood_after(
    curve: Curve, nodes: Sequence[Node], first: int, last: int, usual: float, shaken: float
) -> int:
    """The level of a light cup that was put down before the grounds came; 0 for none."""
    for place in range(first + 1, last):
        if _is_sudden(curve, nodes, first, place, usual, shaken):
            return place
        if nodes[place].end - nodes[place].start > STOOD_SECONDS:
            break
    return 0


def _is_sudden(
    curve: Curve, nodes: Sequence[Node], first: int, place: int, usual: float, shaken: float
) -> bool:
    """Whether a light cup was put down, and stood, before the grounds came; or it settled still."""
    before, after = nodes[first], nodes[place]
    rise = after.first - before.last
    half = (after.end - after.start) / 2
    if half < STOOD_SECONDS / 2 or not _stands(curve, after, usual):
        return False
    if may_flow(curve, after, usual, shaken):
        return False
    is_first = first == 0 and before.end - before.start < LANDING_SECONDS
    if rise < 0.2 + (LANDING_FRACTION if is_first else SETTLING_FRACTION) * after.step:
        noise = curve.noise_within(before.end, after.end + 1.0)
        is_early = before.end - before.start < SETTLING_SECONDS and place == first + 1
        return is_early and curve.rate_noise(half, noise) < 0.35 * usual
    if curve.rate_noise(half, curve.noise_within(after.start, after.end + 0.5)) > 0.3 * usual:
        return False
    longest = max(CUP_SECONDS, 2.3 * curve.step, curve.sudden_seconds(before.end, after.start))
    longest = min(longest, rise / (2.2 * usual))
    if after.end - after.start > CLEARLY_STOOD_SECONDS:
        longest = max(longest, curve.step_seconds)
    return rise > SUDDEN_GRAMS and is_sudden(curve, before, after, longest, 0.5)


def _is_pause(curve: Curve, node: Node, usual: float) -> bool:
    """Whether the grinder may have stopped there."""
    half = (node.end - node.start) / 2
    is_clear = curve.rate_noise(half, curve.noise) < 0.25 * usual
    return node.is_rest and is_clear and _stands(curve, node, usual)


def _stands(curve: Curve, node: Node, usual: float) -> bool:
    """Whether the weight really stood still, rather than flowed in stairs."""
    half = (node.end - node.start) / 2
    return half > 0.19 and abs(curve.rate(node.start + half, half)) < 0.4 * usual


def _is_undone(low: float, grams: float, later: Sequence[float]) -> bool:
    """Whether the weight fell back to where it was: a hand that pressed, and let go."""
    near = min(1.0, max(0.4, 0.05 * grams))
    return any(abs(level - low) < near for level in later)
