"""Stretches of motor-on time on one time line: union, windows, rolling maximum, wait.

Intervals are half-open ``[start, end)`` in seconds of any one clock, in any order.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from itertools import accumulate

Floats = Sequence[float]

TOLERANCE_SECONDS = 0.0005
"""Times are kept to the millisecond; an excess below half of one is rounding, not running."""


def union_of_intervals(
    starts_seconds: Floats, ends_seconds: Floats
) -> tuple[list[float], list[float]]:
    """Merge intervals that overlap or touch, so that no second counts twice.

    ``U = union of [s_i, e_i)``

    Parameters
    ----------
    starts_seconds, ends_seconds : sequence of float, n each
        Interval borders in s, in any order of intervals; each end >= its start.

    Returns
    -------
    tuple of list, m numbers each
        Starts and ends in s of the merged intervals, ascending, m <= n; zero-length ones dropped.

    Raises
    ------
    ValueError
        Lengths differ, a border is not finite, or an end precedes its start.

    Valid
    -----
    Any n, none included.

    Source
    ------
    Derived here (sweep over sorted starts), see the brute-force test.

    Examples
    --------
    >>> union_of_intervals([0.0, 50.0, 200.0], [100.0, 150.0, 200.0])
    ([0.0], [150.0])
    """
    if len(starts_seconds) != len(ends_seconds):
        raise ValueError("starts and ends must be equally long")
    intervals = [*zip(map(float, starts_seconds), map(float, ends_seconds), strict=True)]
    for position, (start, end) in enumerate(intervals):
        if not (math.isfinite(start) and math.isfinite(end)):
            raise ValueError("interval borders must be finite")
        if end < start:
            raise ValueError(f"interval {position} ends at {end} before its start {start}")
    starts: list[float] = []
    ends: list[float] = []
    for start, end in sorted(intervals):
        if ends and start <= ends[-1]:
            ends[-1] = max(ends[-1], end)
        elif start < end:
            starts.append(start)
            ends.append(end)
    return starts, ends


def on_time_seconds(
    starts_seconds: Floats, ends_seconds: Floats, low_seconds: float, high_seconds: float
) -> float:
    """Add up the motor-on time of the union of runs inside a window.

    ``on = length(U intersected with [low, high))``

    Parameters
    ----------
    starts_seconds, ends_seconds : sequence of float, n each
        Runs in s; a run in progress is given as ending now.
    low_seconds, high_seconds : float
        Window borders in s, low <= high.

    Returns
    -------
    float
        On-time in s, between 0 and high - low.

    Raises
    ------
    ValueError
        The window is reversed or not finite, or the intervals are malformed.

    Valid
    -----
    Any n, none included.

    Source
    ------
    IEC 60034-1, duty type S3: time of loading within a stretch of time.

    Examples
    --------
    >>> on_time_seconds([30.0, 200.0], [75.0, 260.0], 0.0, 600.0)
    105.0
    """
    if not (math.isfinite(low_seconds) and math.isfinite(high_seconds)):
        raise ValueError("window borders must be finite")
    if low_seconds > high_seconds:
        raise ValueError(f"the window is reversed: {low_seconds} > {high_seconds}")
    starts, ends = union_of_intervals(starts_seconds, ends_seconds)
    return math.fsum(
        max(0.0, min(end, high_seconds) - max(start, low_seconds))
        for start, end in zip(starts, ends, strict=True)
    )


def rolling_maximum_on_seconds(
    starts_seconds: Floats,
    ends_seconds: Floats,
    cycle_seconds: float,
    low_seconds: float | None = None,
    high_seconds: float | None = None,
) -> float:
    """Find the largest on-time in any trailing window of one cycle, exactly.

    ``max over t in [low, high] of length(U in [t - W, t))``; the on-time rises only while the
    motor runs, so its maximum is reached at a run's end, or at low or high.

    Parameters
    ----------
    starts_seconds, ends_seconds : sequence of float, n each
        Runs in s.
    cycle_seconds : float
        Window length W in s, > 0.
    low_seconds, high_seconds : float, optional
        First and last instant at which the trailing window may end, in s; None = unbounded.

    Returns
    -------
    float
        On-time in s, between 0 and W; 0 without runs.

    Raises
    ------
    ValueError
        W is not positive and finite, low > high, or the intervals are malformed.

    Valid
    -----
    Any n; exact, not sampled.

    Source
    ------
    Derived here, see the brute-force test.

    Examples
    --------
    >>> rolling_maximum_on_seconds([480.0, 600.0], [600.0, 720.0], 600.0)
    240.0
    """
    _check_cycle(cycle_seconds)
    low = -math.inf if low_seconds is None else low_seconds
    high = math.inf if high_seconds is None else high_seconds
    if not low <= high:
        raise ValueError(f"the window is reversed: {low} > {high}")
    starts, ends = union_of_intervals(starts_seconds, ends_seconds)
    so_far = [0.0, *accumulate(end - start for start, end in zip(starts, ends, strict=True))]
    instants = [end for end in (*ends, low, high) if math.isfinite(end) and low <= end <= high]
    runs = starts, ends, so_far
    on = [_on_until(end, *runs) - _on_until(end - cycle_seconds, *runs) for end in instants]
    return min(max(on, default=0.0), cycle_seconds)


def _on_until(instant: float, starts: list[float], ends: list[float], so_far: list[float]) -> float:
    """On-time before an instant; ``so_far`` is that before each interval, and of all."""
    run = bisect_right(starts, instant)
    return so_far[run] - (max(0.0, ends[run - 1] - instant) if run else 0.0)


def wait_seconds(
    starts_seconds: Floats,
    ends_seconds: Floats,
    now_seconds: float,
    run_seconds: float,
    limit_on_seconds: float,
    cycle_seconds: float,
) -> float:
    """Find the shortest wait before a run that keeps the rolling on-time within its limit.

    While the motor runs the trailing on-time never falls, so the end of the run decides:
    ``min w >= 0: length(U in [now + w + run - W, now)) + run <= limit``.

    Parameters
    ----------
    starts_seconds, ends_seconds : sequence of float, n each
        Past runs in s; what lies after now is cut off.
    now_seconds : float
        The present instant in s.
    run_seconds : float
        Length of the next run in s, >= 0; 0 asks when the past alone is within the limit again.
    limit_on_seconds, cycle_seconds : float
        Allowed on-time within one cycle, and the cycle W, in s.

    Returns
    -------
    float
        Wait in s; inf when no wait suffices (the run alone is over the limit).

    Raises
    ------
    ValueError
        A negative or non-finite number, or malformed intervals.

    Valid
    -----
    Exact for times kept to the millisecond; history is taken as complete.

    Source
    ------
    Derived here from the rolling form of the S3 rating (IEC 60034-1), see the brute-force test.

    Examples
    --------
    >>> wait_seconds([0.0, 100.0], [60.0, 160.0], 160.0, 60.0, 150.0, 600.0)
    410.0
    """
    _check_cycle(cycle_seconds)
    for name, value in (("run_seconds", run_seconds), ("limit_on_seconds", limit_on_seconds)):
        if not (math.isfinite(value) and value >= 0):
            raise ValueError(f"{name} must be finite and not negative, not {value}")
    starts, ends = until_now(starts_seconds, ends_seconds, now_seconds)
    if min(run_seconds, cycle_seconds) > limit_on_seconds + TOLERANCE_SECONDS:
        return math.inf
    budget = max(limit_on_seconds - run_seconds, 0.0)
    later = 0.0  # on-time of the runs after the one looked at
    for start, end in zip(reversed(starts), reversed(ends), strict=True):
        if later + end - start > budget + TOLERANCE_SECONDS:
            earliest_window_start = end - max(budget - later, 0.0)
            return max(0.0, earliest_window_start + cycle_seconds - run_seconds)
        later += end - start
    return 0.0


def until_now(
    starts_seconds: Floats, ends_seconds: Floats, now_seconds: float
) -> tuple[list[float], list[float]]:
    """Put runs on a clock whose zero is now, cut off what lies after, and merge what overlaps.

    ``U = union of [round_ms(s_i - now), round_ms(e_i - now)), cut at 0``

    Parameters
    ----------
    starts_seconds, ends_seconds : sequence of float, n each
        Runs in s; POSIX times are fine.
    now_seconds : float
        The present instant in s on the same clock.

    Returns
    -------
    tuple of list, m numbers each
        Starts and ends in s before now (all <= 0), ascending, to the millisecond.

    Raises
    ------
    ValueError
        ``now_seconds`` is not finite, or the intervals are malformed.

    Valid
    -----
    Any n; a double holds POSIX seconds to 0.3 microseconds, so no millisecond is lost.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> until_now([1777896000.0], [1777896012.5], 1777896010.0)
    ([-10.0], [0.0])
    """
    if not math.isfinite(now_seconds):
        raise ValueError(f"now_seconds must be finite, not {now_seconds}")
    starts, ends = union_of_intervals(starts_seconds, ends_seconds)
    return union_of_intervals(
        [_before(start, now_seconds) for start in starts],
        [_before(end, now_seconds) for end in ends],
    )


def _before(instant: float, now_seconds: float) -> float:
    return min(round((instant - now_seconds) * 1000) / 1000, 0.0)


def _check_cycle(cycle_seconds: float) -> None:
    if not 0 < cycle_seconds < math.inf:
        raise ValueError(f"cycle_seconds must be positive and finite, not {cycle_seconds}")
