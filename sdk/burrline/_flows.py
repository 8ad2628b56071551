"""Which rises of an episode are grinding, and what they amount to."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from burrline._breaks import Break, breaks
from burrline._curve import Curve
from burrline._edges import edges, is_closing_in, is_sudden
from burrline._plateaus import Plateau, plateaus

JOIN_SECONDS = 2.0
LEAST_GRAMS = 4.0
SHORTEST_SECONDS = 0.6
LEAST_FLOW, MOST_FLOW = 0.25, 13.0  # g/s
LEAST_RISE_GRAMS = 0.25
LATE_SECONDS, LATE_GRAMS = 3.5, 1.6
CUP_SECONDS, LUMP_SECONDS, SUDDEN_GRAMS, STOOD_SECONDS = 0.3, 0.13, 1.3, 0.42
SETTLING_FRACTION, SETTLING_SECONDS = 0.001, 3.5
LANDING_FRACTION, LANDING_SECONDS = 0.004, 1.5
HAND_GRAMS = 0.2
BRIDGE_SECONDS, BRIDGED_REST_SECONDS = 15.0, 1.3
"""Longer than this no hand is taken to have pressed while it ground on."""
STEP_SECONDS = 2.5
OPEN_SECONDS, LEAST_ALONE_SECONDS, OVERSHOT_SECONDS = 0.9, 5.0, 1.3
"""A run that no rest stands before or after is believed from here on."""


@dataclass(frozen=True)
class Flow:
    """Grounds that came, on the clock of the episode."""

    start: float
    end: float
    grams: float
    is_cut: bool  # the cup went before the weight was at rest


@dataclass
class Node:
    """A level between the changes of one vessel's weight; not ``is_rest`` where none was seen."""

    start: float
    end: float
    first: float
    last: float
    is_rest: bool
    step: float  # the size of the change of weight that the vessel came with


def flows(
    ts: Sequence[float],
    ys: Sequence[float],
    lag: float,
    noise: float,
    *,
    is_lag_known: bool = True,
) -> list[Flow]:
    """The runs of an episode."""
    if len(ts) < 4:
        return []
    curve = Curve(ts, ys, lag, noise)
    flats = plateaus(ts, ys, lag, noise)
    cuts = breaks(curve, flats)
    found = []
    parts = _bridged(curve, vessels(curve, flats, cuts))
    for number, (nodes, cut) in enumerate(parts):
        fallen = [] if cut is None else [cut.after]
        if cut is not None and cut.net < 0:
            fallen += [node.first for node in parts[number + 1][0] if node.is_rest]
        for chain in chains(nodes):
            flow = _measured(curve, nodes, chain, fallen)
            if flow is None:
                continue
            is_short = flow.end - flow.start < STEP_SECONDS
            if is_lag_known or not (is_short and is_closing_in(curve, flow.start, flow.end)):
                found.append(flow)
    return found


def vessels(
    curve: Curve, flats: Sequence[Plateau], cuts: Sequence[Break]
) -> list[tuple[list[Node], Break | None]]:
    """What lies between the breaks: the levels there, and the break that ended it."""
    found = []
    starts = [None, *cuts]
    ends = [*cuts, None]
    for before, after in zip(starts, ends, strict=True):
        a = curve.start if before is None else before.end
        b = curve.end if after is None else after.start
        nodes: list[Node] = []
        step = 0.0 if before is None else abs(before.net)
        for flat in flats:
            start, end = max(flat.start, a), min(flat.end, b)
            if end - start >= 0.22:
                nodes.append(Node(start, end, flat.level, flat.level, True, step))
        width = curve.width
        if b - a > 2 * width:
            if before is not None and (not nodes or nodes[0].start > a + 0.45):
                level = curve.mean(a, a + width)
                nodes.insert(0, Node(a, a + width, level, level, False, step))
            if not nodes or nodes[-1].end < b - 0.45:
                level = curve.mean(b - width, b)
                nodes.append(Node(b - width, b, level, level, False, step))
        found.append((_without_hands(nodes), after))
    return found


def _bridged(
    curve: Curve,
    parts: list[tuple[list[Node], Break | None]],
) -> list[tuple[list[Node], Break | None]]:
    """Vessels made one again that were none: a hand pressed while it ground on."""
    found: list[tuple[list[Node], Break | None]] = []
    for nodes, cut in parts:
        for back in range(1, min(4, len(found)) + 1):
            old, up = found[-back]
            if _goes_on(old, nodes) or (back == 1 and _is_hand(curve, up, nodes)):
                kept = [node for node in old if node.is_rest]
                del found[len(found) - back :]
                nodes = _without_hands(kept + [node for node in nodes if node.is_rest])
                break
        found.append((nodes, cut))
    return found


def _is_hand(curve: Curve, up: Break | None, nodes: Sequence[Node]) -> bool:
    """Whether it flowed on after a sudden rise while it flowed, or that rise was undone."""
    if up is None or up.net <= 0:
        return False
    width = max(0.5, curve.width)
    flow = curve.rate(up.start - width, width)
    rests = [node for node in nodes if node.is_rest]
    if flow < LEAST_FLOW or not rests:
        return False
    later = chains(rests)[:1]
    is_next = bool(later) and rests[0].start - up.end < OPEN_SECONDS and later[0][0] == 0
    if is_next and 0.4 * flow < _usual(rests, later[0]) < 2.5 * flow:
        return True
    least = min(rests, key=lambda node: node.first)
    gone = least.start - up.start
    return -0.5 <= least.first - up.before <= 1.0 + 1.6 * flow * gone < up.net + 1.0 + flow * gone


def _goes_on(old: Sequence[Node], new: Sequence[Node]) -> bool:
    """Whether a flow that one stretch broke off in goes on in a later one."""
    before, after = [node for node in old if node.is_rest], [node for node in new if node.is_rest]
    first, last = chains(before)[-1:], chains(after)[:1]
    if not first or not last or first[0][1] != len(before) - 1 or last[0][0] != 0:
        return False
    p, q = before[-1], after[0]
    gap = q.start - p.end
    if gap > BRIDGE_SECONDS or max(p.end - p.start, q.end - q.start) > BRIDGED_REST_SECONDS:
        return False
    flow, later = _usual(before, first[0]), _usual(after, last[0])
    between = (flow + later) / 2 * gap
    is_alike = 0.4 * flow <= later <= 2.5 * flow
    return is_alike and abs(q.first - p.last - between) <= 0.6 + 0.5 * between


def _without_hands(nodes: list[Node]) -> list[Node]:
    """Without levels above a later one: grounds never leave a vessel, but a hand does."""
    kept: list[Node] = []
    least = math.inf
    for node in reversed(nodes):
        if node.first > least + HAND_GRAMS:
            continue
        kept.append(node)
        if node.is_rest:
            least = min(least, node.first)
    kept.reverse()
    return kept


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
    while last - first > 1 and _is_sudden(curve, nodes, first, usual):
        first += 1
    # the weight after it, late grounds taken in
    rest = last
    for i in range(last + 1, len(nodes)):
        near = nodes[i].start - nodes[rest].end < LATE_SECONDS
        if not near or nodes[i].first - nodes[last].last > LATE_GRAMS:
            break
        if nodes[i].is_rest:
            rest = i
    low, high = nodes[first], nodes[rest]
    grams = high.last - low.last
    later = [node.first for node in nodes[last + 1 :]]
    if grams < LEAST_GRAMS or _is_undone(low.last, grams, [*later, *fallen]):
        return None
    end = last
    while end - first > 1 and _is_late(curve, nodes, end, usual):
        end -= 1
    start, stop = edges(curve, low, nodes[end], nodes[end].first - low.last)
    seconds = stop - start
    if seconds < SHORTEST_SECONDS:
        return None
    least = OPEN_SECONDS if low.is_rest or high.is_rest else LEAST_ALONE_SECONDS
    if not (low.is_rest and high.is_rest) and seconds < least:
        return None
    if seconds < OVERSHOT_SECONDS and _overshoots(curve, start, stop, high.last + 0.3 * grams):
        return None
    if not LEAST_FLOW * 0.8 <= grams / seconds <= MOST_FLOW:
        return None
    return Flow(start, stop, grams, not high.is_rest)


def _usual(nodes: Sequence[Node], chain: tuple[int, int]) -> float:
    """The rate of a chain all in all."""
    low, high = nodes[chain[0]], nodes[chain[1]]
    return (high.first - low.last) / max(high.start - low.end, 0.2)


def _is_sudden(curve: Curve, nodes: Sequence[Node], place: int, usual: float) -> bool:
    """Whether a light cup was put down, and stood, before the grounds came; or it settled still."""
    before, after = nodes[place], nodes[place + 1]
    rise = after.first - before.last
    if after.end - after.start < STOOD_SECONDS or not _stands(curve, after, usual):
        return False
    is_first = place == 0 and before.end - before.start < LANDING_SECONDS
    if rise < 0.2 + (LANDING_FRACTION if is_first else SETTLING_FRACTION) * after.step:
        half = (after.end - after.start) / 2
        noise = curve.noise_within(before.end, after.end + 1.0)
        is_early = before.end - before.start < SETTLING_SECONDS
        return is_early and curve.rate_noise(half, noise) < 0.35 * usual
    half = (after.end - after.start) / 2
    noise = curve.noise_within(after.start, after.end + 0.5)
    if curve.rate_noise(half, noise) > usual:
        return False
    longest = min(max(CUP_SECONDS, 2.3 * curve.step), rise / (2.2 * usual))
    return rise > SUDDEN_GRAMS and is_sudden(curve, before, after, longest, 0.5)


def _is_late(curve: Curve, nodes: Sequence[Node], place: int, usual: float) -> bool:
    """Whether a lump fell that had hung in the chute."""
    before, after = nodes[place - 1], nodes[place]
    half = (before.end - before.start) / 2
    return (
        after.first - before.last < LATE_GRAMS
        and _stands(curve, before, usual)
        and curve.rate_noise(half, curve.noise) < 0.25 * usual
        and is_sudden(curve, before, after, LUMP_SECONDS, 0.9)
    )


def _stands(curve: Curve, node: Node, usual: float) -> bool:
    """Whether the weight really stood still, rather than flowed in stairs."""
    half = (node.end - node.start) / 2
    return half > 0.19 and abs(curve.rate(node.start + half, half)) < 0.4 * usual


def _is_undone(low: float, grams: float, later: Sequence[float]) -> bool:
    """Whether the weight fell back to where it was: a hand that pressed, and let go."""
    near = min(1.0, max(0.4, 0.05 * grams))
    return any(abs(level - low) < near for level in later)


def _overshoots(curve: Curve, start: float, stop: float, most: float) -> bool:
    """Whether a short rise went further than it stayed: something was put down."""
    return any(curve.level(start + 0.05 * i) > most for i in range(int((stop - start) / 0.05) + 10))
