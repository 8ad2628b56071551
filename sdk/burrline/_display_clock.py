"""When a display changed: the true instants of readings that are older than they look.

A display that changes only so often tells of a reading that it is up to one period old. While the
scale closes in on a new weight after a step, ``y = a + c exp(-u / lag)``, each reading tells its
own instant ``u``; those of one display lie on a lattice ``phase + n period``. So the logarithms of
the distances to the level lie on a lattice too, whose spacing a periodogram finds. The whole
numbers ``n`` then bound period and phase, for every reading was made while its value was shown:
``phase + n period <= t < phase + (n + 1) period``.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

from burrline._closing import best_lag, fewest_squares, line_of
from burrline._display_track import tracked
from burrline._lag import rests_before

LEAST_PERIOD_SECONDS, MOST_PERIOD_SECONDS = 0.07, 0.26
SLACK_SECONDS = 0.004
"""How late a reading may come beside the change that it shows."""
LEAST_READINGS, FIRST_READINGS = 7, 9
MOST_SQUARES, FIRST_SQUARES = 0.25, 0.1
"""Left by a lattice, of those that the readings' own instants leave; less where it is the first."""
WINDOW_SECONDS = (3.2, 2.4, 1.8, 1.3)
LANDED_SECONDS = 0.35
RESTED_SECONDS = 1.1, 0.35
"""From so long before a step until so long it stood still, as it does not where it flows."""
FIT_COST, PLAIN_COST, LANDING_FRACTION = 3.0, 6.0, 0.0001
CLEAR_NOISES = 5.0
TRUSTED_FRACTION = 0.1
MOST_FITS, SHARES = 40, 8


@dataclass
class Anchor:
    """What one step told: bounds of the period, and of the phase about an instant."""

    first: float
    last: float
    phase_least: float
    phase_most: float
    period_least: float
    period_most: float
    period: float
    lag: float = 0.0

    @property
    def phase(self) -> float:
        return (self.phase_least + self.phase_most) / 2

    def seconds_to(self, t: float) -> float:
        """How far an instant lies from the readings that told."""
        return max(self.first - t, t - self.last, 0.0)


class DisplayClock:
    """The period and the phases of a display's changes, as known so far; period 0: not known."""

    def __init__(self) -> None:
        self._least, self._most = LEAST_PERIOD_SECONDS, MOST_PERIOD_SECONDS
        self._anchors: list[Anchor] = []

    @property
    def period_seconds(self) -> float:
        return (self._least + self._most) / 2 if self._anchors else 0.0

    def learn(
        self, ts: Sequence[float], ys: Sequence[float], places: Sequence[int], noise: float
    ) -> list[float]:
        """Take in what the steps of an episode tell, and their lags; ``places`` begin them."""
        lags = []
        for place in places:
            if not (self._anchors or rests_before(ts, ys, place, noise, *RESTED_SECONDS)):
                continue
            told = _told_by(ts, ys, place, noise, (self._least, self._most), not self._anchors)
            if told is not None:
                self._take(told)
                lags.append(told.lag)
        return lags

    def _take(self, new: Anchor) -> None:
        least, most = max(self._least, new.period_least), min(self._most, new.period_most)
        if least > most:  # another display, or one of both was mistaken
            self._anchors, least, most = [], new.period_least, new.period_most
        for old in self._anchors[-1:]:
            gap_least = new.phase_least - old.phase_most
            gap_most = new.phase_most - old.phase_least
            first, last = math.ceil(gap_least / most), math.floor(gap_most / least)
            if first == last > 0:
                least, most = max(least, gap_least / first), min(most, gap_most / first)
        if least > most:
            self._anchors, least, most = [], new.period_least, new.period_most
        self._least, self._most = least, most
        self._anchors = [*self._anchors[-7:], new]

    def rebuilt(
        self, ts: Sequence[float], ys: Sequence[float]
    ) -> tuple[list[float], list[float]] | None:
        """The readings at the instants at which they were new; None where those are not known."""
        period = self.period_seconds
        if not period:
            return None
        doubt = (self._most - self._least) / 2 / period
        found_ts: list[float] = []
        found_ys: list[float] = []
        for place, middle in zip(*tracked(ts, ys, self._least, self._most), strict=True):
            t, new = ts[place], middle
            anchor = min(self._anchors, key=lambda one: one.seconds_to(t))
            if doubt * anchor.seconds_to(t) <= TRUSTED_FRACTION * period:
                count = math.floor((t + SLACK_SECONDS / 2 - anchor.phase) / anchor.period)
                new = anchor.phase + count * anchor.period
            if found_ts and new <= found_ts[-1] + 0.2 * period:
                continue
            found_ts.append(new)
            found_ys.append(ys[place])
        return found_ts, found_ys


def _told_by(
    ts: Sequence[float],
    ys: Sequence[float],
    place: int,
    noise: float,
    bounds: tuple[float, float],
    is_first: bool,
) -> Anchor | None:
    last = bisect_left(ts, ts[place] + 0.45, place)
    steep = max(
        range(place + 1, min(last + 1, len(ts))),
        key=lambda i: abs(ys[i] - ys[i - 1]) / (ts[i] - ts[i - 1]),
        default=0,
    )
    if not steep:
        return None
    change = ys[min(last, len(ys) - 1)] - ys[place]
    first = bisect_left(ts, ts[steep - 1] + LANDED_SECONDS, steep)
    floor = noise * noise + (LANDING_FRACTION * change) ** 2
    for seconds in WINDOW_SECONDS:
        end = bisect_left(ts, ts[steep] + seconds, steep)
        if end - first < LEAST_READINGS:
            return None
        # held readings tell no more than that they are
        least = max(bounds[0], _longest_held(ts, ys, first, end, math.sqrt(floor)))
        kept = [i for i in range(first, end) if i == first or ys[i] != ys[i - 1]]
        share = MOST_SQUARES
        if is_first:
            share = FIRST_SQUARES * min(1.0, (len(kept) / FIRST_READINGS) ** 8)
        step = ([ts[i] for i in kept], [ys[i] for i in kept], change)
        told = _lattice(*step, floor, least, bounds[1], share)
        if told is not None:
            return told
    return None


def _longest_held(
    ts: Sequence[float], ys: Sequence[float], first: int, end: int, noise: float
) -> float:
    """How long a reading was repeated while the weight moved."""
    longest, begun = 0.0, first
    for i in range(first + 1, end):
        if ys[i] != ys[begun]:
            if abs(ys[i] - ys[begun]) > 10 * noise:
                longest = max(longest, ts[i - 1] - ts[begun] - SLACK_SECONDS)
            begun = i
    return longest


def _lattice(
    ts: list[float],
    ys: list[float],
    change: float,
    floor: float,
    least: float,
    most: float,
    most_squares: float,
) -> Anchor | None:
    """Bounds from readings that close in, if a lattice of instants fits far better than ``ts``."""
    if len(ts) < LEAST_READINGS:
        return None
    zero = ts[0]
    lag, plain, _, c = best_lag([t - zero for t in ts], ys, 0.1, 1.1)
    if plain < PLAIN_COST * floor * len(ts) or lag > 1.05 or c * change > 0:
        return None
    found: list[tuple[float, float, Anchor]] = []
    tried: set[tuple[int, ...]] = set()
    for factor in (1.0, 0.93, 1.07, 0.86, 1.15, 0.78, 1.25):
        _, a, c = line_of([math.exp((zero - t) / (factor * lag)) for t in ts], ys)
        if not c:
            continue
        for counts in _countings(ts, ys, a, floor, factor * lag, least, most):
            if counts in tried or len(tried) > MOST_FITS:
                continue
            tried.add(counts)
            period = _period(ts, counts, least, most)
            if period is None:
                continue
            one = _anchor(ts, counts, *period)
            share, us = one.period, [n * one.period for n in counts]
            if fewest_squares(us, ys, lag) > plain:
                continue
            one.lag, squares, _, _ = best_lag(us, ys, 0.7 * lag, 1.4 * lag)
            if squares <= min(FIT_COST * floor * len(ts), most_squares * plain):
                found.append((share, squares, one))
    if not found:
        return None
    fewest = min(squares for _, squares, _ in found)
    near = [one for one in found if one[1] < 1.7 * fewest]
    longest = max(share for share, _, _ in near)
    return min((one for one in near if one[0] > 0.93 * longest), key=lambda one: one[1])[2]


def _countings(
    ts: list[float], ys: list[float], a: float, floor: float, lag: float, least: float, most: float
) -> list[tuple[int, ...]]:
    """Whole numbers for the readings, by the spacings on which the logarithms lie best."""
    sign = 1.0 if ys[0] > a else -1.0
    clear = CLEAR_NOISES * math.sqrt(floor) * max(1.0, lag / 0.2)
    zs: list[float] = []
    for y in ys:
        if sign * (y - a) < clear:
            break
        zs.append(-math.log(sign * (y - a)))
    if len(zs) < 5:
        return []
    span = max(zs) - min(zs)
    if span < 0.5:
        return []
    step = 1 / (7 * span)
    f = lag / most / 1.1
    peaks: list[tuple[float, float, float]] = []
    row: list[tuple[float, float, float]] = []
    while f < 1.1 * lag / least + 2 * step:
        re = sum(math.cos(2 * math.pi * f * z) for z in zs)
        im = sum(math.sin(2 * math.pi * f * z) for z in zs)
        row.append((math.hypot(re, im) / len(zs), f, math.atan2(im, re)))
        if len(row) > 2:
            if row[-2][0] >= max(row[-3][0], row[-1][0]) and row[-2][0] > 0.6:
                peaks.append(row[-2])
            del row[0]
        f += step
    peaks.sort(reverse=True)
    found = []
    for _, f, turn in peaks[:4]:
        counts = [round(f * z - turn / (2 * math.pi)) for z in zs]
        period = _period(ts, counts, least, most)
        if period is None:
            continue
        # the rest of the readings by the clock that these tell
        one = _anchor(ts, counts, *period)
        middle = counts[len(counts) // 2]
        counts += [middle + math.floor((t - one.phase) / one.period) for t in ts[len(counts) :]]
        found.append(tuple(n - counts[0] for n in counts))
    return found


def _period(
    ts: Sequence[float], counts: Sequence[int], least: float, most: float
) -> tuple[float, float] | None:
    """The bounds of the period that such a counting leaves; None if it leaves none."""
    for i in range(1, len(counts)):
        for j in range(i):
            n, passed = counts[i] - counts[j], ts[i] - ts[j]
            if n <= 0:
                return None
            least = max(least, (passed - SLACK_SECONDS) / (n + 1))
            if n > 1:
                most = min(most, (passed + SLACK_SECONDS) / (n - 1))
        if least > most:
            return None
    return least, most


def _anchor(
    ts: Sequence[float], counts: Sequence[int], period_least: float, period_most: float
) -> Anchor:
    """The phases that a counting leaves, by the period that leaves most of them."""
    best: tuple[float, float, float, float] | None = None
    pairs = list(zip(ts, counts, strict=False))
    for i in range(SHARES + 1):
        period = period_least + i / SHARES * (period_most - period_least)
        offs = [t - n * period for t, n in pairs]
        a, b = max(offs) - period, min(offs)
        if best is None or b - a > best[0]:
            best = (b - a, period, a, b)
    assert best is not None
    _, period, a, b = best
    middle = counts[len(counts) // 2]
    low, high = min(a, b) + middle * period, max(a, b) + middle * period
    return Anchor(ts[0], ts[-1], low, high, period_least, period_most, period)
