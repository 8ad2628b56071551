"""Stretches of motor-on time as arrays: for thousands of them at once, see ``intervals``."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def union_arrays(starts_seconds: ArrayLike, ends_seconds: ArrayLike) -> tuple[Floats, Floats]:
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
    Derived here (sweep over sorted starts); the same as ``union_of_intervals``, see test.

    Examples
    --------
    >>> union_arrays([0.0, 50.0, 200.0], [100.0, 150.0, 200.0])
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


def arrays_until_now(
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
    Definition made here; the same as ``until_now``, see test.

    Examples
    --------
    >>> arrays_until_now([1777896000.0], [1777896012.5], 1777896010.0)
    (array([-10.]), array([0.]))
    """
    if not math.isfinite(now_seconds):
        raise ValueError(f"now_seconds must be finite, not {now_seconds}")
    starts, ends = union_arrays(starts_seconds, ends_seconds)
    starts = np.rint((starts - now_seconds) * 1000) / 1000
    ends = np.rint((ends - now_seconds) * 1000) / 1000
    return union_arrays(np.minimum(starts, 0.0), np.minimum(ends, 0.0))
