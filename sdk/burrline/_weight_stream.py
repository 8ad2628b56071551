"""From what a scale says to one weight that tares and clocks do not break."""

from __future__ import annotations

import math
from collections import deque

from burrline._sample_clock import CLOSEST_SECONDS, SampleClock

GAP_SECONDS = 1.0
LONGEST_GAP_SECONDS = 30.0
REST_GAP_SECONDS = 3.0
FLOW_GRAMS_PER_SECOND = 0.3
LEAST_TARE_GRAMS = 0.8
MOST_BEND = 0.25
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
        if len(self._before) > 1 and self._ahead:
            since, before = self._before[-1]
            passed = seconds - since
            jump = grams + self._offset_grams - before
            if abs(jump) > LEAST_TARE_GRAMS:
                slope, bend = _line(list(self._before)[-3:])
                spread = _line(list(self._before)[-6:])[1]
                later = _line([sample, *list(self._ahead)[:2]])[0]
                is_spike = bend > MOST_BEND * abs(slope) * passed + 3 * self.resolution_grams
                is_spike &= abs(jump) < 50 * bend
                if not is_spike and self._is_tare(
                    sample, jump - slope * passed, slope, passed, spread
                ):
                    # between the slopes before and after, for the scale may be closing in
                    onward = (slope + later) / 2 * passed
                    self._offset_grams = before + onward - grams
        out = (seconds, grams + self._offset_grams)
        self._before.append(out)
        return out

    def _is_tare(
        self,
        sample: tuple[float, float],
        jump: float,
        slope: float,
        passed: float,
        spread: float,
    ) -> bool:
        near = 2.5 * self.resolution_grams + 0.02
        ahead = list(self._ahead)
        later = _line([sample, *ahead[:2]])[0]
        spread_later = _line([sample, *ahead])[1]
        # a weight that flows, or that the scale closes in on
        is_moving = slope * later > 0 and abs(slope) > FLOW_GRAMS_PER_SECOND
        is_moving &= 0.1 * abs(slope) < abs(later) < 1.6 * abs(slope)
        if not is_moving and not (spread_later > 0.4 * spread and slope > -0.1):
            shown = [grams - self._offset_grams for _, grams in self._before]
            if spread > near or any(abs(grams - sample[1]) <= near for grams in shown[-6:-1]):
                return False  # a hand that lets go, a tap that is over
        near += min(2 * spread, 0.5)
        span = ahead[min(1, len(ahead) - 1)][0] - sample[0]
        return (
            abs(jump) > max(LEAST_TARE_GRAMS, 4 * near)
            and abs(sample[1]) <= near + 1.3 * abs(slope) * passed
            and abs(later - slope) * span <= near + 0.95 * abs(slope) * span
        )


def _line(points: list[tuple[float, float]]) -> tuple[float, float]:
    """The slope of a line through points, and how far they scatter about it."""
    n = len(points)
    t = sum(point[0] for point in points) / n
    y = sum(point[1] for point in points) / n
    tt = sum((point[0] - t) ** 2 for point in points)
    slope = sum((point[0] - t) * (point[1] - y) for point in points) / tt
    off = sum((point[1] - y - slope * (point[0] - t)) ** 2 for point in points)
    return slope, math.sqrt(off / n)
