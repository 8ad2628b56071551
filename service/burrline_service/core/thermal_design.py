"""Which readings of a long history a motor's fit uses: few, spread over all a motor has done."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .thermal_response import on_so_far_seconds

Indexes = NDArray[np.int64]

MOST_READINGS_COUNT = 400
RECENT_COUNT = 60
"""Of them always the latest."""
THINNED_SECONDS = 120.0
"""Of alike readings closer together, the latest goes first: they tell much the same."""

_REST_SECONDS = (30.0, 120.0, 480.0, 1800.0, 7200.0)
_RUN_SECONDS = (15.0, 45.0, 150.0, 450.0)
_USED_FRACTIONS = (0.02, 0.08, 0.2, 0.5)


def informative_readings(
    on_starts_seconds: ArrayLike,
    on_ends_seconds: ArrayLike,
    at_seconds: ArrayLike,
    *,
    most_count: int = MOST_READINGS_COUNT,
) -> Indexes:
    """Choose the readings that tell most about a motor, at most so many.

    ``cell = (rest since the last run, length of that run, duty of 20 min, duty of 2 h)``

    The latest 60 are taken; the other places go to the cells in turn, in each the latest reading
    first, and readings within the same 120 s of a cell only when nothing else is left. So long
    runs, short rests, idle stretches and high rises are there even if they are one in a thousand.

    Parameters
    ----------
    on_starts_seconds, on_ends_seconds : array_like, shape (m,)
        Motor-on stretches in s, parted and ascending.
    at_seconds : array_like, shape (n,)
        When was read, in s, ascending.
    most_count : int
        The most readings chosen.

    Returns
    -------
    ndarray of int, shape (min(n, most_count),)
        Indexes of the chosen ones, ascending.

    Valid
    -----
    A function of the instants alone: neither what was read nor in which order it arrived matters.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> informative_readings([0.0], [60.0], [30.0, 60.0, 90.0], most_count=2)
    array([0, 2])
    """
    at = np.asarray(at_seconds, dtype=np.float64)
    if at.size <= most_count:
        return np.arange(at.size)
    cells = _cells(
        np.asarray(on_starts_seconds, dtype=np.float64),
        np.asarray(on_ends_seconds, dtype=np.float64),
        at,
    )
    recency = np.arange(at.size)[::-1]
    buckets = np.floor((at - at[-1]) / THINNED_SECONDS)
    # the latest of each bucket of a cell is in front, the others behind all of those
    order = np.lexsort((recency, buckets, cells))
    is_behind = np.append(False, (np.diff(cells[order]) == 0) & (np.diff(buckets[order]) == 0))
    behind = np.empty(at.size, dtype=bool)
    behind[order] = is_behind
    order = np.lexsort((recency, behind, cells))
    first = np.flatnonzero(np.append(True, np.diff(cells[order]) != 0))
    turn = np.empty(at.size, dtype=np.int64)
    turn[order] = np.arange(at.size) - np.repeat(first, np.diff(np.append(first, at.size)))
    turn[recency < min(RECENT_COUNT, most_count // 4)] = -1
    behind[turn == -1] = False
    return np.sort(np.lexsort((recency, turn, behind))[:most_count])


def _cells(
    starts: NDArray[np.float64], ends: NDArray[np.float64], at: NDArray[np.float64]
) -> NDArray[np.int64]:
    if starts.size == 0:
        return np.zeros(at.size, dtype=np.int64)
    run = np.searchsorted(starts, at, side="left") - 1  # the run going on, or the one before
    is_after_any = run >= 0
    run = np.maximum(run, 0)
    rest = np.where(is_after_any, np.maximum(at - ends[run], 0.0), np.inf)
    length = np.where(is_after_any, np.minimum(ends[run], at) - starts[run], 0.0)
    cells = np.searchsorted(_REST_SECONDS, rest) * 8 + np.searchsorted(_RUN_SECONDS, length)
    for back_seconds in (1200.0, 7200.0):
        used = on_so_far_seconds(starts, ends, at) - on_so_far_seconds(
            starts, ends, at - back_seconds
        )
        cells = cells * 8 + np.searchsorted(_USED_FRACTIONS, used / back_seconds)
    return cells.astype(np.int64)
