"""From what a scale says to one weight that tares and clocks do not break."""

from __future__ import annotations

import itertools
import math
from collections import deque
from collections.abc import Sequence

from burrline._sample_clock import CLOSEST_SECONDS, SampleClock

GAP_SECONDS = 1.0
LONGEST_GAP_SECONDS = 30.0
REST_GAP_SECONDS = 3.0
FLOW_GRAMS_PER_SECOND = 0.3
LEAST_TARE_GRAMS, LEAST_REST_TARE_GRAMS, LEAST_JUMP_GRAMS = 0.5, 0.3, 0.1
STEADY, CLEAR_STEPS = 0.5, 10.0
MOST_FLOW, MOST_SHAKE_GRAMS, SHAKES, MOST_CURVED = 13.0, 0.4, 7.0, 2.5
MOST_BEND = 0.25
TARE_SPREADS, MOST_SHAKEN_GRAMS = 5.0, 8.0
"""What a table that shakes does in one reading is no tare."""
JUMP_SCATTERS, LEAST_TURNS, REST_SECONDS = 6.0, 3, 0.35
AHEAD = 3
"""So many readings later a jump onto zero is judged."""


class WeightStream:
    """Samples in, and out again three later: on a clock that runs forward, tares taken back.

    A tare is a jump within one sample onto zero, after which the weight goes on as it did: it rests
    where it rested, or flows where it flowed. Steps of real weight may look the same on a scale
    without lag; taking those back does no harm, for nothing that jumps is a run.
    """

    def __init__(self) -> None:
        self.clock = SampleClock(0.1)
        self.resolution_grams = 0.1
        self._smallest_step_grams = math.inf
        self._before: deque[tuple[float, float]] = deque(maxlen=8)
        self._ahead: deque[tuple[float, float]] = deque()
        self._offset_grams = 0.0
        self._hold_seconds = 0.0
        self._shown: tuple[float, float] | None = None
        self._is_repeated = self._was_fast = False

    def push(self, told: float, grams: float) -> tuple[float, float] | None:
        """The third sample before this one as (seconds, grams), unless this one tells nothing."""
        moved = self.clock.step(told)
        if self._is_held(told, grams):
            return None
        if not self.clock.is_new and 0 <= moved < CLOSEST_SECONDS:
            return None
        self.clock.advance(told, self._passed_seconds(moved, grams))
        if self._ahead:
            self._learn_resolution(grams - self._ahead[-1][1])
        self._ahead.append((self.clock.now, grams))
        return self._settle(self._ahead.popleft()) if len(self._ahead) > AHEAD else None

    def flush(self) -> list[tuple[float, float]]:
        """The last samples, when no other will come."""
        found = []
        while self._ahead:
            found.append(self._settle(self._ahead.popleft()))
        return found

    # ---------------------------------------------------------------------------------------

    def _is_held(self, told: float, grams: float) -> bool:
        """Whether a display that changes only so often shows what it has shown before.

        How often is learned while the weight moves fast: there, no two readings are alike.
        """
        shown, lasted = self._shown, 0.0
        if shown is not None:
            lasted = told - shown[0]
            if grams == shown[1]:
                self._is_repeated |= lasted > CLOSEST_SECONDS
                return 0 <= lasted < 1.1 * self._hold_seconds
            is_fast = abs(grams - shown[1]) > 12 * self.resolution_grams
            if is_fast and self._was_fast and 0 < lasted < 0.6:
                held = lasted if self._is_repeated else 0.0
                self._hold_seconds += 0.3 * (held - self._hold_seconds)
            self._was_fast = is_fast
        self._shown, self._is_repeated = (told, grams), False
        return False

    def _passed_seconds(self, moved: float, grams: float) -> float:
        if self.clock.is_new:
            return 0.0
        typical = self.clock.typical_seconds
        if moved < 0:
            return typical
        if moved <= max(GAP_SECONDS, 6 * typical):
            return moved
        # a hole in the stream, or a clock set forward: the weight tells
        if not self._ahead or len(self._before) < 3:
            return typical
        first = self._before[0]
        now = self._ahead[-1][1] + self._offset_grams
        span = self._ahead[-1][0] - first[0]
        flow = (now - first[1]) / span if span > 0 else 0.0
        if flow < FLOW_GRAMS_PER_SECOND:
            return min(moved, REST_GAP_SECONDS)
        rise = grams - self._ahead[-1][1]
        if abs(rise - flow * typical) < abs(rise - flow * moved):
            return typical
        return min(moved, LONGEST_GAP_SECONDS)

    def _learn_resolution(self, step_grams: float) -> None:
        size = abs(step_grams)
        if 0.0009 < size < self._smallest_step_grams:
            self._smallest_step_grams = size
            self.resolution_grams = min(max(size, 0.005), 0.5)

    def _settle(self, sample: tuple[float, float]) -> tuple[float, float]:
        seconds, grams = sample
        if len(self._before) > 3 and self._ahead:
            since, before = self._before[-1]
            passed = seconds - since
            jump = grams + self._offset_grams - before
            is_jump = abs(jump) > LEAST_JUMP_GRAMS + 2 * self.resolution_grams
            if is_jump and not self._curves(jump / passed, sample):
                onward = self._onward(sample, jump, passed)
                if onward is not None:
                    self._offset_grams = before + onward - grams
        out = (seconds, grams + self._offset_grams)
        self._before.append(out)
        return out

    def _onward(self, sample: tuple[float, float], jump: float, passed: float) -> float | None:
        """How much the weight rose while a jump was a tare; None where it was none."""
        slope, bend = _line(self._as_long(passed))
        longer, spread = _line(list(self._before)[-6:])
        is_spike = bend > MOST_BEND * abs(slope) * passed + 3 * self.resolution_grams
        is_spike &= abs(jump) < 50 * bend
        is_steady = longer * slope > STEADY * slope**2
        corrected = jump - slope * passed
        if not is_spike and self._is_tare(sample, corrected, slope, passed, spread, is_steady):
            return _between(list(self._before)[-3:], [sample, *list(self._ahead)[:2]])
        return self._onward_in_noise(sample, passed)

    def _as_long(self, seconds: float) -> list[tuple[float, float]]:
        """The last readings, three or as many as last so long: no line leads further than it is."""
        points = list(self._before)
        first = len(points) - 3
        while first > 0 and points[-1][0] - points[first][0] < seconds:
            first -= 1
        return points[first:]

    def _onward_in_noise(self, sample: tuple[float, float], passed: float) -> float | None:
        """The same where the table shakes while it grinds: means of many readings tell."""
        before, after = list(self._before), [sample, *self._ahead]
        flow, spread = _line(before)
        later, spread_later = _line(after)
        spread = max(spread, spread_later)
        since, old = _middle(before)
        until, new = _middle(after)
        rise = flow * (until - since)
        jump = new + self._offset_grams - old - rise
        if (
            not FLOW_GRAMS_PER_SECOND < flow < MOST_FLOW
            or spread > MOST_SHAKE_GRAMS
            or spread > MOST_CURVED * _scatter(before) + self.resolution_grams
            or abs(later - flow) * (after[-1][0] - after[0][0])
            > 4 * max(min(spread, _scatter(before)), spread_later)
            or abs(jump) < max(LEAST_TARE_GRAMS, SHAKES * spread)
            or abs(sample[1]) > 2.5 * spread + self.resolution_grams + flow * passed
        ):
            return None
        # the offset that makes both one line, counted from the last reading before
        return old + rise - before[-1][1] - new + sample[1]

    def _curves(self, rate: float, sample: tuple[float, float]) -> bool:
        """Whether a jump is as fast as what came just before or after it, as on a curve."""
        before = itertools.pairwise(list(self._before)[-4:])
        after = itertools.pairwise([sample, *self._ahead])
        rates = [(b[1] - a[1]) / (b[0] - a[0]) for a, b in (*before, *after)]
        slack = 0.3 * abs(rate)
        return min(rates) - slack <= rate <= max(rates) + slack

    def _spread_at_last(self, spread: float) -> float:
        """How far the last readings scatter, those of a third of a second at least."""
        count = max(3, 1 + round(REST_SECONDS / self.clock.typical_seconds))
        last = _line(list(self._before)[-count:])[1]
        return spread if count > 5 or last > 0.5 * self.resolution_grams else last

    def _is_of_shaking(self, after: list[tuple[float, float]]) -> bool:
        """Whether a table that shakes may have made a jump, one line through both sides seen."""
        before = list(self._before)
        scatter = _scatter(before)
        if not _zigzags(before) or scatter < 2 * self.resolution_grams:
            return False
        after = [(t, grams + self._offset_grams) for t, grams in after]
        return abs(_jump(before, after)) < JUMP_SCATTERS * scatter

    def _least_later(self, slope: float, near: float, ahead: list[tuple[float, float]]) -> float:
        """The least slope after a tare of a weight that moved: less where it slowed down anyway."""
        a, b, c = list(self._before)[-3:]
        first, last = (b[1] - a[1]) / (b[0] - a[0]), (c[1] - b[1]) / (c[0] - b[0])
        least = 0.1 * abs(slope)
        is_clear = abs(c[1] - b[1]) > CLEAR_STEPS * near
        if not (is_clear and 0 < last * first < 0.6 * first**2):
            return least
        span = ahead[min(1, len(ahead) - 1)][0] - c[0]
        return min(least, max(0.4 * (last / first) ** 3 * abs(slope), near / span))

    def _is_tare(
        self,
        sample: tuple[float, float],
        jump: float,
        slope: float,
        passed: float,
        spread: float,
        is_steady: bool,
    ) -> bool:
        near = 2.5 * self.resolution_grams + 0.02
        ahead = list(self._ahead)
        later = _line([sample, *ahead[:2]])[0]
        spread_later = _line([sample, *ahead])[1]
        # a weight that flows, or that the scale closes in on
        is_moving = slope * later > 0 and abs(slope) > FLOW_GRAMS_PER_SECOND and is_steady
        is_moving &= self._least_later(slope, near, ahead) < abs(later) < 1.6 * abs(slope)
        if not is_moving and not (spread_later > 0.4 * spread and slope > -0.1):
            shown = [grams - self._offset_grams for _, grams in self._before]
            rests = self._spread_at_last(spread)
            if rests > near or any(abs(grams - sample[1]) <= near for grams in shown[:-1]):
                return False  # a hand that lets go, a tap that is over
        least = max(LEAST_TARE_GRAMS, 4 * near)
        if not is_moving and max(spread, spread_later) <= near:
            least = max(LEAST_REST_TARE_GRAMS, 3 * near)
        near += 0.0 if is_moving else min(2 * spread, 0.5)
        shaken = TARE_SPREADS * max(spread, spread_later)
        span = ahead[min(1, len(ahead) - 1)][0] - sample[0]
        return (
            abs(jump) > max(least, min(shaken, MOST_SHAKEN_GRAMS))
            and not self._is_of_shaking([sample, *ahead])
            and abs(sample[1]) <= near + 1.3 * abs(slope) * passed
            and abs(later - slope) * span <= near + 0.95 * abs(slope) * span
        )


def _between(before: Sequence[tuple[float, float]], after: Sequence[tuple[float, float]]) -> float:
    """How much a weight rose from one point to the next: of a flow, or of what closes in."""
    first, last = _line(before)[0], _line(after)[0]
    since, until = before[-1][0], after[0][0]
    if not 0.04 < last / (first or math.inf) < 1:
        return (first + last) / 2 * (until - since)
    begun, ended = _middle(before)[0], _middle(after)[0]
    fall = math.log(first / last) / (ended - begun)
    # what three readings make of the slope of an exponential is more
    first /= _sinhc(fall * (before[-1][0] - before[0][0]) / 2)
    middle = first * math.exp(fall * (begun - (since + until) / 2))
    return middle * (until - since) * _sinhc(fall * (until - since) / 2)


def _sinhc(x: float) -> float:
    return math.sinh(x) / x if abs(x) > 1e-6 else 1.0


def _middle(points: Sequence[tuple[float, float]]) -> tuple[float, float]:
    n = len(points)
    return sum(point[0] for point in points) / n, sum(point[1] for point in points) / n


def _scatter(points: list[tuple[float, float]]) -> float:
    """How far points scatter, whatever curve they lie on."""
    ys = [point[1] for point in points]
    bends = [(a - 2 * b + c) ** 2 / 6 for a, b, c in zip(ys, ys[1:], ys[2:], strict=False)]
    return math.sqrt(sum(bends) / len(bends))


def _zigzags(points: list[tuple[float, float]]) -> bool:
    """Whether points turn to and fro, as they do not on a curve."""
    ys = [point[1] for point in points]
    bends = [a - 2 * b + c for a, b, c in zip(ys, ys[1:], ys[2:], strict=False)]
    return sum(a * b < 0 for a, b in itertools.pairwise(bends)) >= LEAST_TURNS


def _jump(before: list[tuple[float, float]], after: list[tuple[float, float]]) -> float:
    """How far two lines of one slope, by least squares, lie apart."""
    (t, y), (u, z) = _middle(before), _middle(after)
    parts = [(a - t, b - y) for a, b in before] + [(a - u, b - z) for a, b in after]
    slope = sum(a * b for a, b in parts) / sum(a * a for a, _ in parts)
    return z - y - slope * (u - t)


def _line(points: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """The slope of a line through points, and how far they scatter about it."""
    n = len(points)
    t = sum(point[0] for point in points) / n
    y = sum(point[1] for point in points) / n
    tt = sum((point[0] - t) ** 2 for point in points)
    slope = sum((point[0] - t) * (point[1] - y) for point in points) / tt
    off = sum((point[1] - y - slope * (point[0] - t)) ** 2 for point in points)
    return slope, math.sqrt(off / n)
