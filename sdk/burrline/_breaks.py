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
BRIDGE_SECONDS = 20.0
"""Longer than this no hand is taken to have pressed while it ground on."""
NEAR_SECONDS = 0.5
SOFT_GRAMS_PER_SECOND = 2.0
BRIDGE_WIDTHS, RELEASED_SECONDS, LEAST_FLOW = (0.5, 0.9, 1.4), (0.0, 0.5, 1.0), 0.2


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


def breaks(curve: Curve, flats: Sequence[Plateau]) -> tuple[list[Break], list[Break]]:
    """The sudden changes that stay, and what hands did that came and went while it ground."""
    found: list[Break] = []
    hands: list[Break] = []
    steep = _steep(curve)
    for place, (start, end) in enumerate(steep):
        one = _measured(curve, flats, start, end)
        lasts = one.end - one.start
        since = steep[place - 1][1] if place else curve.start
        until = steep[place + 1][0] if place + 1 < len(steep) else curve.end
        net = min(one.net, _least_net(curve, one, since, until), key=abs)
        flow = max(UP_GRAMS_PER_SECOND, 2.2 * min(_flow_beside(curve, one), MOST_FLOW))
        is_up = net > UP_GRAMS + flow * (lasts + curve.step)
        is_down = net < -DOWN_GRAMS - DOWN_GRAMS_PER_SECOND * lasts
        if is_up:
            hand = _bridge(curve, one.start, one.end, until) or _soft_hand(curve, one, until)
        else:
            hand = _hand(curve, found, one.end, until, is_down)
        if hand is not None:
            while found and found[-1].end > hand.start:
                found.pop()
            hands.append(hand)
        elif is_up or is_down:
            found.append(one)
    return found, hands


def _flow_beside(curve: Curve, one: Break) -> float:
    """The rate of what flowed both before and after a change."""
    width = max(0.4, curve.width)
    return min(curve.rate(one.start - width, width), curve.rate(one.end + width, width))


def _least_net(curve: Curve, one: Break, since: float, until: float) -> float:
    """The change across, where a tap that rings on at one end is looked past."""
    width = curve.width
    before = [
        curve.mean(one.start - ago - width, one.start - ago)
        for ago in RING_SECONDS
        if not ago or one.start - ago - width > since
    ]
    after = [
        curve.mean(one.end + on, one.end + on + width)
        for on in RING_SECONDS
        if not on or one.end + on + width < until
    ]
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


def _hand(
    curve: Curve, earlier: Sequence[Break], end: float, until: float, is_down: bool
) -> Break | None:
    """The hand that a fall was the end of: the flow goes on where it would have been without."""
    if max(curve.rate(end + width, width) for width in BRIDGE_WIDTHS) < LEAST_FLOW:
        return None
    since = end - BRIDGE_SECONDS
    for up in reversed(earlier):
        if up.start > since and up.net > 0:
            hand = _bridge(curve, up.start, end, until)
            if hand is not None:
                return hand
    if not is_down:
        return None
    t = end - 0.2 - 2 * curve.width
    least = max(curve.start + 2 * curve.width, since, earlier[-1].end if earlier else since)
    while t > least:
        hand = _bridge(curve, t, end, until)
        if hand is not None:
            return hand
        t -= 0.1
    return None


def _soft_hand(curve: Curve, up: Break, until: float) -> Break | None:
    """The hand that a sudden rise was the beginning of, where it let go less suddenly."""
    if curve.rate(up.start - 0.5, 0.5) < LEAST_FLOW:
        return None
    t, was_falling = up.end, False
    while t < min(until, up.start + BRIDGE_SECONDS):
        is_falling = curve.rate(t) < -SOFT_GRAMS_PER_SECOND
        if was_falling and not is_falling:
            hand = _bridge(curve, up.start, t, until)
            if hand is not None:
                return hand
        was_falling = is_falling
        t += GRID_SECONDS
    return None


def _bridge(curve: Curve, start: float, end: float, until: float) -> Break | None:
    """What lies between two instants, if a flow of one rate leads from one to the other."""
    for width in BRIDGE_WIDTHS:
        for after in RELEASED_SECONDS:
            b = end + after
            if start - 2 * width < curve.start or b + 2 * width > until:
                continue
            flow, later = curve.rate(start - width, width), curve.rate(b + width, width)
            if not 0.4 * flow <= later <= 2.5 * flow or min(flow, later) < LEAST_FLOW:
                continue
            before = curve.mean(start - 2 * width, start) + flow * width
            level = curve.mean(b, b + 2 * width) - later * width
            passed = (flow + later) / 2 * (b - start)
            if abs(level - before - passed) < 0.6 + 0.25 * passed:
                return Break(start, b, before, level)
    return None
