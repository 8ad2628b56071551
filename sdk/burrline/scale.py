"""Runs from the samples of a scale under the spout.

::

    from burrline.scale import RunDetector

    detector = RunDetector()
    for t, grams in samples:              # seconds of any clock, what the display says
        for run in detector.push(t, grams):
            print(run.started, run.seconds, run.grams)

How it works
------------
1. Samples are put on a clock that only runs forward. A reading that is not finite or told twice is
   left out; a clock that jumps is seen by the weight not jumping with it. What a display repeats
   while it moves counts for nothing. A tare, which is a jump onto zero within one sample, faster
   than what came just before and after it, and after which the weight goes on as it did, is taken
   back, so that one weight goes on from cup to cup.
2. Nothing is decided while the weight moves. While it stands still only the last seconds are kept;
   from the first movement until it has stood still for 2.3 s every reading is, 1400 at most: then
   old ones are made one of two. The whole movement is then looked at at once.
3. The scale's lag, if it has one, is learned from its own steps: after a cup has landed it closes
   in as ``a + c exp(-t / lag)``. Where no such curve fits for long, the lag is taken under which
   most readings near the step rest. Where one fits once the readings are put on a lattice of
   instants, the display changes at its own pace: this is learned, and readings are put where they
   were new.
4. Dynamic programming cuts the movement into stretches at rest, each a level that the scale closes
   in on, and readings that belong to none. What returns to a level is a tap or a hand; grounds
   never leave a vessel, so that a level above a later one is a hand too, and a rise is one that
   nothing stood still before or after.
5. Sudden changes, freed of the lag, that stay are cups. Between two of them levels that rise are
   grinding, rises less than 2 s apart one run, pauses included in its seconds. Its grams are the
   level after it less the level before it; its ends are where its rate is half of the usual one.
   A sudden rise before it is a light cup, one after it a lump that had hung in the chute. What
   took no longer than a step of this scale, hands apart, was put down and did not flow. A hand
   that presses while it grinds is bridged: the flow goes on at its rate where it would have been.
   What a touch added or took, seen above the levels on both its sides, is a spoon's.
6. A short late rise is a pulse of the grinder or a lump by how likely the readings are under each;
   so are a run's ends told where the table shakes while it grinds.

What a scale can know
---------------------
Less than 4 g or 0.6 s is taken for no run. A run is told 2.3 to 3 s after the weight stands still
(three samples more than 2.3 s at best), for until then another pulse may belong to it. Before the
first step of a lagging scale its lag is unknown, and a light paper cup may then look like a short
run. Grounds that come before the step of the cup has settled (less than 1 s after it was put down)
and a cup that goes less than 1 s after the run, or during it, are beyond what a scale can always
tell: the run is told nearly always, yet its grams and seconds rest on where the line began or
ended. A display that changes at its own pace, 5 to 10 times a second, shows readings up to 0.2 s
old: on such a one with a lag, grams are weakest until a first large step has told its pace.
Scales that hold a still display and wake up late tell of a slow run that it began later, and a hand
that holds still at 4 to 6 g for over two seconds looks like a short run: so did one or two in an
hour of nothing but cups, hands and taps, one of them every few seconds.
``tests/simulations/detectors.py`` of the project says how often each of these goes well. On scenes
of seeds that no constant was chosen with (90001 to 90060) it printed, in percent of the true runs::

    maker of the scenes     runs    found   within 0.3 g   within 0.5 s   false
                                            or 1.5 %       or 8 %
    all ordinary families   2710     99.9       98.7           98.8         0.3
    built otherwise          300    100.0       98.3           99.3         0.3
    at the counter          1313     99.7       98.9           98.7         0.6
    kept apart               999     99.9       99.3           98.8         0.3

The weakest ordinary families were short pulses at the end of a run (97.5 weighed, 96.7 timed) and
cups put down one or two seconds before a run (98.3 and 96.7). Beyond: 69 weighed where the cup
stood less than 1 s before, 81 less than 1 s after, 13 where it went while it ground.
"""

from __future__ import annotations

import itertools
from bisect import bisect_left
from dataclasses import dataclass

from burrline._display_clock import DisplayClock
from burrline._episode import QUIET_SECONDS, Episode
from burrline._flows import Flow, flows
from burrline._lag import Lag, steps
from burrline._sample_clock import is_instant, number
from burrline._weight_stream import WeightStream

__all__ = ["DetectedRun", "RunDetector"]

KEPT_SECONDS, MOST_GRAMS = 2.4, 1e7
STILL_RISES = ((4.0, 1.0), (2.0, 0.7), (1.0, 0.7))
LOOK_SECONDS, ENDED_SECONDS, GIVE_UP_SECONDS, STILL_RISE_GRAMS = 10.0, 4.0, 30.0, 1.0
SETTLED_SECONDS, APART_SECONDS, LEFT_SECONDS = 2.0, 4.0, 1.0
LOOK_FRACTION = 0.04
"""Where the weight never stands still, how often to look, and what is over."""


@dataclass(frozen=True)
class DetectedRun:
    """One run; ``started`` is on the clock of the samples, as it stood then."""

    started: float
    seconds: float
    grams: float


class RunDetector:
    """Finds runs in the samples of a scale; pure, and of constant memory.

    ``push`` takes one sample and returns the runs that have ended for certain, mostly none.
    ``finish`` returns what the last samples still tell; after it the detector is as new. Samples
    that are not finite, or of more than ten tonnes, are left out; what is no number is a
    ``TypeError``.
    """

    def __init__(self) -> None:
        self._begin()

    def _begin(self) -> None:
        self._stream = WeightStream()
        self._episode = Episode()
        self._lag = Lag()
        self._clock = DisplayClock()
        self._is_busy = False
        self._look_at = 0.0

    def push(self, t_seconds: float, grams: float) -> list[DetectedRun]:
        """Take one sample; the runs that it ended."""
        t, weight = number(t_seconds, "t_seconds"), number(grams, "grams")
        if not (is_instant(t) and abs(weight) <= MOST_GRAMS):
            return []
        sample = self._stream.push(t, weight)
        return [] if sample is None else self._take(sample)

    def finish(self) -> list[DetectedRun]:
        """No more samples come: the run still open, as far as it was seen."""
        found = [run for sample in self._stream.flush() for run in self._take(sample)]
        if self._is_busy:
            found += self._close()
        self._begin()
        return found

    # ---------------------------------------------------------------------------------------

    def _take(self, sample: tuple[float, float]) -> list[DetectedRun]:
        episode = self._episode
        episode.push(*sample)
        is_quiet = episode.is_quiet(is_busy=self._is_busy)
        if is_quiet is None:
            return []
        if not self._is_busy:
            if is_quiet:
                episode.keep_last(KEPT_SECONDS)
            else:
                self._is_busy = True
                self._look_at = sample[0] + LOOK_SECONDS
            return []
        return self._close() if is_quiet else self._look(sample[0])

    def _look(self, now: float) -> list[DetectedRun]:
        """Now and then, what a weight that never stands still shows to be over."""
        if now < self._look_at:
            return []
        self._look_at = now + max(LOOK_SECONDS, 0.5 * self._episode.seconds)
        found = self._flows(keeps=False)
        if not found:
            return self._close() if self._episode.seconds > GIVE_UP_SECONDS else []
        since = self._episode.ts[-1] - max(flow.end for flow in found)
        if since > ENDED_SECONDS:
            spans = ((min(since, 3 * ENDED_SECONDS), STILL_RISE_GRAMS), *STILL_RISES)
            if all(abs(self._episode.rise(seconds)) < most for seconds, most in spans):
                return self._close()
            # what goes just now tells the lag a moment later
            self._look_at = now + max(0.5 * SETTLED_SECONDS, LOOK_FRACTION * self._episode.seconds)
        return self._let_go(found)

    def _let_go(self, found: list[Flow]) -> list[DetectedRun]:
        """The runs that another one came well after; what led to them is forgotten."""
        over = [a for a, b in itertools.pairwise(found) if b.start - a.end > APART_SECONDS]
        if not over:
            return []
        episode, until = self._episode, over[-1].end + QUIET_SECONDS
        ts, ys = episode.ts, episode.ys
        count = bisect_left(ts, until)
        episode.ts, episode.ys = ts[:count], ys[:count]
        self._flows(keeps=True)  # its steps tell lag and display
        episode.ts, episode.ys = ts, ys
        told = [self._told(flow) for flow in self._flows(keeps=False) if flow.end < until]
        episode.keep_last(ts[-1] - until + LEFT_SECONDS)
        return told

    def _flows(self, *, keeps: bool) -> list[Flow]:
        noise = self._noise_grams()
        ts, ys, lags = self._instants(noise, keeps=keeps)
        lag = self._lag.learn(ts, ys, noise, lags, keeps=keeps)
        is_known = lag > 0 or self._lag.is_known
        step_seconds = 0.0 if lag else self._lag.step_seconds
        return flows(ts, ys, lag, noise, is_lag_known=is_known, step_seconds=step_seconds)

    def _instants(
        self, noise: float, *, keeps: bool
    ) -> tuple[list[float], list[float], list[float]]:
        """The readings when they were new, as far as the display's pace is known, and lags."""
        episode, base, lags = self._episode, self._episode.base_seconds, []
        if keeps:
            ts = [t + base for t in episode.ts]
            lags = self._clock.learn(ts, episode.ys, steps(ts, episode.ys, noise, 1.5), noise)
        rebuilt = self._clock.rebuilt([t + base for t in episode.ts], episode.ys)
        if rebuilt is None:
            return *episode.moving(self._stream.resolution_grams), lags
        return [t - base for t in rebuilt[0]], rebuilt[1], lags

    def _noise_grams(self) -> float:
        return max(self._episode.noise_grams, 0.3 * self._stream.resolution_grams)

    def _close(self) -> list[DetectedRun]:
        episode = self._episode
        found = [self._told(flow) for flow in self._flows(keeps=True)]
        self._is_busy = False
        episode.keep_last(KEPT_SECONDS)
        return found

    def _told(self, flow: Flow) -> DetectedRun:
        started = self._stream.clock.told(flow.start + self._episode.base_seconds)
        return DetectedRun(started, flow.end - flow.start, flow.grams)
