"""The readings from the last rest on, bounded: old ones are thinned out where there are many."""

from __future__ import annotations

import itertools
import math
from bisect import bisect_left

QUIET_SECONDS = 2.3
HALF_FRACTION = 0.45
STILL_GRAMS, MOST_TREND_GRAMS, MOST_SPREAD_GRAMS = 0.25, 0.7, 0.6
END_SECONDS, INNER_SECONDS, END_RISE_GRAMS, END_RISE_NOISES = 0.35, 1.35, 0.05, 3.0
FLOWED_SECONDS, FLOWED_PARTS, LEAST_FLOWED_GRAMS, FLOWED_NOISES = 0.5, 7, 0.3, 8.0
MOST_FLOW = 13.0
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

    def is_quiet(self, *, is_busy: bool = False) -> bool | None:
        """No trend over the last seconds, and nothing but noise; None where it is too early.

        Where it moved before, they neither begin nor end with a rise either.
        """
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
        most = min(MOST_TREND_GRAMS, STILL_GRAMS + spread)
        is_quiet = (
            abs(slope) * QUIET_SECONDS <= most
            and self.rise(QUIET_SECONDS / 2) <= HALF_FRACTION * most
            and spread <= min(MOST_SPREAD_GRAMS, max(0.15, 4 * self.noise_grams))
            and largest <= max(0.6, 7 * self.noise_grams)
        )
        is_quiet = is_quiet and not (
            is_busy and self._rises_at_an_end(first) and self._has_flowed(first)
        )
        if is_quiet:
            self.noise_grams += 0.5 / n * (min(spread, 0.5) - self.noise_grams)
        return is_quiet

    def _rises_at_an_end(self, first: int) -> bool:
        """Whether the last seconds begin or end with a rise: a pulse is over, or the next begins.

        A trend over all of them hides what a short pulse of a slow flow adds at one end.
        """
        ts = self.ts
        early = max(first + 2, bisect_left(ts, ts[first] + END_SECONDS))
        late = min(len(ts) - 2, bisect_left(ts, ts[-1] - END_SECONDS))
        inner = bisect_left(ts, ts[first] + INNER_SECONDS), bisect_left(ts, ts[-1] - INNER_SECONDS)
        return self._rises(first, early, inner[0]) or self._rises(inner[1], late, len(ts))

    def _has_flowed(self, first: int) -> bool:
        """Whether it rose bit by bit before a place, as a flow does and cups and hands do not."""
        ts, ys = self.ts, self.ys
        levels: list[float] = []
        end = first + 2
        for i in range(1, FLOWED_PARTS + 1):
            begin = bisect_left(ts, ts[first] - i * FLOWED_SECONDS)
            if begin == end:
                continue
            levels.insert(0, sum(ys[begin:end]) / (end - begin))
            end = begin
        steps = [after - before for before, after in itertools.pairwise(levels)]
        return bool(steps) and (
            sum(steps) > LEAST_FLOWED_GRAMS
            and max(steps) < MOST_FLOW * FLOWED_SECONDS
            and min(steps) > -END_RISE_GRAMS - FLOWED_NOISES * self.noise_grams
        )

    def _rises(self, first: int, middle: int, end: int) -> bool:
        before, after = self.ys[first:middle], self.ys[middle:end]
        if not before or not after:
            return False
        unsure = self.noise_grams * math.sqrt(1 / len(before) + 1 / len(after))
        rise = sum(after) / len(after) - sum(before) / len(before)
        return rise > END_RISE_GRAMS + END_RISE_NOISES * unsure

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
