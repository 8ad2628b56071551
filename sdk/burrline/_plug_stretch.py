"""One stretch of motor-on as a plug's readings show it, and when it began and ended."""

from __future__ import annotations

import math
from dataclasses import dataclass

from burrline._plug_habits import AT_ONCE_SECONDS, Habits

SETTLING_SECONDS = 2.0
"""So long after a start readings, repeated ones too, may be of its inrush."""
LONGEST_DELAYS = 4.0
"""So many mean waits for a fresh reading are the longest one, nearly always."""
PART = (0.12, 0.82)
"""A reading between these parts of the load is taken for a motor that was on for a part of it."""


@dataclass(frozen=True)
class Reading:
    """When, and how far above idle."""

    at: float
    above_watts: float

    def part_of(self, load_watts: float) -> float:
        """The part of its time that the motor was on, where the reading is a mean."""
        part = self.above_watts / load_watts if load_watts > 0 else 1.0
        return 0.0 if part < PART[0] else 1.0 if part > PART[1] else part


@dataclass
class Stretch:
    """From the last reading off to the first one off again, on the forward clock."""

    before: Reading
    first: Reading
    last: Reading
    reach_seconds: float  # how much before its first reading it may have begun
    fresh_at: float
    second: Reading | None = None
    last_but_one: Reading | None = None
    load_watts: float = 0.0
    least_watts: float = math.inf  # but for the first reading, which may be of the inrush
    whole_load_watts: float = 0.0  # of all readings but the last
    readings: int = 1
    news_at: float = -math.inf  # the last reading before it that was surely no old one
    under: Stretch | None = None  # what had been taken for a run, and is another appliance
    after: Reading | None = None
    reach_after_seconds: float = 0.0

    def go_on(self, reading: Reading, is_fresh: bool) -> None:
        self.last_but_one, self.last = self.last, reading
        self.whole_load_watts = self.load_watts
        self.readings += 1
        if self.readings == 2:
            self.second = reading
        if is_fresh:
            self.fresh_at = reading.at
            self.least_watts = min(self.least_watts, reading.above_watts)
        self.after, self.reach_after_seconds = None, 0.0

    def load_at(self, now: float) -> float:
        """What it draws, as far as that is known; 0 where not."""
        if self.load_watts or now - self.first.at < SETTLING_SECONDS:
            return self.load_watts
        return self.least_watts if self.least_watts < math.inf else 0.0

    def ended(self, habits: Habits) -> float:
        """The middle of where it may have ended."""
        if self.after is None:
            return self.last.at
        return self.after.at - habits.reach(self.reach_after_seconds) / 2

    def parts(self) -> tuple[float, float] | None:
        """The parts of their time that the motor was on in the first and in the last reading, were
        they means; None where the run is too short to tell. A part stands alone: beside another
        one it is a motor that starts softly or runs empty.
        """
        load, second, inner = self.whole_load_watts, self.second, self.last_but_one
        if self.readings < 4 or load <= 0 or second is None or inner is None:
            return None
        first, last = self.first.part_of(load), self.last.part_of(load)
        return (
            first if second.part_of(load) == 1 else 1.0,
            last if inner.part_of(load) == 1 else 1.0,
        )

    def ended_by_a_part(self) -> bool | None:
        """Whether its end shows as a reading of part of the load; None where nothing is known."""
        parts = self.parts()
        if parts is None or self.after is None:
            return None
        return parts[1] < 1 or self.after.part_of(self.whole_load_watts) > 0

    def bounds(self, habits: Habits) -> tuple[float, float, float, float]:
        """When it began, when it ended, and the least and the most seconds between."""
        reach = habits.reach(self.reach_seconds)
        reach_after = habits.reach(self.reach_after_seconds)
        began, after_at = self.first.at - reach / 2, self.last.at + reach_after
        if self.after is not None:
            after_at = self.after.at
        ended = after_at - reach_after / 2
        low = max(0.0, after_at - reach_after - self.first.at)
        high = after_at - (self.first.at - reach)
        if habits.tells_at_once:
            both = min(reach, reach_after)  # as late at both ends
            ended, inner, late = after_at - both / 2, self.last_but_one, self.reach_after_seconds
            if inner is not None and late < 2:
                load = self.whole_load_watts or inner.above_watts
                if inner.part_of(load) == 1:
                    ended -= (1 - self.last.part_of(load)) * late
            read = after_at - self.first.at
            return (
                self.first.at - both / 2,
                ended,
                max(0.0, read - AT_ONCE_SECONDS),
                read + AT_ONCE_SECONDS,
            )
        parts = self.parts()
        if parts is not None and self.after is not None and self.second and self.last_but_one:
            first, last = parts
            if (habits.averages and not habits.repeats) or (first < 1 and last < 1):
                load = self.whole_load_watts
                early, late = self.before.part_of(load), self.after.part_of(load)
                wide, wide_after = (
                    self.second.at - self.first.at + reach,
                    after_at - self.last_but_one.at,
                )
                began += (1 - first) * wide / 2 - early * reach
                ended += late * reach_after - (1 - last) * wide_after / 2
                return began, ended, max(0.0, low - reach - reach_after), high + reach
        if habits.repeats:
            news = (self.first.at - self.news_at) / 2
            began = self.first.at - max(reach / 2, min(news, habits.delay_seconds))
            if self.after is not None:
                ended = (self.fresh_at + after_at) / 2
            earliest = max(
                self.news_at, self.first.at - reach - LONGEST_DELAYS * habits.delay_seconds
            )
            return began, ended, self.fresh_at - self.first.at, after_at - earliest
        return began, ended, low, high
