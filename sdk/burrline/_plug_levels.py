"""What a plug shows while nothing runs, and how far above it a motor must be."""

from __future__ import annotations

import math
from collections import deque

LEAST_ON_WATTS, MOST_ON_WATTS = 30.0, 60.0
"""How far above idle a motor must be: the former where idle power is still, the latter where it is
not, or not known."""
SPREADS_OF_IDLE = 3.0
USUAL_FRACTION = 0.2
"""Less than this part of what the motor usually draws is something else."""
IDLE_FRACTION, FIRST_IDLE_FRACTION = 0.1, 0.5
"""Less than this part of a high idle power is its own unrest; the latter where it is not known to
be idle power."""
IDLE_COUNT, IDLE_STILL = 21, 5
IDLE_EACH_SECONDS = 3.0


class Levels:
    """Learned from the readings; of constant memory. ``least_watts`` is the caller's word."""

    def __init__(self, least_watts: float | None) -> None:
        self._least_watts = least_watts
        self._idle: deque[float] = deque(maxlen=IDLE_COUNT)
        self._seconds = 0.0  # not yet learned from
        self._loads: deque[float] = deque(maxlen=9)  # of the last runs
        self._passed_over = 0  # how often less was drawn since, by what may be the motor
        self._is_passing = False
        self.is_sure = False  # that the first reading was of idle power

    @property
    def is_new(self) -> bool:
        return not self._idle

    @property
    def idle_watts(self) -> float:
        """The middle of what was drawn in the last minute or so that nothing ran."""
        return sorted(self._idle)[len(self._idle) // 2]

    @property
    def on_watts(self) -> float:
        """How far above idle a motor is taken to be."""
        if self._least_watts is not None:
            return self._least_watts
        least = self._least_of_idle()
        if self._loads:
            least = max(least, USUAL_FRACTION * sorted(self._loads)[len(self._loads) // 2])
        return least

    def _least_of_idle(self) -> float:
        """What it is by idle power alone, whatever the motor drew."""
        seen = sorted(self._idle)
        spread = seen[-1 - len(seen) // 6] - seen[len(seen) // 6]
        spread = spread if len(seen) >= IDLE_STILL else math.inf
        least = min(max(LEAST_ON_WATTS, SPREADS_OF_IDLE * spread), MOST_ON_WATTS)
        return max(
            least, (IDLE_FRACTION if self.is_sure else FIRST_IDLE_FRACTION) * self.idle_watts
        )

    def learn(self, watts: float, seconds: float) -> None:
        """So long nothing ran: idle power counts by its time, however often it is told."""
        self._seconds += seconds
        count = int(min(self._seconds / IDLE_EACH_SECONDS, IDLE_COUNT))
        self._seconds = math.fmod(self._seconds, IDLE_EACH_SECONDS)
        self._idle.extend([watts] * count)

    def begin(self, *watts: float) -> None:
        """These are idle power, whatever was before."""
        self._idle.clear()
        self._idle.extend(watts)

    def ran_at(self, watts: float) -> None:
        """A run drew as much above idle."""
        self._loads.append(watts)
        self._passed_over = 0

    def pass_over(self, above_watts: float) -> None:
        """So much is drawn and no run. Oftener than there were runs, and the motor is learned anew:
        those may have been another appliance, a kettle say."""
        is_passing = above_watts >= self._least_of_idle()
        self._passed_over += self._is_passing and not is_passing
        self._is_passing = is_passing
        if self._passed_over > len(self._loads):
            self._loads.clear()
            self._passed_over = 0
