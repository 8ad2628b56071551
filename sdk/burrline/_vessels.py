"""What lay on the pan between the cups that came and went: the levels of one vessel after another.

A level above a later one is a hand, for grounds never leave a vessel; but a spoon may take a
little, and where a touch is seen above both levels, what rose or fell was not ground.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, replace

from burrline._breaks import Break
from burrline._curve import Curve
from burrline._edges import is_touched
from burrline._plateaus import Plateau

LEAST_RISE_GRAMS, STOOD_SECONDS = 0.25, 0.42
HAND_GRAMS, HAND_LEFT_SECONDS, UNSEEN_SECONDS = 0.2, 1.5, 0.45
SPOON_GRAMS, SPOONED_SECONDS = 2.5, 0.8
BELOW_GRAMS, BELOW_FRACTION = 4.0, 0.25


@dataclass
class Node:
    """A level between the changes of one vessel's weight; not ``is_rest`` where none was seen."""

    start: float
    end: float
    first: float
    last: float
    is_rest: bool
    step: float  # the size of the change of weight that the vessel came with


def vessels(
    curve: Curve, flats: Sequence[Plateau], cuts: Sequence[Break]
) -> list[tuple[list[Node], Break | None]]:
    """What lies between the breaks: the levels there, and the break that ended it."""
    found = []
    for before, after in zip([None, *cuts], [*cuts, None], strict=True):
        a = curve.start if before is None else before.end
        b = curve.end if after is None else after.start
        nodes: list[Node] = []
        step = 0.0 if before is None else abs(before.net)
        for flat in flats:
            start, end = max(flat.start, a), min(flat.end, b)
            if end - start >= 0.22:
                left = max(step, _excursion(curve, start, flat.level))
                nodes.append(Node(start, end, flat.level, flat.level, True, left))
        width, unseen = curve.width, UNSEEN_SECONDS + curve.step_seconds
        if b - a > 2 * width:
            if before is not None and (not nodes or nodes[0].start > a + unseen):
                level = curve.mean(a, a + width)
                nodes.insert(0, Node(a, a + width, level, level, False, step))
            if not nodes or nodes[-1].end < b - unseen:
                level = curve.mean(b - width, b)
                nodes.append(Node(b - width, b, level, level, False, step))
        found.append((_without_hands(curve, nodes), after))
    return found


def beside(flat: Plateau, hands: Sequence[Break]) -> list[Plateau]:
    """What of a level lies outside the hands."""
    parts = [flat]
    for hand in hands:
        parts = [
            replace(part, start=start, end=end)
            for part in parts
            for start, end in (
                (part.start, min(part.end, hand.start)),
                (max(part.start, hand.end), part.end),
            )
            if start < end
        ]
    return parts


def went_below(curve: Curve, cut: Break) -> bool:
    """Whether a fall led far below where it ended: the vessel went, and the scale was zeroed."""
    most = cut.after - max(BELOW_GRAMS, BELOW_FRACTION * abs(cut.net))
    first, last = bisect_left(curve.ts, cut.start), bisect_left(curve.ts, cut.end)
    return cut.net < 0 and sum(y < most for y in curve.ys[first:last]) > 1


def fallen_to(nodes: Sequence[Node]) -> list[float]:
    """Where the weight came to after a fall, until it rose again."""
    found: list[float] = []
    for node in nodes:
        if node.is_rest:
            if found and node.first > found[-1] + LEAST_RISE_GRAMS:
                break
            found.append(node.first)
    return found


def _excursion(curve: Curve, at: float, level: float) -> float:
    """How far the weight was off a level just before it, as where a hand let go."""
    first, last = bisect_left(curve.ts, at - HAND_LEFT_SECONDS), bisect_left(curve.ts, at)
    return max((abs(y - level) for y in curve.ys[first:last]), default=0.0)


def _without_hands(curve: Curve, nodes: list[Node]) -> list[Node]:
    """Without levels above a later one: grounds never leave a vessel, but a hand does.

    But a level that stood, and from which a touch took a little, is one: a spoon took grounds.
    """
    kept: list[Node] = []
    least = math.inf
    for node in reversed(nodes):
        if node.first > least + HAND_GRAMS:
            is_spooned = kept and node.first - kept[-1].first < SPOON_GRAMS
            if not (is_spooned and node.end - node.start > SPOONED_SECONDS):
                continue
            if not is_touched(curve, node, kept[-1]):
                continue
        kept.append(node)
        if node.is_rest:
            least = min(least, node.first)
    kept.reverse()
    return kept


def is_spoon(curve: Curve, before: Node, after: Node) -> bool:
    """Whether what a level rose by was put there, the hand that did it seen above both."""
    is_small = after.first - before.last < SPOON_GRAMS
    is_stood = before.is_rest and before.end - before.start > STOOD_SECONDS
    return is_small and is_stood and is_touched(curve, before, after)
