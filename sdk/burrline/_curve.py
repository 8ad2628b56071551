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

    def __init__(self, ts: Sequence[float], ys: Sequence[float], lag: float, noise: float) -> None:
        self._ts, self._ys = ts, ys
        self._area = [0.0]
        steps = sorted(b - a for a, b in itertools.pairwise(ts))
        self.step = steps[len(steps) // 2] if steps else 0.1
        for i in range(1, len(ts)):
            dt = ts[i] - ts[i - 1]
            if lag:
                a = math.exp(-dt / lag)
                m = (ys[i] - a * ys[i - 1]) / (1 - a)
            else:
                m = (ys[i] + ys[i - 1]) / 2
            self._area.append(self._area[-1] + m * dt)
        self.lag, self.noise = lag, noise
        self.width = max(0.2, 2.0 * self.step)
        self.start, self.end = ts[0], ts[-1]

    def _at(self, t: float) -> float:
        ts = self._ts
        i = min(max(bisect_right(ts, t), 1), len(ts) - 1)
        share = (t - ts[i - 1]) / (ts[i] - ts[i - 1])
        return self._area[i - 1] + min(max(share, 0.0), 1.0) * (self._area[i] - self._area[i - 1])

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

    def noise_within(self, start: float, end: float) -> float:
        """How readings scatter about the lines between their neighbours, taps left out."""
        ts, ys = self._ts, self._ys
        first, last = bisect_right(ts, start), bisect_right(ts, end)
        offs = []
        for i in range(max(first, 1), min(last, len(ts) - 1)):
            share = (ts[i] - ts[i - 1]) / (ts[i + 1] - ts[i - 1])
            offs.append(abs(ys[i] - (1 - share) * ys[i - 1] - share * ys[i + 1]))
        if len(offs) < 5:
            return self.noise
        offs.sort()
        return max(self.noise, offs[len(offs) // 2] / 0.826)
