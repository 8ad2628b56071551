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


class WeightStream:
    """Samples in, and out again one later: on a clock that runs forward, tares taken back.

    A tare is a jump within one sample onto zero, after which the weight goes on as it did. Steps
    of real weight may look the same on a scale without lag; taking those back does no harm, for
    nothing that jumps is a run.
    """

    def __init__(self) -> None:
        self.clock = SampleClock(0.1)
        self.resolution_grams = 0.1
        self._smallest_step_grams = math.inf
        self._before: deque[tuple[float, float]] = deque(maxlen=8)
        self._pending: tuple[float, float] | None = None
        self._offset_grams = 0.0
        self._hold_seconds = 0.0
        self._shown: tuple[float, float] | None = None
        self._is_repeated = self._was_fast = False

    def push(self, told: float, grams: float) -> tuple[float, float] | None:
        """The sample before this one as (seconds, grams), unless this one tells nothing."""
        moved = self.clock.step(told)
        if self._is_held(told, grams):
            return None
        if not self.clock.is_new and 0 <= moved < CLOSEST_SECONDS:
            return None
        self.clock.advance(told, self._passed_seconds(moved, grams))
        out = None
        if self._pending is not None:
            self._learn_resolution(grams - self._pending[1])
            out = self._settle(self._pending, grams)
        self._pending = (self.clock.now, grams)
        return out

    def flush(self) -> tuple[float, float] | None:
        """The last sample, when no other will come."""
        if self._pending is None:
            return None
        seconds, grams = self._pending
        self._pending = None
        return seconds, grams + self._offset_grams

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

    def _slope(self) -> float:
        """Grams per second over the last few samples."""
        if len(self._before) < 2:
            return 0.0
        first, last = self._before[max(-3, -len(self._before))], self._before[-1]
        return (last[1] - first[1]) / (last[0] - first[0])

    def _passed_seconds(self, moved: float, grams: float) -> float:
        if self.clock.is_new:
            return 0.0
        typical = self.clock.typical_seconds
        if moved < 0:
            return typical
        if moved <= max(GAP_SECONDS, 6 * typical):
            return moved
        # a hole in the stream, or a clock set forward: the weight tells
        if self._pending is None or len(self._before) < 3:
            return typical
        first = self._before[0]
        now = self._pending[1] + self._offset_grams
        span = self._pending[0] - first[0]
        flow = (now - first[1]) / span if span > 0 else 0.0
        if flow < FLOW_GRAMS_PER_SECOND:
            return min(moved, REST_GAP_SECONDS)
        rise = grams - self._pending[1]
        if abs(rise - flow * typical) < abs(rise - flow * moved):
            return typical
        return min(moved, LONGEST_GAP_SECONDS)

    def _learn_resolution(self, step_grams: float) -> None:
        size = abs(step_grams)
        if 0.0009 < size < self._smallest_step_grams:
            self._smallest_step_grams = size
            self.resolution_grams = min(max(size, 0.005), 0.5)

    def _settle(self, sample: tuple[float, float], next_grams: float) -> tuple[float, float]:
        seconds, grams = sample
        if self._before:
            since, before = self._before[-1]
            slope, passed = self._slope(), seconds - since
            jump = grams + self._offset_grams - before
            near = 2.5 * self.resolution_grams + 0.02
            onward = next_grams - grams
            later = self.clock.now - seconds
            is_tare = (
                abs(jump - slope * passed) > max(LEAST_TARE_GRAMS, 4 * near)
                and abs(grams) <= near + 1.3 * abs(slope) * passed
                and abs(onward - slope * later) <= near + 0.5 * abs(slope) * later
            )
            if is_tare:
                self._offset_grams = before + slope * passed - grams
        out = (seconds, grams + self._offset_grams)
        self._before.append(out)
        return out
