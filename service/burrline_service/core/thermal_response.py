"""The response of a first-order body to motor-on time: the share of its steady rise it has reached.

``d phi / dt = (1 - phi) / tau_heating`` while the motor is on, ``-phi / tau_cooling`` while it is
off. Exact for any lengths; no step in time. Motor-on stretches must be parted and ascending, as
``union_of_intervals`` gives them; before the first the body is at ambient temperature.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Shares = NDArray[np.float64]
"""Fractions of the steady rise."""

BAND_FRACTIONS = tuple(math.exp(0.33 * step) for step in range(-2, 9))
"""Cooling over heating time constant in a table of responses: 0.52 to 14. A motor at rest cools
no faster than a running one heats (no fan), but two bodies seen as one may seem to."""
TABLE_SECONDS = tuple(40.0 * math.exp(0.33 * step) for step in range(20))
"""Heating time constants of a table: 40 s to 5.9 h, past both ends of any bench motor."""


class Pieces(NamedTuple):
    """Motor-on stretches cut at the instants asked for, each with how long ago it ended then."""

    lengths_seconds: Floats
    next_count: NDArray[np.int64]  # index of the first instant at or after the piece's end
    on_after_seconds: Floats
    off_after_seconds: Floats
    on_between_seconds: Floats  # from the instant before, per instant
    off_between_seconds: Floats


def on_so_far_seconds(
    on_starts_seconds: ArrayLike, on_ends_seconds: ArrayLike, at_seconds: ArrayLike
) -> Floats:
    """Give the motor-on time up to each of some instants.

    ``O(t) = sum of length([s_i, e_i) before t)``

    Parameters
    ----------
    on_starts_seconds, on_ends_seconds : array_like, shape (m,)
        Motor-on stretches in s, parted and ascending.
    at_seconds : array_like
        Instants in s.

    Returns
    -------
    ndarray
        Seconds, of the shape of the instants.

    Valid
    -----
    Any m, none included.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> on_so_far_seconds([0.0, 100.0], [10.0, 130.0], [5.0, 50.0, 120.0])
    array([ 5., 10., 30.])
    """
    starts = np.asarray(on_starts_seconds, dtype=np.float64)
    ends = np.asarray(on_ends_seconds, dtype=np.float64)
    at = np.asarray(at_seconds, dtype=np.float64)
    if starts.size == 0:
        return np.zeros(at.shape)
    borders = np.stack([starts, ends], axis=1).ravel()
    grown = np.cumsum(ends - starts)
    reached = np.stack([np.append(0.0, grown[:-1]), grown], axis=1).ravel()
    found: Floats = np.interp(at, borders, reached)
    return found


def responses(
    on_starts_seconds: ArrayLike,
    on_ends_seconds: ArrayLike,
    at_seconds: ArrayLike,
    heating_seconds: ArrayLike,
    cooling_seconds: ArrayLike,
) -> Shares:
    """Give the share of the steady rise reached at some instants, for pairs of time constants.

    ``phi(t) = sum_i (1 - exp(-d_i / tau_h)) exp(-on_after_i / tau_h - off_after_i / tau_c)``

    Parameters
    ----------
    on_starts_seconds, on_ends_seconds : array_like, shape (m,)
        Motor-on stretches in s, parted and ascending.
    at_seconds : array_like, shape (n,)
        Instants in s, ascending.
    heating_seconds, cooling_seconds : array_like, shape (k,)
        Time constants in s, positive.

    Returns
    -------
    ndarray, shape (k, n)
        Fractions between 0 and 1.

    Valid
    -----
    The body is at ambient temperature before the first stretch. Cost k (m + n).

    Source
    ------
    Derived here (exact solution, summed over stretches), see test.

    Examples
    --------
    >>> responses([0.0], [600.0], [600.0, 1800.0], [1200.0], [2400.0]).round(6)
    array([[0.393469, 0.238651]])
    """
    heating = np.asarray(heating_seconds, dtype=np.float64)[:, None]
    cooling = np.asarray(cooling_seconds, dtype=np.float64)[:, None]
    pieces = _pieces(on_starts_seconds, on_ends_seconds, at_seconds)
    fresh = -np.expm1(-pieces.lengths_seconds / heating)
    fresh *= np.exp(-pieces.on_after_seconds / heating - pieces.off_after_seconds / cooling)
    kept = np.exp(-pieces.on_between_seconds / heating - pieces.off_between_seconds / cooling)
    return _carried(_grouped(fresh, pieces), kept)


def response_table(
    on_starts_seconds: ArrayLike, on_ends_seconds: ArrayLike, at_seconds: ArrayLike
) -> Shares:
    """Give the share of the steady rise reached at some instants, for the whole table at once.

    ``phi(t; tau_h, tau_c)`` of ``responses`` for tau_h in TABLE_SECONDS, tau_c / tau_h in
    BAND_FRACTIONS

    Parameters
    ----------
    on_starts_seconds, on_ends_seconds : array_like, shape (m,)
        Motor-on stretches in s, parted and ascending.
    at_seconds : array_like, shape (n,)
        Instants in s, ascending.

    Returns
    -------
    ndarray, shape (20, 11, n)
        Fractions between 0 and 1.

    Valid
    -----
    As ``responses``; the exponentials are shared, so that the table costs little more than its
    borders.

    Source
    ------
    ``responses``

    Examples
    --------
    >>> response_table([0.0], [600.0], [600.0]).shape
    (20, 11, 1)
    """
    pieces = _pieces(on_starts_seconds, on_ends_seconds, at_seconds)
    rows, width = len(TABLE_SECONDS), len(BAND_FRACTIONS)
    first = round(math.log(BAND_FRACTIONS[0]) / 0.33)
    heating = np.array(TABLE_SECONDS)[:, None]
    every = 40.0 * np.exp(0.33 * np.arange(first, rows + width + first - 1))[:, None]
    fresh = -np.expm1(-pieces.lengths_seconds / heating)
    fresh *= np.exp(-pieces.on_after_seconds / heating)
    faded = np.exp(-pieces.off_after_seconds / every)
    kept_on = np.exp(-pieces.on_between_seconds / heating)
    kept_off = np.exp(-pieces.off_between_seconds / every)
    added = np.empty((rows, width, pieces.on_between_seconds.size))
    kept = np.empty_like(added)
    for row in range(rows):
        band = slice(row, row + width)
        added[row] = _grouped(fresh[row] * faded[band], pieces)
        kept[row] = kept_on[row] * kept_off[band]
    return _carried(added, kept)


def _pieces(starts_seconds: ArrayLike, ends_seconds: ArrayLike, at_seconds: ArrayLike) -> Pieces:
    starts = np.asarray(starts_seconds, dtype=np.float64)
    ends = np.asarray(ends_seconds, dtype=np.float64)
    at = np.asarray(at_seconds, dtype=np.float64)
    on_at = on_so_far_seconds(starts, ends, at)
    origin = starts[0] if starts.size else 0.0
    off_at = np.maximum(at - origin, 0.0) - on_at
    if starts.size:
        cuts = np.unique(at)
        run = np.searchsorted(starts, cuts, side="right") - 1
        cuts = cuts[(run >= 0) & (cuts > starts[run]) & (cuts < ends[run])]
        starts, ends = np.sort(np.append(starts, cuts)), np.sort(np.append(ends, cuts))
    following = np.searchsorted(at, ends, side="left")
    starts, ends = starts[following < at.size], ends[following < at.size]
    following = following[following < at.size]
    on_end = np.cumsum(ends - starts)
    on_after = np.maximum(on_at[following] - on_end, 0.0)
    off_after = np.maximum(at[following] - ends - on_after, 0.0)
    return Pieces(
        lengths_seconds=ends - starts,
        next_count=following,
        on_after_seconds=on_after,
        off_after_seconds=off_after,
        on_between_seconds=np.diff(on_at, prepend=0.0),
        off_between_seconds=np.maximum(np.diff(off_at, prepend=0.0), 0.0),
    )


def _grouped(of_pieces: Floats, pieces: Pieces) -> Floats:
    """Add up what the pieces before each instant (and after the one before it) give."""
    total = np.zeros((of_pieces.shape[0], pieces.on_between_seconds.size))
    if pieces.next_count.size:
        firsts = np.flatnonzero(np.diff(pieces.next_count, prepend=-1))
        total[:, pieces.next_count[firsts]] = np.add.reduceat(of_pieces, firsts, axis=1)
    return total


def _carried(added: Floats, kept: Floats) -> Floats:
    """Run ``phi_i = kept_i phi_(i-1) + added_i`` along the last axis."""
    added = np.ascontiguousarray(np.moveaxis(added, -1, 0))
    kept = np.ascontiguousarray(np.moveaxis(kept, -1, 0))
    for index in range(1, len(added)):
        added[index] += kept[index] * added[index - 1]
    return np.ascontiguousarray(np.moveaxis(added, 0, -1))
