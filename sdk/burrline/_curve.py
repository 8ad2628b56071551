"""The weight on the pan, freed of the scale's lag, as a curve that any stretch of may be asked.

Between two readings a weight m that stays moves a lagging scale from y to ``m + (y - m) a``, with
``a = exp(-dt / lag)``; hence ``m = (y_next - a y) / (1 - a)``. The curve is the running integral of
these, so that means over stretches let the noise of all readings but the outer ones cancel.
"""

from __future__ import annotations

import itertools
import math
from bisect import bisect_right
from collections.abc import Sequence

GRID_SECONDS = 0.1
MOST_WIDTH_SECONDS, NOISES = 1.6, 3.5


class Curve:
    """Means of the true weight over any stretch of an episode."""

    def __init__(
        self,
        ts: Sequence[float],
        ys: Sequence[float],
        lag: float,
        noise: float,
        step_seconds: float = 0.0,
    ) -> None:
        self.ts, self.ys = ts, ys
        self.step_seconds = step_seconds
        self._area = [0.0]
        self._weights: list[float] = []
        self.decays: list[float] = []
        """What a lagging scale keeps of where it was, from each reading to the next."""
        steps = sorted(b - a for a, b in itertools.pairwise(ts))
        self.step = steps[len(steps) // 2] if steps else 0.1
        for i in range(1, len(ts)):
            dt = ts[i] - ts[i - 1]
            a = math.exp(-dt / lag) if lag else 0.0
            m = (ys[i] - a * ys[i - 1]) / (1 - a) if lag else (ys[i] + ys[i - 1]) / 2
            self.decays.append(a)
            self._weights.append(m)
            self._area.append(self._area[-1] + m * dt)
        self.lag, self.noise = lag, noise
        self.width = max(0.2, 2.0 * self.step)
        self.start, self.end = ts[0], ts[-1]

    def _at(self, t: float) -> float:
        if t <= self.start:
            return 0.0
        if t >= self.end:
            return self._area[-1]
        i = bisect_right(self.ts, t) - 1
        return self._area[i] + self._weights[i] * (t - self.ts[i])

    def mean(self, start: float, end: float) -> float:
        """The mean weight over a stretch, as far as it was seen."""
        start, end = max(start, self.start), min(end, self.end)
        if end - start < 1e-6:
            start, end = max(self.start, end - self.width), min(self.end, start + self.width)
        return (self._at(end) - self._at(start)) / (end - start)

    def level(self, t: float, width: float = 0.0) -> float:
        width = width or self.width
        return self.mean(t - width / 2, t + width / 2)

    def rate(self, t: float, width: float = 0.0) -> float:
        """Grams per second about an instant, from two means side by side."""
        width = width or self.width
        if self.start < t - width and t + width < self.end:
            rise = self._at(t + width) - 2 * self._at(t) + self._at(t - width)
            return rise / (width * width)
        return (self.mean(t, t + width) - self.mean(t - width, t)) / width

    def width_for(self, rate: float, noise: float) -> float:
        """The narrowest stretch over which a flow stands clear of a noise of the readings."""
        width = self.width
        while width < MOST_WIDTH_SECONDS and NOISES * self.rate_noise(width, noise) > rate:
            width *= 1.15
        return width

    def rate_noise(self, width: float, noise: float) -> float:
        """What the noise alone makes of a rate."""
        return 1.7 * noise / self.noise * self.level_noise(width) / width

    def level_noise(self, width: float) -> float:
        """What the noise at rest makes of a mean."""
        return self.noise * max(math.sqrt(self.step / width), 1.5 * self.lag / width)

    def sudden_seconds(self, start: float, end: float) -> float:
        """How long what is sudden may look: a step on this scale, a hole in the readings."""
        ts = self.ts
        first, last = bisect_right(ts, start - 0.01), bisect_right(ts, end + 0.01)
        holes = [ts[i] - ts[i - 1] for i in range(max(first, 1), last)]
        return max(self.step_seconds, *holes, 0.0)

    def exceeds(self, most: float, start: float, stop: float) -> bool:
        """Whether a short rise went further than it stayed: something was put down."""
        count = int((stop - start) / 0.05) + 10
        return any(self.level(start + 0.05 * i) > most for i in range(count))

    def noise_within(self, start: float, end: float) -> float:
        """How readings scatter, taps left out.

        About the lines between their neighbours, or about where the weight that led from the one
        before would lead on: the first is much on a curve, the second where the lag is wrong.
        """
        ts, ys = self.ts, self.ys
        first, last = bisect_right(ts, start), bisect_right(ts, end)
        lines, onward = [], []
        for i in range(max(first, 1), min(last, len(ts) - 1)):
            share = (ts[i] - ts[i - 1]) / (ts[i + 1] - ts[i - 1])
            lines.append(abs(ys[i] - (1 - share) * ys[i - 1] - share * ys[i + 1]) / 0.826)
            if self.lag:
                before, after = self.decays[i - 1], self.decays[i]
                share = (1 - after) / (1 - before)
                mine, other = after + share, share * before
                off = abs(ys[i + 1] - mine * ys[i] + other * ys[i - 1])
                onward.append(off / math.sqrt(1 + mine * mine + other * other) / 0.6745)
        if len(lines) < 5:
            return self.noise
        middle = len(lines) // 2
        usual = min(sorted(offs)[middle] for offs in (lines, onward) if offs)
        return max(self.noise, usual)
