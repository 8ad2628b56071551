"""Runs from the watts of a metering plug.

::

    from burrline.power import RunDetector

    detector = RunDetector()
    for t, watts in readings:             # seconds of any clock, watts
        for run in detector.push(t, watts):
            print(run.started, run.seconds)

How it works
------------
1. The idle power is learned: the middle of the readings while nothing runs, from the lowest ones
   on. Another appliance's standby on the same plug is part of it.
2. A reading is "on" when it is above idle by 60 W or more, or by 35 W or more after readings that
   were; the level follows the load that is seen, so a heavy motor's run-down is not its run.
3. A run begins between the last reading that was off and the first that was on, and ends between
   the last on and the first off; the middle is taken.
4. Runs less than two seconds apart, as far as the readings can tell, are one.
5. The inrush peak counts as on and no more. A plug that repeats old readings delays both ends of a
   run; its bounds do not know of it.

What a plug can know
--------------------
``low_seconds`` and ``high_seconds`` bound the motor-on time by what was read: between the first and
the last reading that was on, and between their neighbours that were off. A plug read each 10 s
knows a run of 7 s to be of 0 to 20 s at best, and sees only seven in ten of them at all; between
two such readings a pause may be missed. ``seconds`` is the middle of the two bounds. Plugs that
report a change at once, or each second, are what motor seconds should come from.

``grams`` is None: watts do not weigh. A motor without beans, or one that stalls, is on.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

from burrline._sample_clock import CLOSEST_SECONDS, SampleClock, number

__all__ = ["DetectedRun", "RunDetector"]

ON_WATTS = 60.0
STAY_ON_WATTS = 35.0
LOAD_FRACTION = 0.35
"""Less than this part of the load seen is a motor that runs down, or something else."""
IDLE_READINGS = 21
JOIN_SECONDS = 2.0
LONGEST_GAP_SECONDS = 90.0
"""After a longer silence nothing is known of what went before."""
LOAD_FADING = 0.2


@dataclass(frozen=True)
class DetectedRun:
    """One stretch of motor-on; ``started`` is on the clock of the readings.

    Its seconds lie between ``low_seconds`` and ``high_seconds``.
    """

    started: float
    seconds: float
    low_seconds: float
    high_seconds: float
    grams: None = None


@dataclass
class _Stretch:
    """From the last reading off to the first one off again, on the forward clock."""

    off_before: float
    first_on: float
    last_on: float
    began: float  # the best guess
    ended: float = 0.0
    off_after: float = math.inf


class RunDetector:
    """Finds runs in readings of watts; pure, and of constant memory.

    ``push`` takes one reading and returns the runs that have ended for certain, mostly none.
    ``finish`` returns the one still open, as far as it was seen; after it the detector is as new.
    Readings that are not finite are left out, negative ones count as nothing drawn; what is no
    number is a ``TypeError``. Time that goes backwards is a clock that was set: the next reading
    is taken to be one usual interval later.
    """

    def __init__(self) -> None:
        self._begin()

    def _begin(self) -> None:
        self._clock = SampleClock(1.0)
        self._idle: deque[float] = deque(maxlen=IDLE_READINGS)
        self._load = 0.0
        self._last: tuple[float, float] | None = None
        self._open: _Stretch | None = None
        self._ended: _Stretch | None = None

    def push(self, t_seconds: float, watts: float) -> list[DetectedRun]:
        """Take one reading; the runs that it ended."""
        t, power = number(t_seconds, "t_seconds"), number(watts, "watts")
        if not (math.isfinite(t) and math.isfinite(power)):
            return []
        power = max(power, 0.0)
        moved = self._clock.step(t)
        if not self._clock.is_new and 0 <= moved < CLOSEST_SECONDS:
            return []
        if moved > max(LONGEST_GAP_SECONDS, 6 * self._clock.typical_seconds):
            found = self._close()
            self._clock.advance(t, moved)
            self._last = None
            return found + self._take(self._clock.now, power)
        self._clock.advance(t, moved if moved > 0 else self._clock.typical_seconds)
        return self._take(self._clock.now, power)

    def finish(self) -> list[DetectedRun]:
        """No more readings come: the run still open, until its last reading."""
        found = self._close()
        self._begin()
        return found

    # ---------------------------------------------------------------------------------------

    def _idle_watts(self) -> float:
        return sorted(self._idle)[len(self._idle) // 2] if self._idle else 0.0

    def _take(self, now: float, power: float) -> list[DetectedRun]:
        above = power - self._idle_watts()
        least = STAY_ON_WATTS if self._open is not None else ON_WATTS
        is_on = above >= max(least, LOAD_FRACTION * self._load if self._open is not None else 0.0)
        last, self._last = self._last, (now, power)
        found: list[DetectedRun] = []
        if is_on:
            if self._open is None:
                found += self._begin_run(now, above, last)
            else:
                self._open.last_on = now
            load = min(above, 1.5 * self._load) if self._load else above
            self._load += LOAD_FADING * (load - self._load) if self._load else load
            return found
        if self._open is not None:
            self._end_run(now)
        if above < STAY_ON_WATTS:
            self._idle.append(power)
        ended = self._ended
        if ended is not None and now - ended.ended >= JOIN_SECONDS + self._clock.typical_seconds:
            found.append(self._told(ended))
            self._ended = None
        return found

    def _begin_run(
        self, now: float, above: float, last: tuple[float, float] | None
    ) -> list[DetectedRun]:
        off_before = last[0] if last is not None else now
        began = (off_before + now) / 2
        ended, self._ended = self._ended, None
        if ended is not None and began - ended.ended < JOIN_SECONDS:
            ended.last_on, ended.off_after = now, math.inf
            self._open = ended
            return []
        self._load = 0.0
        self._open = _Stretch(off_before, now, now, began)
        return [] if ended is None else [self._told(ended)]

    def _end_run(self, now: float) -> None:
        run = self._open
        assert run is not None
        run.off_after, self._open, self._ended = now, None, run
        run.ended = (run.last_on + now) / 2

    def _close(self) -> list[DetectedRun]:
        found = [] if self._ended is None else [self._told(self._ended)]
        if self._open is not None:
            self._open.ended = self._open.off_after = self._open.last_on
            found.append(self._told(self._open))
        self._open = self._ended = None
        return found

    def _told(self, run: _Stretch) -> DetectedRun:
        low, high = run.last_on - run.first_on, run.off_after - run.off_before
        seconds = run.ended - run.began
        return DetectedRun(self._clock.told(run.began), seconds, low, max(high, seconds))
