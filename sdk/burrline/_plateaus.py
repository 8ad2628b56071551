"""Stretches over which the weight on the pan does not change, and the level of each.

On a scale that lags behind, a weight that stays says ``y = level + c exp(-t / lag)``. An episode is
cut by dynamic programming into stretches that such a curve fits, at a price for each, and readings
that belong to none, at a price for each. Taps, hands and moving cups are such readings, and so is a
flow, but for a slow one that may be taken for stairs.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

STRETCH_COST, READING_COST = 9.0, 4.0
LONGEST_SECONDS = 1.6
LEAST_READINGS = 3
MOST_READINGS = 36
SAME_GRAMS = 0.1
SAME_NOISES = 3.0


@dataclass
class Plateau:
    """A weight that stayed from ``start`` to ``end``: its level, and how far that may be off."""

    start: float
    end: float
    level: float
    unsure: float
    first_level: float
    last_level: float
    held_seconds: float

    @property
    def seconds(self) -> float:
        return self.end - self.start


def plateaus(ts: Sequence[float], ys: Sequence[float], lag: float, noise: float) -> list[Plateau]:
    """The plateaus of an episode, in order; what returned to the same level is one."""
    found: list[Plateau] = []
    for start, end in _stretches(ts, ys, lag, noise):
        one = _measured(ts, ys, start, end, lag, noise)
        if found and _is_same(found[-1], one, noise):
            _take_in(found[-1], one)
        else:
            found.append(one)
    return found


def _is_same(old: Plateau, new: Plateau, noise: float) -> bool:
    near = SAME_GRAMS + noise
    unsure = SAME_NOISES * math.hypot(min(old.unsure, 0.2), min(new.unsure, 0.2))
    return (
        abs(new.level - old.last_level) <= near + unsure
        and abs(new.level - old.level) <= 1.5 * near + unsure
    )


def _take_in(old: Plateau, new: Plateau) -> None:
    a, b = 1 / (old.unsure**2 + 1e-9), 1 / (new.unsure**2 + 1e-9)
    old.level = (a * old.level + b * new.level) / (a + b)
    old.unsure = (a + b) ** -0.5
    old.end = new.end
    if new.unsure < 0.1 or new.unsure < old.unsure * 2:
        old.last_level = new.level
    old.held_seconds += new.seconds


def cost_of_rests(ts: Sequence[float], ys: Sequence[float], lag: float, noise: float) -> float:
    """What the best cut of some readings costs: the less, the more of them rest under a lag."""
    return _cut(ts, ys, lag, noise)[0][-1]


def _stretches(
    ts: Sequence[float], ys: Sequence[float], lag: float, noise: float
) -> list[tuple[int, int]]:
    came_from = _cut(ts, ys, lag, noise)[1]
    found, end = [], len(ts)
    while end > 0:
        place = came_from[end]
        if place < 0:
            end -= 1
        else:
            found.append((place, end))
            end = place
    found.reverse()
    return found


def _cut(
    ts: Sequence[float], ys: Sequence[float], lag: float, noise: float
) -> tuple[list[float], list[int]]:
    half = 0.5 / (noise * noise)
    count = len(ts)
    shortest = max(0.28, 0.5 * lag)
    decays = [0.0] * count
    if lag:
        for i in range(count - 1):
            decays[i] = math.exp((ts[i] - ts[i + 1]) / lag)
    best, came_from = [0.0] * (count + 1), [0] * (count + 1)
    for end in range(1, count + 1):
        least, place = best[end - 1] + READING_COST, -1
        zero, last = ys[end - 1], ts[end - 1]
        n = 0
        sy = syy = se = see = sey = 0.0
        for start in range(end - 1, max(-1, end - 1 - MOST_READINGS), -1):
            y = ys[start] - zero
            n += 1
            sy += y
            syy += y * y
            off = syy - sy * sy / n
            if lag:
                d = decays[start] if n > 1 else 1.0
                se, see, sey = d * se + 1.0, d * d * see + 1.0, d * sey + y
                if n > 2:
                    left = sey - se * sy / n
                    off -= left * left / (see - se * se / n)
            lasts = last - ts[start]
            if n < LEAST_READINGS or lasts < shortest:
                continue
            cost = off * half
            if cost > 60 + 2 * READING_COST * n or (lasts > LONGEST_SECONDS and n > 8):
                break
            cost += best[start] + STRETCH_COST
            if cost < least:
                least, place = cost, start
        best[end], came_from[end] = least, place
    return best, came_from


def _measured(
    ts: Sequence[float], ys: Sequence[float], start: int, end: int, lag: float, noise: float
) -> Plateau:
    n, zero, level = end - start, ts[start], ys[end - 1]
    sy = se = see = sey = 0.0
    for i in range(start, end):
        y, e = ys[i] - level, math.exp((zero - ts[i]) / lag) if lag else 0.0
        sy, se, see, sey = sy + y, se + e, see + e * e, sey + e * y
    mean, variance = sy / n, 1 / n
    free = see - se * se / n
    if lag and free > 1e-9:
        c = (sey - se * sy / n) / free
        # what has closed in already is not fitted
        if abs(c) * math.sqrt(free) > 2.0 * noise:
            mean -= c * se / n
            variance += (se / n) ** 2 / free
    unsure = noise * math.sqrt(variance)
    level += mean
    return Plateau(ts[start], ts[end - 1], level, unsure, level, level, ts[end - 1] - ts[start])
