"""Runs from the watts of a metering plug.

::

    from burrline.power import RunDetector

    detector = RunDetector()
    for t, watts in readings:             # seconds of any clock, watts
        for run in detector.push(t, watts):
            print(run.started, run.seconds)

How it works
------------
1. Idle power is learned: the middle of what was drawn in the last minute that nothing ran, by its
   time. Another appliance's standby on the same plug is part of it.
2. A reading is "on" when it is above idle by 30 W or more, by up to 60 W where idle power is not
   still or not yet known, and by a fifth of what the last runs drew, until more things that drew
   less have come and gone than these runs; ``least_watts`` sets that limit. While on, the limit is
   three fifths of it and three tenths of the load of the run, so a motor's run-down is not its run.
3. A run begins between the last reading that was off and the first that was on, and ends between
   the last on and the first off; the middle is taken. Where readings show that the plug tells
   changes at once, tells means, or repeats old readings, the ends are taken by that: at the
   reading, by the part of its time that the motor was on, or by the readings that were news.
4. Runs less than two seconds apart, as far as the readings can tell, are one.
5. The inrush peak counts as on and no more; a soft start of up to 1.5 s is part of the run.
6. What the run has left behind is idle power, and so is what was drawn under a load five times as
   large, or for half an hour on end: a lamp or a heater was switched on.

What a plug can know
--------------------
``low_seconds`` and ``high_seconds`` bound the motor-on time by what was read: between the first and
the last reading that was on, and between their neighbours that were off. A plug read each 10 s
knows a run of 7 s to be of 0 to 20 s at best, and sees only seven in ten of them at all; between
two such readings a pause may be missed. Plugs that report a change at once, or each second, are
what motor seconds should come from. How a plug tells is learned from its first one to three runs,
which are told less exactly.

A plug cannot know an appliance of as many watts from the motor: what switches a heater of 50 W on
for half a minute has made a run, unless the motor is known to draw more, and a motor of less than
30 W makes none. Nor can it know how long the motor ran when its clock was set meanwhile, or what
ran before its first reading. If it repeats three readings in ten, some three starts in a hundred
are hidden by three or more old ones.

``grams`` is None: watts do not weigh. A motor without beans, or one that stalls, is on.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from burrline._plug_clock import JOIN_SECONDS, PlugClock
from burrline._plug_habits import Habits
from burrline._plug_levels import MOST_ON_WATTS, Levels
from burrline._plug_stretch import SETTLING_SECONDS, Reading, Stretch
from burrline._sample_clock import is_instant, number

__all__ = ["DetectedRun", "RunDetector"]

STAY_FRACTION = 0.6
LOAD_FRACTION = 0.3
"""Less than this part of the load of the run is a motor that runs down, or something else."""
SOFT_SECONDS = 1.5
"""A motor may take as long to draw what shows it to be one."""
SHORTEST_SECONDS = 0.5
"""What is surely shorter is a disturbance."""
LONGEST_RUN_SECONDS = 1800.0
"""What is drawn for longer is no run: another appliance was switched on, and is idle power now."""
LAID_OVER = 5.0
"""So many times more than what was drawn for a while is the motor on top of something else."""
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


class RunDetector:
    """Finds runs in readings of watts; pure, and of constant memory.

    ``push`` takes one reading and returns the runs that have ended for certain, mostly none.
    ``finish`` returns the one still open, as far as it was seen; after it the detector is as new.
    ``least_watts`` says what the motor draws at least above all else on the plug; left out, it is
    learned. Readings that are not finite are left out, negative ones count as nothing drawn; what
    is no number is a ``TypeError``. Time that goes backwards is a clock that was set, and the next
    reading is taken to be one usual interval later - or one late reading, and left out, where the
    next one shows that.
    """

    def __init__(self, *, least_watts: float | None = None) -> None:
        if least_watts is not None and not 0 < number(least_watts, "least_watts") < math.inf:
            raise ValueError(f"least_watts is not above 0: {least_watts!r}")
        self._least_watts = least_watts
        self._begin()

    def _begin(self) -> None:
        self._habits = Habits()
        self._clock = PlugClock(self._habits)
        self._levels = Levels(self._least_watts)
        self._since = 0.0  # the first reading
        self._foot: Reading | None = None  # where what is drawn began to rise, and the one after
        self._rise: Reading | None = None
        self._news_at = -math.inf  # the last reading that was not told before
        self._left = False  # something is drawn that the run before has left
        self._low: tuple[float, float, float] | None = None  # far below idle: before, when, watts
        self._last: tuple[float, float] | None = None
        self._open: Stretch | None = None
        self._ended: Stretch | None = None

    def push(self, t_seconds: float, watts: float) -> list[DetectedRun]:
        """Take one reading; the runs that it ended."""
        t, power = number(t_seconds, "t_seconds"), number(watts, "watts")
        if not (is_instant(t) and math.isfinite(power)):
            return []
        return self._taken(self._clock.readings(t, max(power, 0.0)))

    def finish(self) -> list[DetectedRun]:
        """No more readings come: the run still open, until its last reading."""
        found = self._taken(self._clock.rest()) + self._close()
        self._begin()
        return found

    # ---------------------------------------------------------------------------------------

    def _taken(self, readings: Iterable[tuple[float, float, bool]]) -> list[DetectedRun]:
        found = []
        for now, power, was_silent in readings:
            if was_silent:
                found += self._close()
                self._last = self._low = self._rise = None
            found += self._take(now, power)
        return found

    def _take(self, now: float, power: float) -> list[DetectedRun]:
        levels, habits, run = self._levels, self._habits, self._open
        if levels.is_new:
            levels.begin(power)
            self._since = now
        last, self._last = self._last, (now, power)
        apart = now - last[0] if last is not None else 0.0
        if run is None and last is not None and self._low is None:
            levels.learn(last[1], apart)
        above, on_watts = power - levels.idle_watts, levels.on_watts
        least = on_watts
        if run is not None:
            least = max(STAY_FRACTION * least, LOAD_FRACTION * run.load_at(now))
        elif self._ended is not None:
            least = max(least, LOAD_FRACTION * self._ended.load_watts)
        is_on = above >= least
        is_settled = is_on and run is not None and now - run.first.at >= SETTLING_SECONDS
        is_fresh = last is None or habits.drawn(last[1], power, apart, is_settled)
        news_at, self._news_at = self._news_at, now if is_fresh else self._news_at
        if last is not None and is_on == (run is not None):
            habits.between(apart, is_on, is_fresh)
        if is_on and run is not None:
            return self._go_on(run, Reading(now, above), is_fresh, power)
        if is_on:
            return self._begin_run(Reading(now, above), last, news_at)
        if run is not None:
            self._end_run(run, Reading(now, above), apart)
        if last is not None and power - last[1] < on_watts / 4:
            self._rise = None if is_fresh else self._rise  # it rises by steps, old ones between
        elif self._rise is None:
            self._foot, self._rise = Reading(now - apart, 0.0), Reading(now, above)
        was_left, self._left = self._left, above >= on_watts
        if was_left and self._left:
            levels.begin(power)
        return self._rest(now, power, above, now - apart)

    def _go_on(
        self, run: Stretch, reading: Reading, is_fresh: bool, power: float
    ) -> list[DetectedRun]:
        load, since = run.load_watts, reading.at - run.first.at
        if since > LONGEST_RUN_SECONDS:
            self._levels.begin(power)
            self._levels.is_sure = True
            self._open = None
            return []
        if load and reading.above_watts > LAID_OVER * load:
            return self._lay_over(run, reading)
        run.go_on(reading, is_fresh)
        if load:
            run.load_watts += LOAD_FADING * (min(reading.above_watts, 1.5 * load) - load)
        elif since >= SETTLING_SECONDS:
            run.load_watts = min(run.least_watts, reading.above_watts)
        return []

    def _lay_over(self, run: Stretch, reading: Reading) -> list[DetectedRun]:
        """So much more is drawn that what went before was another appliance."""
        self._levels.begin(self._levels.idle_watts + run.load_watts)
        above = Reading(reading.at, reading.above_watts - run.load_watts)
        off = Reading(run.last.at, 0.0)
        self._open = Stretch(off, above, above, reading.at - run.last.at, reading.at, under=run)
        return []

    def _end_run(self, run: Stretch, after: Reading, apart: float) -> None:
        run.after, run.reach_after_seconds = after, apart
        self._open, self._ended = None, run
        self._levels.is_sure = True
        if run.under is not None and after.above_watts < -run.under.load_watts / 2:
            # all of it was the motor, that stalled
            run.before, run.first, run.second = run.under.before, run.under.first, run.under.second
            run.reach_seconds = run.under.reach_seconds
        if run.load_watts:
            self._levels.ran_at(run.load_watts)

    def _begin_run(
        self, first: Reading, last: tuple[float, float] | None, news_at: float
    ) -> list[DetectedRun]:
        before = Reading(last[0], last[1] - self._levels.idle_watts) if last is not None else first
        foot, rise, start = self._foot, self._rise, first
        if foot is not None and rise is not None and first.at - rise.at <= SOFT_SECONDS:
            before, start = foot, rise
        reach = start.at - before.at
        ended, self._ended = self._ended, None
        began = start.at - self._habits.reach(reach) / 2
        if ended is not None and began - ended.ended(self._habits) < JOIN_SECONDS:
            ended.go_on(first, True)
            ended.load_watts = min(ended.load_watts, first.above_watts)
            self._open = ended
            return []
        self._rise = None
        self._open = Stretch(before, start, start, reach, start.at, news_at=news_at)
        if start is not first:
            self._open.go_on(first, True)
        return [] if ended is None else self._told(ended)

    def _rest(self, now: float, power: float, above: float, before: float) -> list[DetectedRun]:
        """Nothing runs: learn the idle power, tell what has ended."""
        found: list[DetectedRun] = []
        self._levels.pass_over(above)
        if above <= -self._levels.on_watts:
            low, self._low = self._low, (before, now, power)
            if low is not None:
                self._lower(low, power)
        else:
            self._low = None
        ended, wait = self._ended, JOIN_SECONDS + self._clock.typical_seconds
        if ended is not None and now - ended.ended(self._habits) >= wait:
            found += self._told(ended)
            self._ended = None
        if now - self._since > LONGEST_RUN_SECONDS:
            self._levels.is_sure = True
        return found

    def _lower(self, low: tuple[float, float, float], power: float) -> None:
        """Two readings lie far below idle, so what was idle was not: something was on."""
        before, at, watts = low
        fell = self._levels.idle_watts - watts
        self._levels.begin(watts, power)
        self._low = None
        if not self._levels.is_sure and fell >= MOST_ON_WATTS:  # a motor, since the first reading
            first, last = Reading(self._since, fell), Reading(before, fell)
            run = Stretch(first, first, last, 0.0, before)
            run.after, run.reach_after_seconds = Reading(at, 0.0), at - before
            self._ended = run
        self._levels.is_sure = True

    def _close(self) -> list[DetectedRun]:
        both = [run for run in (self._ended, self._open) if run is not None]
        found = [told for run in both for told in self._told(run)]
        self._open = self._ended = None
        return found

    def _told(self, run: Stretch) -> list[DetectedRun]:
        for seconds in (run.reach_seconds, run.reach_after_seconds):
            if seconds > 0:
                self._habits.edge(seconds)
        by_a_part = run.ended_by_a_part()
        if by_a_part is not None:
            self._habits.ended(by_a_part)
        began, ended, low, high = run.bounds(self._habits)
        seconds = ended - began
        started = self._clock.told(run.first.at) - (run.first.at - began)
        if high < SHORTEST_SECONDS:
            return []
        return [DetectedRun(started, seconds, min(low, seconds), max(high, seconds))]
