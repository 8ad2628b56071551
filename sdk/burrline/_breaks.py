"""Where an episode falls apart: a cup put down or taken away, rather than grounds or a tap."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from burrline._curve import GRID_SECONDS, Curve
from burrline._plateaus import Plateau

STEEP_GRAMS_PER_SECOND = 14.0
JOINED_SECONDS = 0.3
UP_GRAMS, UP_GRAMS_PER_SECOND, MOST_FLOW = 1.2, 9.0, 13.0
DOWN_GRAMS, DOWN_GRAMS_PER_SECOND = 1.2, 2.0
RING_SECONDS = (0.0, 0.25, 0.5)
BRIDGE_SECONDS = 15.0
"""Longer than this no hand is taken to have pressed while it ground on."""
NEAR_SECONDS = 0.5


@dataclass
class Break:
    """A sudden change of weight, from one level to another."""

    start: float
    end: float
    before: float
    after: float

    @property
    def net(self) -> float:
        return self.after - self.before


def breaks(curve: Curve, flats: Sequence[Plateau]) -> list[Break]:
    """The sudden changes that stay, but for a hand that came and went while it ground."""
    found = []
    for start, end in _steep(curve):
        one = _measured(curve, flats, start, end)
        lasts = one.end - one.start
        net = min(one.net, _least_net(curve, one), key=abs)
        flow = max(UP_GRAMS_PER_SECOND, 2.2 * min(_flow_beside(curve, one), MOST_FLOW))
        is_up = net > UP_GRAMS + flow * (lasts + curve.step)
        if is_up or net < -DOWN_GRAMS - DOWN_GRAMS_PER_SECOND * lasts:
            since = None if net > 0 else _pressed_since(curve, one)
            if since is None:
                found.append(one)
            while since is not None and found and found[-1].start > since - 0.3:
                found.pop()
    return found


def _flow_beside(curve: Curve, one: Break) -> float:
    """The rate of what flowed both before and after a change."""
    width = max(0.4, curve.width)
    return min(curve.rate(one.start - width, width), curve.rate(one.end + width, width))


def _least_net(curve: Curve, one: Break) -> float:
    """The change across, where a tap that rings on at one end is looked past."""
    width = curve.width
    before = [curve.mean(one.start - ago - width, one.start - ago) for ago in RING_SECONDS]
    after = [curve.mean(one.end + on, one.end + on + width) for on in RING_SECONDS]
    return min((b - a for a in before for b in after), key=abs)


def _steep(curve: Curve) -> list[tuple[float, float]]:
    groups: list[tuple[float, float]] = []
    t = curve.start + curve.width
    while t < curve.end:
        if abs(curve.rate(t)) > STEEP_GRAMS_PER_SECOND:
            if groups and t - groups[-1][1] <= JOINED_SECONDS:
                groups[-1] = (groups[-1][0], t)
            else:
                groups.append((t, t))
        t += GRID_SECONDS / 2
    return groups


def _measured(curve: Curve, flats: Sequence[Plateau], start: float, end: float) -> Break:
    width = curve.width
    a, b = start - 0.5 * width, end + 0.5 * width
    before, after = curve.mean(a - width, a), curve.mean(b, b + width)
    for flat in flats:
        if a - NEAR_SECONDS <= flat.end <= start + width and flat.start < a:
            before = flat.last_level
        if end - width <= flat.start <= b + NEAR_SECONDS and flat.end > b:
            after = flat.first_level
            break
    return Break(a, b, before, after)


def _pressed_since(curve: Curve, fall: Break) -> float | None:
    """When a weight that fell, and flows on, was where it would have flowed from."""
    width = max(0.5, 2 * curve.width)
    flow = curve.rate(fall.end + width, width)
    if not 0.2 <= flow <= STEEP_GRAMS_PER_SECOND:
        return None
    level, at = curve.mean(fall.end, fall.end + width), fall.end + width / 2
    t = fall.start - 0.2
    while t > max(curve.start + 2 * width, fall.end - BRIDGE_SECONDS):
        passed = flow * (at - t)
        is_there = abs(curve.level(t) + passed - level) < 0.6 + 0.25 * passed
        if is_there and 0.4 * flow <= curve.rate(t - width, width) <= 2.5 * flow:
            return t
        t -= 0.1
    return None
