"""A clock of samples that only runs forward, whatever the sender's clock does."""

from __future__ import annotations

import math
from collections import deque
from numbers import Real

CLOSEST_SECONDS = 0.004
"""Samples closer together are one, told twice."""
MOST_SPANS = 64
LARGEST = 1e30
"""What is beyond was not measured, and its square would soon be no number."""
MOST_SECONDS = 1e14
"""No clock shows more, and of what shows more a second is lost in a float."""


def number(value: object, name: str) -> float:
    """A real number as a float; NaN and infinities pass, for streams hold them.

    >>> number(10**400, "watts"), number(-1e300, "watts"), number(1e6, "watts")
    (inf, -inf, 1000000.0)
    """
    if isinstance(value, bool) or not isinstance(value, Real):
        raise TypeError(f"{name} is no number: {value!r}")
    try:
        found = float(value)
    except OverflowError:
        return math.inf
    return found if not abs(found) > LARGEST else math.copysign(math.inf, found)


def is_instant(seconds: float) -> bool:
    """Whether a clock may show it; NaN and infinities are no instants."""
    return abs(seconds) <= MOST_SECONDS


class SampleClock:
    """Seconds since the first sample, and back from there to the sender's clock.

    ``step`` tells how the sender's clock moved; the caller decides how much time passed and says
    so to ``advance``. ``told`` finds what the sender's clock showed.
    """

    def __init__(self, typical_seconds: float) -> None:
        self.now = 0.0
        self.typical_seconds = typical_seconds
        self._last_told: float | None = None
        self._spans: deque[tuple[float, float]] = deque(maxlen=MOST_SPANS)

    @property
    def is_new(self) -> bool:
        return self._last_told is None

    def step(self, told: float) -> float:
        """How far the sender's clock moved since the sample before; 0 for the first one."""
        return 0.0 if self._last_told is None else told - self._last_told

    def advance(self, told: float, passed_seconds: float) -> None:
        """Take in a sample's time, ``passed_seconds`` after the sample before."""
        first = self._last_told is None
        moved = self.step(told)
        self.now += passed_seconds
        if first or abs(moved - passed_seconds) > 1e-9 * max(1.0, abs(told)):
            self._spans.append((self.now, told - self.now))
        elif 0 < moved < 4 * self.typical_seconds:
            self.typical_seconds += 0.05 * (moved - self.typical_seconds)
        self._last_told = told

    def told(self, now: float) -> float:
        """What the sender's clock showed at an instant of this one."""
        offset = self._spans[0][1]
        for since, one in self._spans:
            if since > now + 1e-9:
                break
            offset = one
        return now + offset
