"""How a metering plug tells what it meters: at once or now and then, averaged, or again and again.

Nothing of it is said by the plug. It shows in when the readings come and in what they repeat.
"""

from __future__ import annotations

import math
from collections import deque

EARLY_FRACTION, VERY_EARLY_FRACTION = 0.6, 0.35
LATE_FRACTION = 2.5
"""A reading as early or as late as that, by the usual interval, was not waited for."""
AT_ONCE_SECONDS = 1.0
"""A plug that tells a change at once tells it within a second."""
REPEATED_FRACTION, STEADY_FRACTION = 0.05, 0.9
"""Of readings equal to the one before; where nearly all are, it is the load that is steady."""
FADING_READINGS = 200


class Habits:
    """Learned from the readings; of constant memory."""

    def __init__(self) -> None:
        self._quiet: deque[float] = deque(maxlen=15)  # intervals without an edge, seconds
        self._out_of_turn = 0  # did a changed reading come early?
        self._idle_intervals = 0
        self._longest_idle_seconds = 0.0
        self._shortest_seconds = math.inf
        self._edges: deque[bool] = deque(maxlen=12)  # were edges told out of turn?
        self._ends: deque[bool] = deque(maxlen=8)  # did runs end by a part of their load?
        self._step_watts = math.inf
        self._change_watts = self._repeats = 0.0
        self._fresh_seconds = self._fresh_squared = 0.0
        self._since_fresh = 0.0
        self._on = self._fresh = 0  # readings learned from

    # --- when readings come ----------------------------------------------------------------

    def between(self, seconds: float, is_on: bool, is_fresh: bool) -> None:
        """Two readings of one state, so far apart."""
        if is_fresh and self.is_early(seconds):
            self._out_of_turn = max(self._out_of_turn, self._weight(seconds))
        self._quiet.append(seconds)
        self._shortest_seconds = min(self._shortest_seconds, seconds)
        if not is_on:
            self._idle_intervals += 1
            self._longest_idle_seconds = max(self._longest_idle_seconds, seconds)

    @property
    def usual_seconds(self) -> float:
        """The middle interval, as far as known the shortest one; endless where none is known."""
        few = len(self._quiet) < 3
        return self._shortest_seconds if few else sorted(self._quiet)[len(self._quiet) // 2]

    def is_early(self, seconds: float, fraction: float = EARLY_FRACTION) -> bool:
        """A reading so long after another one was not waited for."""
        return len(self._quiet) >= 3 and seconds < fraction * self.usual_seconds

    def edge(self, seconds: float) -> None:
        """A run began or ended by a reading that came so long after the one before."""
        self._shortest_seconds = min(self._shortest_seconds, seconds)
        is_late = seconds > LATE_FRACTION * self.usual_seconds
        is_out = is_late or self.is_early(seconds)
        self._edges.extend([is_out] * self._weight(seconds))
        self._edges.extend([True] * self._out_of_turn)
        self._out_of_turn = 0

    def _weight(self, seconds: float) -> int:
        return 2 if self.is_early(seconds, VERY_EARLY_FRACTION) else 1

    def reach(self, seconds: float) -> float:
        """How much earlier than told a change may have been that came so long after a reading."""
        late = LATE_FRACTION * self.usual_seconds
        is_still = self._idle_intervals < 3 or self._longest_idle_seconds > late
        if self.is_early(seconds) or (seconds > late and is_still) or self.tells_at_once:
            usual = sorted(self._quiet)[len(self._quiet) // 6] if self._quiet else math.inf
            return min(seconds, usual, AT_ONCE_SECONDS)
        return seconds

    @property
    def tells_at_once(self) -> bool:
        """Changes are told when they are, and nothing while nothing changes."""
        told = sum(self._edges)
        return told >= 2 and 3 * told >= len(self._edges)

    # --- what readings are -----------------------------------------------------------------

    def ended(self, by_a_part: bool) -> None:
        self._ends.append(by_a_part)

    @property
    def averages(self) -> bool:
        """A reading is the mean since the one before: a motor at once off draws no part of it."""
        parts = sum(self._ends)
        return parts >= 2 and 5 * parts >= 2 * len(self._ends)

    def drawn(self, before: float, watts: float, seconds: float, is_settled: bool) -> bool:
        """A reading ``seconds`` after the one before; whether it is a fresh one.

        What is learned is learned of a motor that is on and settled.
        """
        change = abs(watts - before)
        if change > 1e-6:
            self._step_watts = min(self._step_watts, change)
        if not is_settled:
            self._since_fresh = 0.0
            return change > 1e-6
        self._since_fresh += seconds
        self._on = min(self._on + 1, FADING_READINGS)
        self._repeats += ((change <= 1e-6) - self._repeats) / self._on
        if change <= 1e-6:
            return False
        self._fresh = min(self._fresh + 1, FADING_READINGS)
        keep = 1 / self._fresh
        self._change_watts += keep * (change - self._change_watts)
        self._fresh_seconds += keep * (self._since_fresh - self._fresh_seconds)
        self._fresh_squared += keep * (self._since_fresh**2 - self._fresh_squared)
        self._since_fresh = 0.0
        return True

    @property
    def repeats(self) -> bool:
        """Old readings are told again: more of them are equal than would be by chance."""
        if self._on < 10 or self._repeats * self._on < 2.5 or self._fresh < 5:
            return False
        by_chance = min(1.0, self._step_watts / self._change_watts)
        return REPEATED_FRACTION + by_chance <= self._repeats <= STEADY_FRACTION

    @property
    def delay_seconds(self) -> float:
        """The mean wait for the next fresh reading, from any instant (E x^2 / 2 E x)."""
        return self._fresh_squared / (2 * self._fresh_seconds) if self._fresh_seconds else 0.0
