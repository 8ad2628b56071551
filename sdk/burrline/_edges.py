"""When a rise began and ended."""

from __future__ import annotations

import math
from typing import Protocol

from burrline._curve import Curve

EDGE_SECONDS = 0.04
MARGIN_SECONDS, MARGIN_GRAMS, MOST_MARGIN_SECONDS = 0.3, 0.3, 1.2
EDGE_FRACTION = 0.5
CLEAR_FRACTION = 0.15
CLOSING_FRACTION = 0.36
MOST_RATE = 14.0  # g/s
TOUCH_GRAMS, TOUCH_NOISES = 0.8, 4.0
TAP_SECONDS = 0.3


class Level(Protocol):
    """A level that the weight had for a while."""

    start: float
    end: float
    first: float
    last: float


def usual_rate(curve: Curve, start: float, end: float, width: float, rough: float) -> float:
    """The rate in the middle of those that may be grinding, by time."""
    rates, t = [], start
    while t <= end:
        rate = curve.rate(t, width)
        if 0.3 * rough < rate < MOST_RATE:
            rates.append(rate)
        t += max(0.1, (end - start) / 200)
    rates.sort()
    return rates[len(rates) // 2] if rates else rough


def edges(curve: Curve, low: Level, high: Level, rise: float) -> tuple[float, float]:
    """When the weight began to rise from one level, and when it came to the other.

    An edge is where the rate is half of the usual one, means of equal width being compared to the
    left and to the right: the ramp of a constant flow is met exactly.
    """
    lasts = max(high.start - low.end, 0.2)
    rough = rise / lasts
    noise = curve.noise_within(low.end, high.start)
    width = curve.width_for(rough, noise)
    usual = usual_rate(curve, low.end, high.start, width, rough)
    width = curve.width_for(0.7 * usual, noise)
    margin = min(MARGIN_SECONDS + MARGIN_GRAMS / usual, MOST_MARGIN_SECONDS)
    first = max(low.start + 0.1, low.end - margin)
    last = min(high.end - 0.1, high.start + margin)
    least = EDGE_FRACTION * usual
    t = first
    while t < last and curve.rate(t, width) < least:
        t += EDGE_SECONDS
    start = t
    t = last
    while t > start and curve.rate(t, width) < least:
        t -= EDGE_SECONDS
    return start, t


def is_sudden(curve: Curve, low: Level, high: Level, longest: float, slack: float) -> bool:
    """Whether a rise took no longer than ``longest`` seconds and its share of the look's width."""
    rise = high.first - low.last
    width = curve.step
    while width < 0.6 and curve.level_noise(width) > CLEAR_FRACTION * rise:
        width *= 1.2
    t = low.end - 0.15
    while t < high.start and curve.level(t, width) < low.last + 0.1 * rise:
        t += EDGE_SECONDS
    start = t
    t = high.start + 0.15
    while t > start and curve.level(t, width) > high.first - 0.1 * rise:
        t -= EDGE_SECONDS
    return (t - start) * 1.125 < longest + slack * width


def is_put_down(curve: Curve, low: Level, high: Level, most: float, shortest: float) -> bool:
    """Whether a rise, hands apart, took no longer than a step and ``shortest`` seconds of flow.

    Grounds never leave: what a reading has above a later one, or above ``most``, was a hand; dips
    as short as those of taps are left out. A flow is blurred by the scale's own step and by the
    look at it: widths add in squares.
    """
    rise, width = most - low.last, curve.width
    while width < 0.6 and curve.level_noise(width) > CLEAR_FRACTION * rise:
        width *= 1.2
    step = max(0.0, curve.step_seconds - curve.step / 2)  # its ends lie between readings
    longest = 0.8 * math.sqrt(shortest**2 + step**2 + width**2)  # from a tenth to nine tenths
    t, least, seconds = high.start + 0.15, most, 0.0
    ahead: list[float] = []
    while t > low.end - 0.15 - TAP_SECONDS and least > low.last + 0.1 * rise:
        ahead = [curve.level(t, width), *ahead[: round(TAP_SECONDS / EDGE_SECONDS) - 1]]
        least = min(least, max(ahead))
        if least < low.last + 0.9 * rise:
            seconds += EDGE_SECONDS
        if seconds > longest:
            return False
        t -= EDGE_SECONDS
    return True


def is_closing_in(curve: Curve, start: float, end: float) -> bool:
    """Whether a rise slows down all the way, as a step does on a scale whose lag is not known."""
    low, high = curve.level(start - 0.2), curve.level(end + 0.2)
    at = []
    t = start - 0.2
    for share in (0.1, 0.5, 0.9):
        while t < end + 0.3 and curve.level(t) < low + share * (high - low):
            t += EDGE_SECONDS / 2
        at.append(t)
    return at[1] - at[0] < CLOSING_FRACTION * (at[2] - at[0])


def is_touched(curve: Curve, before: Level, after: Level) -> bool:
    """Whether a hand was there between two levels: the weight stood above both for a while."""
    top = max(before.last, after.first)
    least = max(TOUCH_GRAMS, 0.5 * abs(after.first - before.last))
    least += TOUCH_NOISES * curve.level_noise(curve.width)
    count = int((after.start - before.end) / EDGE_SECONDS) + 1
    return any(curve.level(before.end + i * EDGE_SECONDS) > top + least for i in range(count))
