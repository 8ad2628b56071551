"""Grams from a scale and seconds from a plug, joined into runs to record.

::

    from burrline import joined, power, scale

    for run in joined.joined(scale_runs, power_runs):
        spool.put(run.as_run("bar-1", offset_seconds=0.0))

Two devices saw one grind when their runs overlap once the clocks of the two are allowed to differ
by two seconds. Pairs are chosen one to one and in the order of time, so that they share most of
their time after one difference of the clocks, read off the runs around. So a run that one device
missed does not shift those after it, and neither the order in which runs came in nor ties decide by
chance. A run of a pair has the plug's seconds, unless the plug was read so
seldom that the scale knows them better, and the scale's grams; a run that has no partner stays as
it is.

Where one device told one run and the other told it in parts - the motor paused while the weight did
not rest, or two cups were filled by one stretch of motor-on - it is one run here: its grams are all
the grams, its seconds all the seconds of the plug, each counted once. A part belongs to a run if at
least half of it lies within. A plug that is read too seldom to tell such runs apart joins none.
"""

from __future__ import annotations

import math
import uuid
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from burrline import power, scale
from burrline._convert import format_instant
from burrline._device_time import instant_of

__all__ = ["JoinedRun", "joined"]

TOLERANCE_SECONDS = 2.0
"""The clocks of the two devices may differ by as much; the service's own tolerance."""
FALL_SECONDS = 1.0
"""Grounds reach the scale as much later than the motor starts, or less."""
ROUGH_SECONDS = 3.0
ROUGH_FRACTION = 0.25
"""Bounds of a plug wider apart than both tell less than the scale's own seconds."""

LONE_GAIN = 0.05
OFFSET_RUNS, OFFSET_STEP_SECONDS = 40, 0.25

# of the ids of runs: a name space of RFC 9562 UUIDs of version 5, drawn once
_IDS = uuid.UUID("4c0c5a52-7f3e-4b4e-9d83-0f5f4e0c6a19")


@dataclass(frozen=True)
class JoinedRun:
    """One run as told by one device or by both; ``started`` is on the samples' clock."""

    started: float
    seconds: float
    grams: float | None
    has_scale: bool
    has_plug: bool

    def as_run(
        self, grinder_id: str, *, offset_seconds: float = 0.0, **more: Any
    ) -> dict[str, Any]:
        """The run as ``client.add_run`` and ``spool.put`` take it.

        ``started + offset_seconds`` has to be POSIX seconds: 0 where samples are stamped by
        ``time.time()``. ``more`` are further fields of a run. Left out, ``run_id`` follows from
        the grinder, the start in whole milliseconds and what was measured: the same samples read
        again, after a crash say, give the same id and count once; two different runs of a grinder
        cannot begin in the same millisecond.
        """
        started_at = format_instant(instant_of(self.started + offset_seconds))
        run: dict[str, Any] = {
            "grinder_id": grinder_id,
            "started_at": started_at,
            "seconds": round(self.seconds, 3),
        }
        if self.grams is not None:
            run["grams"] = round(self.grams, 3)
            run["grams_basis"] = "weighed_out"
        told = "|".join(f"{name}={run[name]}" for name in sorted(run))
        run["run_id"] = str(uuid.uuid5(_IDS, told))
        return {**run, **more}


def joined(
    scale_runs: Iterable[scale.DetectedRun], power_runs: Iterable[power.DetectedRun]
) -> list[JoinedRun]:
    """The runs of a scale and of a plug on one grinder, each grind once, by their start.

    Both have to be on one clock, but for two seconds. In any order; what came in twice counts
    twice.
    """
    weighed = sorted(scale_runs, key=lambda run: (run.started, run.seconds, run.grams))
    metered = sorted(power_runs, key=lambda run: (run.started, run.seconds, run.high_seconds))
    near = _near(weighed, metered)
    offsets = _offsets(weighed, metered, near)
    pairs = chained(_gains(weighed, metered, near, offsets), len(metered))
    of_scale: dict[int, _Grind] = {}
    of_plug: dict[int, _Grind] = {}
    grinds = []
    for i, j in pairs:
        grind = _Grind([weighed[i]], [metered[j]])
        of_scale[i] = of_plug[j] = grind
        grinds.append(grind)
    for i, row in enumerate(near):
        one, offset = weighed[i], offsets[i]
        for j in row:
            other = metered[j]
            shared = _shared_seconds(one, other, offset)
            if i in of_scale and j not in of_plug and 2 * shared >= other.seconds:
                of_plug[j] = of_scale[i]
                of_plug[j].metered.append(other)
            elif j in of_plug and i not in of_scale and 2 * shared >= one.seconds:
                if _is_rough(other, one.seconds):
                    continue
                of_scale[i] = of_plug[j]
                of_scale[i].weighed.append(one)
    grinds += [_Grind([one], []) for i, one in enumerate(weighed) if i not in of_scale]
    grinds += [_Grind([], [other]) for j, other in enumerate(metered) if j not in of_plug]
    found = [grind.told() for grind in grinds]
    return sorted(found, key=lambda run: (run.started, run.seconds, run.grams or 0.0))


@dataclass
class _Grind:
    """What the two devices told of one."""

    weighed: list[scale.DetectedRun]
    metered: list[power.DetectedRun]

    def told(self) -> JoinedRun:
        grams = math.fsum(run.grams for run in self.weighed) if self.weighed else None
        seen = math.fsum(run.seconds for run in self.weighed)
        is_weighed = bool(self.weighed)
        if is_weighed and (not self.metered or any(_is_rough(run, seen) for run in self.metered)):
            started = min(run.started for run in self.weighed)
            return JoinedRun(started, seen, grams, True, bool(self.metered))
        seconds = math.fsum(run.seconds for run in self.metered)
        started = min(run.started for run in self.metered)
        return JoinedRun(started, seconds, grams, is_weighed, True)


def _near(
    weighed: Sequence[scale.DetectedRun], metered: Sequence[power.DetectedRun]
) -> list[list[int]]:
    """Of each of the scale's runs the plug's that may be of the same grind."""
    most = max(map(_slack, metered), default=0.0) + TOLERANCE_SECONDS
    near, first, ends = [], 0, -math.inf
    for one in weighed:
        while first < len(metered):
            ends = max(ends, _latest(metered[first]))
            if ends >= one.started - TOLERANCE_SECONDS:
                break
            first += 1
        row = []
        for j in range(first, len(metered)):
            if metered[j].started - most > one.started + one.seconds:
                break
            if _apart(one, metered[j]) <= TOLERANCE_SECONDS:
                row.append(j)
        near.append(row)
    return near


def _offsets(
    weighed: Sequence[scale.DetectedRun],
    metered: Sequence[power.DetectedRun],
    near: Sequence[Sequence[int]],
) -> list[float]:
    """How much later the plug's clock is than the scale's, at each of the scale's runs.

    The difference that most of the starts and ends of some dozens of runs agree upon.
    """
    offsets: list[float] = []
    for begin in range(0, len(weighed), OFFSET_RUNS):
        votes: dict[int, float] = {}
        lowest = max(0, begin - OFFSET_RUNS // 2)
        for i in range(lowest, min(len(weighed), begin + 3 * OFFSET_RUNS // 2)):
            for j in near[i]:
                starts = metered[j].started - weighed[i].started
                for by in (starts, starts + metered[j].seconds - weighed[i].seconds):
                    if -TOLERANCE_SECONDS - FALL_SECONDS <= by <= TOLERANCE_SECONDS:
                        place = round(by / OFFSET_STEP_SECONDS)
                        for beside, weight in ((-1, 0.5), (0, 1.0), (1, 0.5)):
                            votes[place + beside] = votes.get(place + beside, 0.0) + weight
        best = max(votes, key=lambda place: (votes[place], -abs(place), place), default=0)
        count = min(OFFSET_RUNS, len(weighed) - begin)
        offsets += [best * OFFSET_STEP_SECONDS] * count
    return offsets


def _gains(
    weighed: Sequence[scale.DetectedRun],
    metered: Sequence[power.DetectedRun],
    near: Sequence[Sequence[int]],
    offsets: Sequence[float],
) -> list[list[tuple[int, float]]]:
    """Of each pair the part of both runs' time that they share, on one clock.

    Runs that share none are a pair only where either has no other that it could be of.
    """
    others = Counter(j for row in near for j in row)
    gains: list[list[tuple[int, float]]] = []
    for one, row, offset in zip(weighed, near, offsets, strict=True):
        gains.append([])
        for j in row:
            other = metered[j]
            shared = _shared_seconds(one, other, offset)
            both = max(one.seconds + other.seconds - shared, 1e-9)
            gain = max(0.0, shared / both)
            if len(row) == others[j] == 1:
                gain = max(gain, LONE_GAIN)
            if gain > 0:
                gains[-1].append((j, gain))
    return gains


def chained(rows: Sequence[Sequence[tuple[int, float]]], width: int) -> list[tuple[int, int]]:
    """Pairs that rise in both places and have the greatest sum of gains.

    ``rows[i]`` has the partners of ``i``, all below ``width``, with their gains. Takes n log n of
    all the partners.
    """
    tree = [(0.0, -1)] * (width + 1)  # the best chain that ends in a span of partners
    chains: list[tuple[int, int, int]] = []

    def before(j: int) -> tuple[float, int]:
        best = tree[0]
        while j > 0:
            best = max(best, tree[j])
            j -= j & -j
        return best

    for i, row in enumerate(rows):
        longer = []
        for j, gain in row:
            sum_before, chain = before(j)
            longer.append((j + 1, (sum_before + gain, len(chains))))
            chains.append((i, j, chain))
        for place, best in longer:
            while place <= width:
                tree[place] = max(tree[place], best)
                place += place & -place
    found = []
    at = before(width)[1]
    while at >= 0:
        i, j, at = chains[at]
        found.append((i, j))
    return found[::-1]


def _slack(run: power.DetectedRun) -> float:
    """How much earlier or later than told a plug's run may have begun or ended."""
    return max(0.0, (run.high_seconds - run.seconds) / 2)


def _latest(run: power.DetectedRun) -> float:
    return run.started + run.seconds + _slack(run)


def _apart(one: scale.DetectedRun, other: power.DetectedRun) -> float:
    """Seconds between two runs, 0 where they overlap; a plug's run as wide as it may have been."""
    slack = _slack(other)
    begins, ends = other.started - slack, other.started + other.seconds + slack
    return max(0.0, begins - (one.started + one.seconds), one.started - ends)


def _shared_seconds(one: scale.DetectedRun, other: power.DetectedRun, offset: float) -> float:
    begin = max(one.started, other.started - offset)
    return min(one.started + one.seconds, other.started - offset + other.seconds) - begin


def _is_rough(run: power.DetectedRun, seconds: float) -> bool:
    """Its bounds are so wide that the scale's own seconds tell more."""
    return run.high_seconds - run.low_seconds > max(ROUGH_SECONDS, ROUGH_FRACTION * seconds)
