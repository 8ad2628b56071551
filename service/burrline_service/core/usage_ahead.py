"""How a motor may be used in the coming minutes: as it was after the last comparable moments."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

ALIKE_COUNT = 8
"""So many comparable moments are looked at (our choice)."""
RECENT_SECONDS = 2 * 3600.0
"""Comparable moments this recent are preferred: usage of now says more than that of the morning."""


def usage_ahead(
    on_starts_seconds: ArrayLike,
    on_ends_seconds: ArrayLike,
    at_seconds: float,
    horizon_seconds: float,
) -> list[tuple[Floats, Floats]]:
    """Continue a motor's usage in the ways it went on at its last comparable moments.

    ``on(t + s) = on(u + s)`` for moments u as long after a run's start or end as t is, repeated
    with the period t - u where that has not been yet

    Parameters
    ----------
    on_starts_seconds, on_ends_seconds : array_like, shape (m,)
        Motor-on stretches in s, parted and ascending.
    at_seconds : float
        Now t, in s; nothing later is looked at.
    horizon_seconds : float
        How far to look, in s.

    Returns
    -------
    list of tuple of ndarray
        Starts and ends of the stretches to come, in s from now, for each of at most 8 ways.

    Valid
    -----
    Without a comparable moment a run is taken to last once more as long as it has, and a rest to
    last. Moments of the last two hours are used alone if there are two or more.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> usage_ahead([0.0, 300.0], [60.0, 360.0], 360.0, 600.0)
    [(array([240., 540.]), array([300., 600.]))]
    """
    starts = np.asarray(on_starts_seconds, dtype=np.float64)
    ends = np.asarray(on_ends_seconds, dtype=np.float64)
    count = int(np.searchsorted(starts, at_seconds, side="left"))
    if count == 0:
        return [(np.empty(0), np.empty(0))]
    is_running = bool(ends[count - 1] > at_seconds)
    starts, ends = starts[:count], np.minimum(ends[:count], at_seconds)
    if is_running:
        age = at_seconds - starts[-1]
        moments = starts[:-1][ends[:-1] - starts[:-1] > age] + age
    else:
        age = at_seconds - ends[-1]
        moments = ends[:-1][starts[1:] - ends[:-1] > age] + age
    moments = moments[-ALIKE_COUNT:]
    recent = moments[moments >= at_seconds - RECENT_SECONDS]
    if recent.size >= 2:
        moments = recent
    if moments.size == 0:
        lasting = min(age, horizon_seconds) if is_running else 0.0
        return [(np.zeros(1), np.full(1, lasting))] if is_running else [(np.empty(0), np.empty(0))]
    return [
        _repeated(starts, ends, float(moment), at_seconds, horizon_seconds) for moment in moments
    ]


def _repeated(
    starts: Floats, ends: Floats, moment: float, at: float, horizon: float
) -> tuple[Floats, Floats]:
    period = at - moment
    first = int(np.searchsorted(ends, moment, side="right"))
    begins, stops = np.maximum(starts[first:], moment) - moment, ends[first:] - moment
    turns = np.arange(0, 1 + int(horizon // period)) * period
    begins = (begins + turns[:, None]).ravel()
    stops = np.minimum((stops + turns[:, None]).ravel(), horizon)
    is_ahead = stops > begins
    return begins[is_ahead], stops[is_ahead]
