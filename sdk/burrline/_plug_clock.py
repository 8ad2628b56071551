"""The instants of a plug's readings on a clock that only runs forward; late readings left out."""

from __future__ import annotations

from collections.abc import Iterator

from burrline._plug_habits import AT_ONCE_SECONDS, Habits
from burrline._sample_clock import CLOSEST_SECONDS, SampleClock

JOIN_SECONDS = 2.0
LONGEST_GAP_SECONDS = 90.0
"""After a longer silence nothing is known of what went before ..."""
LONGEST_STILL_SECONDS = 600.0
"""... but of a plug that tells only changes."""


class PlugClock:
    """Hands readings on; one that goes back in time waits for the next one to explain it."""

    def __init__(self, habits: Habits) -> None:
        self._habits = habits
        self._clock = SampleClock(1.0)
        self._aside: tuple[float, float] | None = None

    @property
    def typical_seconds(self) -> float:
        return self._clock.typical_seconds

    def told(self, now: float) -> float:
        """What the sender's clock showed at an instant of this one."""
        return self._clock.told(now)

    def readings(self, t: float, power: float) -> Iterator[tuple[float, float, bool]]:
        """What is to be taken now: when, the watts, and whether they come after a long silence."""
        moved = self._clock.step(t)
        if not self._clock.is_new and 0 <= moved < CLOSEST_SECONDS:
            return
        aside, self._aside = self._aside, None
        if aside is None and moved < 0:
            self._aside = (t, power)
            return
        if aside is not None:
            usual = self._clock.typical_seconds
            if moved < 0 or abs(moved - usual) > abs(t - aside[0] - usual):
                yield from self._advance(*aside)  # the clock was set; else that one came late
        yield from self._advance(t, power)

    def rest(self) -> Iterator[tuple[float, float, bool]]:
        """The reading that still waits."""
        aside, self._aside = self._aside, None
        if aside is not None:
            yield from self._advance(*aside)

    def _advance(self, t: float, power: float) -> Iterator[tuple[float, float, bool]]:
        moved = self._clock.step(t)
        if not self._clock.is_new and 0 <= moved < CLOSEST_SECONDS:
            return
        longest = max(LONGEST_GAP_SECONDS, 6 * self._clock.typical_seconds)
        if self._habits.tells_at_once:
            longest = max(longest, LONGEST_STILL_SECONDS)
        passed = moved
        if moved <= 0:  # how much time passed is not known, and a plug that tells at once may be
            passed = self._clock.typical_seconds  # silent for long
            passed += JOIN_SECONDS + AT_ONCE_SECONDS if self._habits.tells_at_once else 0.0
        self._clock.advance(t, passed)
        yield self._clock.now, power, moved > longest
