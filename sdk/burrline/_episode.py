"""The readings from the last rest on, bounded: old ones are thinned out where there are many."""

from __future__ import annotations

import math
from bisect import bisect_left

QUIET_SECONDS = 2.3
STILL_GRAMS, MOST_TREND_GRAMS, MOST_SPREAD_GRAMS = 0.25, 0.7, 0.6
MOST_READINGS, FRESH_READINGS, REST_READINGS = 1400, 500, 100


class Episode:
    """Seconds and grams, counted from a zero that moves along."""

    def __init__(self) -> None:
        self.ts: list[float] = []
        self.ys: list[float] = []
        self.base_seconds = 0.0
        self._base_grams = 0.0
        self.noise_grams = 0.02
        self._is_begun = False

    @property
    def seconds(self) -> float:
        return self.ts[-1] - self.ts[0]

    def push(self, seconds: float, grams: float) -> None:
        if not self._is_begun:
            self.base_seconds, self._base_grams, self._is_begun = seconds, grams, True
        seconds -= self.base_seconds
        if self.ts and seconds <= self.ts[-1]:
            return
        self.ts.append(seconds)
        self.ys.append(grams - self._base_grams)
        if len(self.ts) > MOST_READINGS:
            self._thin()

    def _thin(self) -> None:
        """Pairs of readings become one, but for the newest, and those of the rest before it all."""
        first, old = REST_READINGS, len(self.ts) - FRESH_READINGS
        old -= (old - first) % 2
        for values in (self.ts, self.ys):
            values[first:old] = [(values[i] + values[i + 1]) / 2 for i in range(first, old, 2)]

    def is_quiet(self) -> bool | None:
        """No trend over the last seconds, and nothing but noise; None where it is too early."""
        ts, ys = self.ts, self.ys
        now = ts[-1]
        first = bisect_left(ts, now - QUIET_SECONDS)
        n = len(ts) - first
        if n < 6 or ts[0] > now - 0.95 * QUIET_SECONDS:
            return None
        if now - ts[first] < 0.7 * QUIET_SECONDS:
            return False
        zero, level = ts[first], ys[-1]
        if abs(ys[first] - level) > 3.0:
            return False
        wt = wtt = wy = wty = wyy = largest = 0.0
        last = ys[first] - level
        for i in range(first, len(ts)):
            t, y = ts[i] - zero, ys[i] - level
            wt, wtt, wy, wty, wyy = wt + t, wtt + t * t, wy + y, wty + t * y, wyy + y * y
            if abs(y - last) > largest:
                largest = abs(y - last)
            last = y
        tt, ty = wtt - wt * wt / n, wty - wt * wy / n
        slope = ty / tt if tt > 0 else 0.0
        spread = math.sqrt(max(0.0, wyy - wy * wy / n - slope * ty) / n)
        is_quiet = (
            abs(slope) * QUIET_SECONDS <= min(MOST_TREND_GRAMS, STILL_GRAMS + spread)
            and spread <= min(MOST_SPREAD_GRAMS, max(0.15, 4 * self.noise_grams))
            and largest <= max(0.6, 7 * self.noise_grams)
        )
        if is_quiet:
            self.noise_grams += 0.5 / n * (min(spread, 0.5) - self.noise_grams)
        return is_quiet

    def rise(self, seconds: float) -> float:
        """How much more the last half of so many seconds weighed than the first half."""
        middle = bisect_left(self.ts, self.ts[-1] - seconds / 2)
        before = self.ys[bisect_left(self.ts, self.ts[-1] - seconds) : middle]
        after = self.ys[middle:]
        if not before or not after:
            return 0.0
        return sum(after) / len(after) - sum(before) / len(before)

    def moving(self, resolution: float) -> tuple[list[float], list[float]]:
        """The readings without those that a display repeated, where it does while they move."""
        ts, ys, least = self.ts, self.ys, 6 * resolution
        lasted, changes, begun = [], 0, 0
        for i in range(1, len(ts)):
            if ys[i] == ys[i - 1]:
                continue
            before = abs(ys[begun] - ys[begun - 1]) if begun else 0.0
            if before > least and abs(ys[i] - ys[begun]) > least and ts[i] - ts[begun] < 0.6:
                changes += 1
                if i - begun > 1:
                    lasted.append(ts[i] - ts[begun])
            begun = i
        if len(lasted) < 3 or len(lasted) < 0.2 * changes:
            return ts, ys
        most = 1.2 * sorted(lasted)[len(lasted) // 2]
        kept = [0]
        for i in range(1, len(ts)):
            if ys[i] != ys[kept[-1]] or ts[i] - ts[kept[-1]] > most:
                kept.append(i)
        return [ts[i] for i in kept], [ys[i] for i in kept]

    def keep_last(self, seconds: float) -> None:
        """Let go of all but the last seconds, and count time and weight from there."""
        ts, ys = self.ts, self.ys
        first = bisect_left(ts, ts[-1] - seconds)
        if not first:
            return
        del ts[:first], ys[:first]
        if ts[0] < 60.0 and abs(ys[0]) < 20.0:
            return
        by_seconds, by_grams = ts[0], ys[0]
        self.ts = [t - by_seconds for t in ts]
        self.ys = [y - by_grams for y in ys]
        self.base_seconds += by_seconds
        self._base_grams += by_grams
