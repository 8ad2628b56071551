"""What readings say about a motor's drift and about the load of its last run, member by member."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from .thermal_drift import Unrest

Floats = NDArray[np.float64]
Matrix = NDArray[np.float64]
Shares = NDArray[np.float64]

WILD_PROBABILITY = 0.05
WILD_KELVIN = 20.0
"""One reading in twenty may be off by so much (our choice, no source)."""
DOUBT_KELVIN = 1.0
"""A reading taken for a wild one may yet be the first of many: the drift is that much less sure
after it, so that a second and third like it are believed (our choice, no source)."""


class Drawn(NamedTuple):
    """Drift in K and relative load of the last run with their covariance, (members, instants)."""

    drift_kelvin: Matrix
    load_fraction: Matrix
    drift_variance: Matrix
    shared_variance: Matrix
    load_variance: Matrix
    shares: Matrix

    def at(self, index: int) -> Drawn:
        """Give what holds at one of the instants.

        ``columns [index]``

        Parameters
        ----------
        index : int
            Which.

        Returns
        -------
        Drawn
            Arrays of shape (members, 1).

        Source
        ------
        Definition made here.

        Examples
        --------
        >>> import numpy as np
        >>> Drawn(*[np.arange(6.0).reshape(2, 3)] * 6).at(2).shares
        array([[2.],
               [5.]])
        """
        return Drawn(*(one[:, index : index + 1] for one in self))


def draw_to_readings(
    unrest: Unrest,
    at_seconds: Floats,
    gaps_kelvin: Matrix,
    fast_kelvin: Matrix,
    load_kept_fraction: Matrix,
    *,
    weighed_after_seconds: float,
) -> Drawn:
    """Filter drift and load along some instants, at some of which there is a reading.

    ``gap = d + load fast + e;  d fades with tau_d, the load is new with each run``

    Parameters
    ----------
    unrest : Unrest
        Noise, drift and spread of loads.
    at_seconds : ndarray, shape (n,)
        Instants in s, ascending.
    gaps_kelvin : ndarray, shape (n, members)
        Reading minus what each member says, in K; a row of NaN where nothing was read.
    fast_kelvin : ndarray, shape (n, members)
        The fast body's part of the temperature, in K.
    load_kept_fraction : ndarray, shape (n, members)
        How much of that part stems from runs begun before the instant before: 1 without a new one.
    weighed_after_seconds : float
        Readings after it also weigh the members, in s.

    Returns
    -------
    Drawn
        After the reading of each instant, shape (members, n).

    Valid
    -----
    A reading far from what a member expects draws it little: it may be a wild one.

    Source
    ------
    Kalman filter with two states and a mixture of noises, from memory.

    Examples
    --------
    >>> import numpy as np
    >>> one = np.ones((1, 1))
    >>> found = draw_to_readings(Unrest(1.0, 3.0, 900.0, 0.0), np.zeros(1), 2 * one, 0 * one, one,
    ...     weighed_after_seconds=0.0)
    >>> found.drift_kelvin.round(2)
    array([[1.78]])
    """
    count = gaps_kelvin.shape[1]
    noise, full, loads = unrest.noise_kelvin**2, unrest.drift_kelvin**2, unrest.load_fraction**2
    drift, load, logs = np.zeros(count), np.zeros(count), np.zeros(count)
    dd, dl, ll = np.full(count, full), np.zeros(count), np.full(count, loads)
    share = np.full(count, 1.0 / count)
    found = np.empty((6, at_seconds.size, count))
    fading = np.exp(-np.diff(at_seconds, prepend=at_seconds[:1]) / unrest.drift_seconds).tolist()
    is_read = ~np.isnan(gaps_kelvin[:, 0])
    wild = math.log(WILD_PROBABILITY / (1 - WILD_PROBABILITY))
    for index, kept in enumerate(fading):
        same = load_kept_fraction[index]
        drift, load = drift * kept, load * same
        dd = full + kept * kept * (dd - full)
        dl = dl * kept * same
        ll = same * same * ll + (1.0 - same) ** 2 * loads
        if is_read[index]:
            fast = fast_kelvin[index]
            to_drift, to_load = dd + dl * fast, dl + ll * fast
            expected = to_drift + fast * to_load
            total = expected + noise
            away = gaps_kelvin[index] - drift - fast * load
            square = away * away
            fair = -square / (2 * total) - np.log(total) / 2
            wide = total + WILD_KELVIN**2
            odd = wild - square / (2 * wide) - np.log(wide) / 2
            trust = 1.0 / (1.0 + np.exp(np.clip(odd - fair, -700.0, 700.0)))
            pull = trust / total
            drift, load = drift + pull * to_drift * away, load + pull * to_load * away
            dd = dd - pull * to_drift * to_drift + (1.0 - trust) * DOUBT_KELVIN**2
            dl = dl - pull * to_drift * to_load
            ll = ll - pull * to_load * to_load
            if at_seconds[index] > weighed_after_seconds:
                logs = logs + np.logaddexp(fair, odd)
                share = np.exp(logs - logs.max())
                share = share / share.sum()
        found[:, index] = drift, load, dd, dl, ll, share
    return Drawn(*np.ascontiguousarray(np.moveaxis(found, 1, 2)))
