"""Alert episodes as a pure fold of facts and dated limits: no stored flag, no order of arrival.

What is known at an instant is a function of the facts at or before it, so an episode that was
closed at one instant is told the same way at every later one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from .episode_duty import duty_episodes
from .episode_facts import (
    BEFORE_ALL_MS,
    BRIDGED_MS,
    STALE_MS,
    DatedLimits,
    Episode,
    Reading,
    Stretch,
    judged_rating_ms,
    spans_in_force,
)
from .episode_folds import held_since, motor_on

__all__ = [
    "DatedLimits",
    "Episode",
    "Reading",
    "Stretch",
    "duty_episodes",
    "long_run_episodes",
    "overheat_episodes",
    "quiet_before_ms",
]


def overheat_episodes(
    readings: Sequence[Reading], limits: Sequence[DatedLimits], *, until_ms: int
) -> tuple[Episode, ...]:
    """Fold temperature readings into the episodes in which the motor was at or over its limit.

    ``opens: T >= limit;  closes: T <= limit - d, or 900 s after the last reading``, d = 5 K
    unless set

    Parameters
    ----------
    readings : sequence of Reading
        All readings of the body the limit is meant for, in any order. Of several at one instant
        the hottest counts.
    limits : sequence of DatedLimits
        ``limit_celsius`` and ``release_kelvin`` are read of each; see ``spans_in_force``.
    until_ms : int
        The instant of the answer, POSIX ms; later readings do not exist yet.

    Returns
    -------
    tuple of Episode
        Ascending, severity ``alert``. Facts: ``peak_celsius`` and the ``limit_celsius`` it was
        held to; with several limits, those of the reading furthest over its own.

    Raises
    ------
    ValueError
        A reading or a limit is not finite, or the sequence of limits is malformed.

    Valid
    -----
    A reading is held to the limit in force when it was read, so a changed limit shows with the
    next reading; one that finds no limit closes. A next reading just 900 s later still
    continues the episode; after a longer silence it was over, 900 s after the last reading.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> hot = [Reading(0, 81.0), Reading(60_000, 84.0), Reading(120_000, 74.5)]
    >>> overheat_episodes(hot, [DatedLimits(0, limit_celsius=80.0)], until_ms=200_000)
    (Episode(kind='motor_overheat', severity='alert', opened_at_ms=0, closed_at_ms=120000,
    facts={'peak_celsius': 84.0, 'limit_celsius': 80.0}),)
    """
    spans = spans_in_force(limits, until_ms=until_ms)
    if any(not math.isfinite(span.limits.limit_celsius or 0.0) for span in spans):
        raise ValueError("a temperature limit must be finite")
    at = np.array([reading.at_ms for reading in readings], dtype=np.int64)
    celsius = np.array([reading.celsius for reading in readings], dtype=np.float64)
    if not np.isfinite(celsius).all():
        raise ValueError("a temperature reading must be finite")
    order = np.lexsort((celsius, at))
    order = order[at[order] <= until_ms]
    if order.size == 0 or not spans:
        return ()
    is_hottest = np.append(at[order[1:]] != at[order[:-1]], True)
    at, celsius = at[order[is_hottest]], celsius[order[is_hottest]]

    index = np.searchsorted([span.first_ms for span in spans], at, side="right") - 1
    limit = np.array([span.limits.limit_celsius for span in spans], dtype=np.float64)[index]
    release = np.array([span.limits.release_kelvin for span in spans], dtype=np.float64)[index]
    excess = celsius - limit  # NaN, and so neither over nor within, where there is no limit
    is_over = celsius >= limit
    is_released = ~(celsius > np.round(limit - release, 6))
    is_after_silence = np.append(True, np.diff(at) > STALE_MS)
    is_open = held_since(is_over, is_released | is_after_silence, is_set_before=False)

    was_open = np.append(False, is_open[:-1]) & ~is_after_silence
    firsts = np.flatnonzero(is_open & ~was_open)
    goes_on = np.append(is_open[1:] & ~is_after_silence[1:], False)
    lasts = np.flatnonzero(is_open & ~goes_on)
    episodes = []
    for first, last in zip(firsts, lasts, strict=True):
        worst = first + int(np.argmax(excess[first : last + 1]))
        closed_ms = int(at[last]) + STALE_MS
        if last + 1 < at.size and not is_after_silence[last + 1]:
            closed_ms = int(at[last + 1])
        episodes.append(
            Episode(
                kind="motor_overheat",
                severity="alert",
                opened_at_ms=int(at[first]),
                closed_at_ms=closed_ms if closed_ms <= until_ms else None,
                facts={"peak_celsius": float(celsius[worst]), "limit_celsius": float(limit[worst])},
            )
        )
    return tuple(episodes)


def long_run_episodes(
    stretches: Sequence[Stretch], limits: Sequence[DatedLimits], *, until_ms: int
) -> tuple[Episode, ...]:
    """Fold motor-on stretches into the episodes in which one run lasted too long.

    ``holds at t: s + longest <= t < e`` for a stretch [s, e) of the union, gaps < 2 s bridged

    Parameters
    ----------
    stretches : sequence of Stretch
        Measured motor-on time, in any order; one that still goes on ends at ``until_ms`` or
        later.
    limits : sequence of DatedLimits
        ``longest_run_seconds`` is read of each; see ``spans_in_force``.
    until_ms : int
        The instant of the answer, POSIX ms; later motor time does not exist yet.

    Returns
    -------
    tuple of Episode
        Ascending, severity ``caution``. Facts: ``run_seconds`` from the run's start to the
        episode's end or ``until_ms``, and ``longest_run_seconds`` as it was at the opening.

    Raises
    ------
    ValueError
        A malformed stretch, or a longest run that is not positive and finite.

    Valid
    -----
    A run just as long as allowed opens nothing. The end of a run is known 2 s later, when no
    further pulse can join it: until then the episode is open. A changed longest run judges the
    same run from its instant on, and closes the episode there if it is long enough.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> held_to = DatedLimits(0, longest_run_seconds=300.0)
    >>> long_run_episodes([Stretch(0, 420_000)], [held_to], until_ms=900_000)
    (Episode(kind='long_run', severity='caution', opened_at_ms=300000, closed_at_ms=420000,
    facts={'run_seconds': 420.0, 'longest_run_seconds': 300.0}),)
    """
    starts, ends = motor_on(stretches, until_ms=until_ms, bridged_ms=BRIDGED_MS)
    found: list[tuple[int, int, int, float]] = []  # run, from, to, longest run
    for span in spans_in_force(limits, until_ms=until_ms):
        longest_seconds = span.limits.longest_run_seconds
        if longest_seconds is None:
            continue
        if not 0 < longest_seconds < math.inf:
            raise ValueError(f"longest_run_seconds must be positive, not {longest_seconds}")
        low = int(np.searchsorted(ends, span.first_ms, side="right"))
        high = int(np.searchsorted(starts, span.last_ms, side="right"))
        begins = starts[low:high] + math.floor(longest_seconds * 1000 + 0.5)
        begins = np.maximum(begins, span.first_ms)
        stops = np.minimum(ends[low:high], span.last_ms + 1)
        for index in np.flatnonzero(begins < stops):
            run, begin, stop = low + int(index), int(begins[index]), int(stops[index])
            if found and found[-1][0] == run and found[-1][2] == begin:
                begin, longest_seconds_then = found[-1][1], found[-1][3]
                found[-1] = (run, begin, stop, longest_seconds_then)
            else:
                found.append((run, begin, stop, longest_seconds))
    return tuple(
        Episode(
            kind="long_run",
            severity="caution",
            opened_at_ms=begin,
            closed_at_ms=None if stop == ends[run] and until_ms - stop < BRIDGED_MS else stop,
            facts={
                "run_seconds": (stop - int(starts[run])) / 1000,
                "longest_run_seconds": longest_seconds,
            },
        )
        for run, begin, stop, longest_seconds in found
    )


def quiet_before_ms(
    readings: Sequence[Reading],
    stretches: Sequence[Stretch],
    limits: Sequence[DatedLimits],
    *,
    before_ms: int,
    window_from_ms: int | None,
) -> int | None:
    """Find the last instant at or before a given one at which no earlier fact matters any more.

    ``max q <= t: no motor-on in (q - M, q], no reading in [q - 900 s, q)``, M the longest cycle

    Parameters
    ----------
    readings : sequence of Reading
        All readings of the window, in any order.
    stretches : sequence of Stretch
        All motor-on time that ends after the window begins.
    limits : sequence of DatedLimits
        All that are ever in force.
    before_ms : int
        The instant t from which on the episodes are wanted, POSIX ms.
    window_from_ms : int or None
        Where the window of the facts given begins, POSIX ms; None = no earlier fact exists.

    Returns
    -------
    int or None
        POSIX ms: every episode opened before it is closed by then, and the readings at or after
        it with the stretches that start at or after it give, folded alone, all others. None =
        there is no such instant in this window.

    Raises
    ------
    ValueError
        A malformed stretch, rating or sequence of limits.

    Valid
    -----
    M is at least 2 s, the gap that is bridged. A fact right at the instant is not earlier.

    Source
    ------
    Derived here from the memory of each kind of episode, see test.

    Examples
    --------
    >>> plate = DatedLimits(0)
    >>> quiet_before_ms([], [Stretch(0, 5_000), Stretch(90_000, 95_000)], [plate],
    ...     before_ms=96_000, window_from_ms=None)
    90000
    """
    ratings = [
        judged_rating_ms(span.limits.rated) for span in spans_in_force(limits, until_ms=2**53)
    ]
    memory_ms = max([BRIDGED_MS, *(rating[1] for rating in ratings if rating is not None)])
    starts, ends = motor_on(stretches, until_ms=before_ms)
    at = np.array([reading.at_ms for reading in readings], dtype=np.int64)
    at = at[at < before_ms]
    # first and last instant that each fact keeps from being quiet
    lows = np.append(starts, at) + 1
    highs = np.append(ends + memory_ms - 1, at + STALE_MS)
    earliest_ms = BEFORE_ALL_MS
    if window_from_ms is not None:
        earliest_ms = window_from_ms + max(memory_ms, STALE_MS)
    quiet_ms = before_ms
    if lows.size > 0:
        order = np.argsort(lows, kind="stable")
        lows, reached = lows[order], np.maximum.accumulate(highs[order])
        if reached[-1] >= before_ms:
            begins = np.flatnonzero(np.append(True, lows[1:] > reached[:-1] + 1))
            quiet_ms = int(lows[begins[-1]]) - 1
    return quiet_ms if quiet_ms >= earliest_ms else None
