"""Forecast alerts: the motor is on its way to its limit, while there still is time.

Judged where something new is known: at the end of a run and at a reading. Bounds from a slope
alone never open anything, they are far too careful for that.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import NamedTuple

import numpy as np

from .episode_facts import DatedLimits, Episode, Reading, Stretch, spans_in_force
from .episode_folds import Milliseconds, motor_on
from .thermal_ahead import reach_probability
from .thermal_forecast import MEMORY_SECONDS, motors_at
from .thermal_motor import MotorFit
from .thermal_warm import WarmMotors
from .usage_ahead import usage_ahead

AHEAD_SECONDS = 600.0
"""How far the forecast looks."""
OPENING_PROBABILITY = 0.2
"""Now and on average of the last minutes (our choice, with seeds 21 and 22 of the simulation in the
tests, which measures hits and false ones)."""
SURE_PROBABILITY = 0.6
"""Enough at one instant alone."""
AVERAGED_MS = 300_000
SETTLED_MS = 2000
"""Judged is 2 s after a fact: by then it is known whether a run went on."""
AHEAD_MS = round(AHEAD_SECONDS * 1000)
MEMORY_MS = round(MEMORY_SECONDS * 1000)


class Judged(NamedTuple):
    """What is forecast at an instant."""

    at_ms: int
    probability: float
    lead_seconds: float
    limit_celsius: float | None


class DatedFit(NamedTuple):
    """A fit and the instant from which on it is the one that is used."""

    from_ms: int
    fit: MotorFit


def heating_episodes(
    fits: Sequence[DatedFit],
    stretches: Sequence[Stretch],
    readings: Sequence[Reading],
    limits: Sequence[DatedLimits],
    *,
    since_ms: int,
    until_ms: int,
    ambient: Sequence[Reading] = (),
) -> tuple[Episode, ...]:
    """Fold run ends and readings into the episodes in which the limit was forecast to be reached.

    ``p(t) = P(max of T over the coming 600 s at the usage of late >= limit)``; opens where p and
    its mean over the last 300 s are >= 0.2, or p >= 0.6

    Parameters
    ----------
    fits : sequence of DatedFit
        In any order; an instant uses the latest fit dated at or before it.
    stretches : sequence of Stretch
        Motor-on time from 24 h before the first fit used on, in any order.
    readings : sequence of Reading
        Motor temperatures from then on, in any order.
    limits : sequence of DatedLimits
        ``limit_celsius`` is read of each: the limit of the body that is measured.
    since_ms, until_ms : int
        Only instants in [since, until] are judged, POSIX ms; nothing later exists yet.
    ambient : sequence of Reading
        Measured ambient temperatures, in any order; needed where a fit's ambient is measured.

    Returns
    -------
    tuple of Episode
        Ascending, severity ``caution``. Facts: ``lead_seconds`` from the opening to the median
        of when the limit is reached, the ``limit_celsius`` and the highest ``reach_probability``.

    Raises
    ------
    ValueError
        A stretch or the sequence of limits is malformed, or a limit is not finite.

    Valid
    -----
    An instant that forecasts holds for the 600 s it looked ahead; episodes are the union of
    those. Only a fit that is ``identified`` or ``no_cooling`` opens one. No flag is kept from one
    instant to the next.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> heating_episodes([], [Stretch(0, 60_000)], [], [DatedLimits(0, limit_celsius=90.0)],
    ...     since_ms=0, until_ms=90_000)
    ()
    """
    judged = judge_heating(
        fits, stretches, readings, limits, since_ms=since_ms, until_ms=until_ms, ambient=ambient
    )
    return join_heating(judged, since_ms=since_ms, until_ms=until_ms)


def judge_heating(
    fits: Sequence[DatedFit],
    stretches: Sequence[Stretch],
    readings: Sequence[Reading],
    limits: Sequence[DatedLimits],
    *,
    since_ms: int,
    until_ms: int,
    ambient: Sequence[Reading] = (),
    kept: Mapping[int, Judged] = MappingProxyType({}),
) -> list[Judged]:
    """Forecast 2 s after each run end and reading, from 300 s before ``since_ms`` on.

    ``p(t) = P(max of T over the coming 600 s at the usage of late >= limit)``

    Parameters
    ----------
    fits : sequence of DatedFit
        As for ``heating_episodes``.
    stretches : sequence of Stretch
        As for ``heating_episodes``.
    readings : sequence of Reading
        As for ``heating_episodes``.
    limits : sequence of DatedLimits
        As for ``heating_episodes``.
    since_ms, until_ms : int
        Instants in (since - 300 s, until) are judged, POSIX ms.
    ambient : sequence of Reading
        As for ``heating_episodes``.
    kept : mapping of int to Judged
        What was judged before of the same facts, by instant; not worked out again.

    Returns
    -------
    list of Judged
        Ascending; without a limit, or a fit that forecasts, the probability is 0.

    Raises
    ------
    ValueError
        As ``heating_episodes``.

    Valid
    -----
    What is judged of an instant depends only on facts up to it and on its fit, and of them on no
    more than the 24 h before the fit's instant.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> judge_heating([], [Stretch(0, 60_000)], [], [DatedLimits(0, limit_celsius=90.0)],
    ...     since_ms=0, until_ms=90_000)
    [Judged(at_ms=62000, probability=0.0, lead_seconds=0.0, limit_celsius=None)]
    """
    starts, ends = motor_on(stretches, until_ms=until_ms)
    known = sorted({reading for reading in readings if reading.at_ms <= until_ms})
    spans = spans_in_force(limits, until_ms=until_ms)
    told = [*ends.tolist(), *(reading.at_ms for reading in known)]
    instants = np.unique(np.array(told, dtype=np.int64)) + SETTLED_MS
    instants = instants[(instants > since_ms - AVERAGED_MS) & (instants < until_ms)]
    ordered = sorted(fits, key=lambda one: one.from_ms)
    chosen = np.searchsorted([one.from_ms for one in ordered], instants, side="right") - 1
    lasts = [span.last_ms for span in spans]
    judged = [kept[instant] for instant in instants.tolist() if instant in kept]
    is_new = np.array([instant not in kept for instant in instants.tolist()], dtype=bool)
    for number in np.unique(chosen[is_new]).tolist():
        mine = instants[is_new & (chosen == number)]
        limit_of = [
            spans[int(np.searchsorted(lasts, instant))].limits.limit_celsius if spans else None
            for instant in mine.tolist()
        ]
        warm, on = None, (starts, ends)
        if number >= 0 and any(limit is not None for limit in limit_of):
            # whatever else is asked for, an instant is told by the same past
            low_ms = ordered[number].from_ms - MEMORY_MS
            is_late = ends > low_ms
            on = np.maximum(starts[is_late], low_ms), ends[is_late]
            late = [reading for reading in known if reading.at_ms > low_ms]
            warm = _carried(ordered[number].fit, *on, late, ambient, mine)
        for index, (instant, limit) in enumerate(zip(mine.tolist(), limit_of, strict=True)):
            if warm is None or limit is None:
                judged.append(Judged(instant, 0.0, 0.0, None))
                continue
            probability, lead = _forecast(warm.at(index), *on, instant, limit)
            judged.append(Judged(instant, probability, lead, limit))
    return sorted(judged, key=lambda one: one.at_ms)


def _carried(
    fit: MotorFit, starts: Milliseconds, ends: Milliseconds, known: Sequence[Reading],
    ambient: Sequence[Reading], instants: Milliseconds,
) -> WarmMotors | None:  # fmt: skip
    if not fit.is_forecasting or (fit.ambient_source == "measured" and not ambient):
        return None
    return motors_at(
        fit, starts / 1000, ends / 1000,
        [reading.at_ms / 1000 for reading in known], [reading.celsius for reading in known],
        instants / 1000,
        ambient_at_seconds=[reading.at_ms / 1000 for reading in ambient],
        ambient_readings_celsius=[reading.celsius for reading in ambient],
    )  # fmt: skip


def _forecast(
    motors: WarmMotors, starts: Milliseconds, ends: Milliseconds, instant_ms: int, limit: float
) -> tuple[float, float]:
    """Probability and lead; the usage is looked at only where even running on might reach it."""
    running_on = reach_probability(motors, [0.0], [AHEAD_SECONDS], AHEAD_SECONDS, limit)
    if running_on[0] < OPENING_PROBABILITY:
        return 0.0, 0.0
    ways = usage_ahead(starts / 1000, ends / 1000, instant_ms / 1000, AHEAD_SECONDS)
    reached = [reach_probability(motors, *way, AHEAD_SECONDS, limit) for way in ways]
    leads = sorted(lead for probability, lead in reached if probability > 0)
    mean = sum(probability for probability, _ in reached) / len(reached)
    return mean, leads[len(leads) // 2] if leads else AHEAD_SECONDS


def join_heating(judged: Sequence[Judged], *, since_ms: int, until_ms: int) -> tuple[Episode, ...]:
    """Join the instants that forecast into episodes, each holding for as long as it looked ahead.

    ``opens: p and its mean over the last 300 s >= 0.2, or p >= 0.6``

    Parameters
    ----------
    judged : sequence of Judged
        Ascending, from 300 s before ``since_ms`` on.
    since_ms, until_ms : int
        Only instants in [since, until] open anything, POSIX ms.

    Returns
    -------
    tuple of Episode
        Ascending.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> (one,) = join_heating([Judged(0, 0.9, 420.0, 90.0)], since_ms=0, until_ms=60_000)
    >>> one.closed_at_ms is None, one.facts["lead_seconds"]
    (True, 420.0)
    """
    triggers = []
    for index, one in enumerate(judged):
        late = [
            other.probability
            for other in judged[: index + 1]
            if other.at_ms > one.at_ms - AVERAGED_MS
        ]
        mean = sum(late) / len(late)
        is_sure = one.probability >= SURE_PROBABILITY
        is_lasting = mean >= OPENING_PROBABILITY and one.probability >= OPENING_PROBABILITY
        if one.at_ms >= since_ms and one.limit_celsius is not None and (is_sure or is_lasting):
            triggers.append(one)
    episodes = []
    while triggers:
        count = 1
        while (
            count < len(triggers) and triggers[count].at_ms <= triggers[count - 1].at_ms + AHEAD_MS
        ):
            count += 1
        first, closed_ms = triggers[0], triggers[count - 1].at_ms + AHEAD_MS
        episodes.append(
            Episode(
                kind="motor_heating",
                severity="caution",
                opened_at_ms=first.at_ms,
                closed_at_ms=closed_ms if closed_ms <= until_ms else None,
                facts={
                    "lead_seconds": round(first.lead_seconds, 1),
                    "limit_celsius": first.limit_celsius,
                    "reach_probability": round(max(t.probability for t in triggers[:count]), 3),
                },
            )
        )
        triggers = triggers[count:]
    return tuple(episodes)
