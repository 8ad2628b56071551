"""Stretches of motor-on time on one time line: union, windows, rolling maximum, wait.

Intervals are half-open ``[start, end)`` in seconds of any one clock, in any order.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

TOLERANCE_SECONDS = 0.0005
"""Times are kept to the millisecond; an excess below half of one is rounding, not running."""


def union_of_intervals(starts_seconds: ArrayLike, ends_seconds: ArrayLike) -> tuple[Floats, Floats]:
    """Merge intervals that overlap or touch, so that no second counts twice.

    ``U = union of [s_i, e_i)``

    Parameters
    ----------
    starts_seconds, ends_seconds : array_like, shape (n,)
        Interval borders in s, in any order of intervals; each end >= its start.

    Returns
    -------
    tuple of ndarray, shape (m,) and (m,)
        Starts and ends in s of the merged intervals, ascending, m <= n; zero-length ones dropped.

    Raises
    ------
    ValueError
        Shapes differ or are not one-dimensional, a border is not finite, an end precedes its start.

    Valid
    -----
    Any n, none included.

    Source
    ------
    Derived here (sweep over sorted starts), see the brute-force test.

    Examples
    --------
    >>> union_of_intervals([0.0, 50.0, 200.0], [100.0, 150.0, 200.0])
    (array([0.]), array([150.]))
    """
    starts = np.asarray(starts_seconds, dtype=np.float64)
    ends = np.asarray(ends_seconds, dtype=np.float64)
    if starts.ndim != 1 or starts.shape != ends.shape:
        raise ValueError(
            f"starts and ends must be one-dimensional and equally long, "
            f"not {starts.shape} and {ends.shape}"
        )
    if not (np.isfinite(starts).all() and np.isfinite(ends).all()):
        raise ValueError("interval borders must be finite")
    if (ends < starts).any():
        first = int(np.argmax(ends < starts))
        raise ValueError(f"interval {first} ends at {ends[first]} before its start {starts[first]}")
    order = np.argsort(starts, kind="stable")
    order = order[ends[order] > starts[order]]
    if order.size == 0:
        return np.empty(0), np.empty(0)
    starts, ends = starts[order], np.maximum.accumulate(ends[order])
    is_gap = starts[1:] > ends[:-1]
    return starts[np.append(True, is_gap)], ends[np.append(is_gap, True)]


def on_time_seconds(
    starts_seconds: ArrayLike, ends_seconds: ArrayLike, low_seconds: float, high_seconds: float
) -> float:
    """Add up the motor-on time of the union of runs inside a window.

    ``on = length(U intersected with [low, high))``

    Parameters
    ----------
    starts_seconds, ends_seconds : array_like, shape (n,)
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
    inside = np.minimum(ends, high_seconds) - np.maximum(starts, low_seconds)
    return float(np.maximum(inside, 0.0).sum())


def rolling_maximum_on_seconds(
    starts_seconds: ArrayLike,
    ends_seconds: ArrayLike,
    cycle_seconds: float,
    low_seconds: float | None = None,
    high_seconds: float | None = None,
) -> float:
    """Find the largest on-time in any trailing window of one cycle, exactly.

    ``max over t in [low, high] of length(U in [t - W, t))``; the on-time rises only while the
    motor runs, so its maximum is reached at a run's end, or at low or high.

    Parameters
    ----------
    starts_seconds, ends_seconds : array_like, shape (n,)
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
    if starts.size == 0:
        return 0.0
    origin = float(starts[0])
    starts, ends, low, high = starts - origin, ends - origin, low - origin, high - origin
    lengths = ends - starts
    total = np.cumsum(lengths)
    knots = np.column_stack((starts, ends)).ravel()
    sums = np.column_stack((total - lengths, total)).ravel()
    instants = np.append(ends, [low, high])
    instants = instants[np.isfinite(instants) & (instants >= low) & (instants <= high)]
    if instants.size == 0:
        return 0.0
    on = np.interp(instants, knots, sums) - np.interp(instants - cycle_seconds, knots, sums)
    return float(min(on.max(), cycle_seconds))


def wait_seconds(
    starts_seconds: ArrayLike,
    ends_seconds: ArrayLike,
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
    starts_seconds, ends_seconds : array_like, shape (n,)
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
    on_from_start = np.cumsum((ends - starts)[::-1])[::-1]
    over = np.flatnonzero(on_from_start > budget + TOLERANCE_SECONDS)
    if over.size == 0:
        return 0.0
    last = int(over[-1])
    later = float(on_from_start[last + 1]) if last + 1 < starts.size else 0.0
    earliest_window_start = float(ends[last]) - max(budget - later, 0.0)
    return max(0.0, earliest_window_start + cycle_seconds - run_seconds)


def until_now(
    starts_seconds: ArrayLike, ends_seconds: ArrayLike, now_seconds: float
) -> tuple[Floats, Floats]:
    """Put runs on a clock whose zero is now, cut off what lies after, and merge what overlaps.

    ``U = union of [round_ms(s_i - now), round_ms(e_i - now)), cut at 0``

    Parameters
    ----------
    starts_seconds, ends_seconds : array_like, shape (n,)
        Runs in s; POSIX times are fine.
    now_seconds : float
        The present instant in s on the same clock.

    Returns
    -------
    tuple of ndarray, shape (m,) and (m,)
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
    (array([-10.]), array([0.]))
    """
    if not math.isfinite(now_seconds):
        raise ValueError(f"now_seconds must be finite, not {now_seconds}")
    starts, ends = union_of_intervals(starts_seconds, ends_seconds)
    starts = np.rint((starts - now_seconds) * 1000) / 1000
    ends = np.rint((ends - now_seconds) * 1000) / 1000
    return union_of_intervals(np.minimum(starts, 0.0), np.minimum(ends, 0.0))


def _check_cycle(cycle_seconds: float) -> None:
    if not 0 < cycle_seconds < math.inf:
        raise ValueError(f"cycle_seconds must be positive and finite, not {cycle_seconds}")
