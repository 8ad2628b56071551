"""Grams from a scale and seconds from a plug, joined into runs to record.

::

    from burrline import joined, power, scale

    for run in joined.joined(scale_runs, power_runs):
        spool.put(run.as_run("bar-1", offset_seconds=0.0))

Two devices saw one grind when their runs overlap once the clocks of the two are allowed to differ
by two seconds. Pairs are chosen one to one, those that lie closest first, so that neither the order
of the runs nor ties decide by chance. A run of a pair has the plug's seconds, unless the plug was
read so seldom that the scale knows them better, and the scale's grams; a run that has no partner
stays as it is.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from burrline import power, scale
from burrline._convert import format_instant
from burrline._device_time import instant_of

__all__ = ["JoinedRun", "joined"]

TOLERANCE_SECONDS = 2.0
"""The clocks of the two devices may differ by as much; the service's own tolerance."""
ROUGH_SECONDS = 3.0
ROUGH_FRACTION = 0.25
"""Bounds of a plug wider apart than both tell less than the scale's own seconds."""

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
    pairs = []
    first = 0
    for i, one in enumerate(weighed):
        while first < len(metered) and _latest(metered[first]) < one.started - _REACH_SECONDS:
            first += 1
        for j in range(first, len(metered)):
            other = metered[j]
            if other.started > one.started + one.seconds + _REACH_SECONDS:
                break
            if _apart(one, other) <= TOLERANCE_SECONDS:
                pairs.append((_distance(one, other), i, j))
    partner: dict[int, int] = {}
    taken: set[int] = set()
    for _, i, j in sorted(pairs):
        if i not in partner and j not in taken:
            partner[i] = j
            taken.add(j)
    found = [
        _both(one, metered[partner[i]])
        if i in partner
        else JoinedRun(one.started, one.seconds, one.grams, True, False)
        for i, one in enumerate(weighed)
    ]
    found += [
        JoinedRun(other.started, other.seconds, None, False, True)
        for j, other in enumerate(metered)
        if j not in taken
    ]
    return sorted(found, key=lambda run: (run.started, run.seconds, run.grams or 0.0))


_REACH_SECONDS = TOLERANCE_SECONDS + 600.0


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


def _distance(one: scale.DetectedRun, other: power.DetectedRun) -> float:
    """Seconds between the middles: a clock that is off moves both ends."""
    return abs((one.started + one.seconds / 2) - (other.started + other.seconds / 2))


def _both(one: scale.DetectedRun, other: power.DetectedRun) -> JoinedRun:
    unsure = other.high_seconds - other.low_seconds
    if unsure > max(ROUGH_SECONDS, ROUGH_FRACTION * one.seconds):
        return JoinedRun(one.started, one.seconds, one.grams, True, True)
    return JoinedRun(other.started, other.seconds, one.grams, True, True)
