"""What a model leaves over: a slow drift beside the noise of single readings.

Rooms warm up, loads differ, motors are no bodies of one temperature: residuals close in time are
alike. Counting them as independent makes every interval too narrow.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .thermal_descent import Matrix, Weights

Floats = NDArray[np.float64]

USUAL_NOISE_KELVIN = 0.8
"""What a sensor on a motor adds by itself, within a factor of 1.3 or so (our choice): what is
more is the motor's own unrest, as long as the readings do not tell otherwise."""
DRIFT_SECONDS = (3600.0, 14400.0)
"""Correlation times tried."""
_DRIFT_TIMES_NOISE = (0.1, 0.3, 0.8, 2.0, 5.0)
_LOAD_FRACTIONS = (0.0, 0.03, 0.06, 0.1, 0.16, 0.25, 0.4)


class Unrest(NamedTuple):
    """Noise of a reading, a drift that fades with a correlation time, loads that differ by run."""

    noise_kelvin: float
    drift_kelvin: float
    drift_seconds: float
    load_fraction: float


def find_unrest(
    at_seconds: ArrayLike,
    residuals_kelvin: ArrayLike,
    fast_kelvin: ArrayLike,
    weights: Weights,
    lowest_noise_kelvin: float,
    lowest_drift_kelvin: float,
) -> Unrest:
    """Part residuals into noise, a drift and loads that differ from run to run, by likelihood.

    ``r = d + load fast + e / sqrt(w);  cov(d(t), d(u)) = D^2 exp(-|t - u| / tau_d)``

    Parameters
    ----------
    at_seconds : array_like, shape (n,)
        When was read, in s, ascending.
    residuals_kelvin : array_like, shape (n,)
        Readings minus model in K.
    fast_kelvin : array_like, shape (n,)
        The fast body's part of the temperature in K: it follows the load of the last run.
    weights : ndarray, shape (n,)
        Of each reading, between 0 and 1: small for a wild one.
    lowest_noise_kelvin, lowest_drift_kelvin : float
        Noise and drift are not told below these, in K: the model has taken part of both.

    Returns
    -------
    Unrest
        The likeliest of 70 combinations.

    Valid
    -----
    n > 0. With few readings drift and load are guesses: a weak prior asks for little of both.

    Source
    ------
    Likelihood by a scalar Kalman filter (Ornstein-Uhlenbeck process), from memory; see test.

    Examples
    --------
    >>> import numpy as np
    >>> find_unrest([0.0, 9e4], [1.0, -1.0], [0.0, 0.0], np.ones(2), 0.3, 0.1).drift_kelvin < 1.0
    True
    """
    at = np.asarray(at_seconds, dtype=np.float64)
    residuals = np.asarray(residuals_kelvin, dtype=np.float64)
    usual = max(1.4826 * float(np.median(np.abs(residuals))), lowest_noise_kelvin)
    grid = np.meshgrid(_DRIFT_TIMES_NOISE, DRIFT_SECONDS, _LOAD_FRACTIONS, indexing="ij")
    ratio, fading, load = (one.ravel() for one in grid)
    kept = np.exp(-np.diff(at, prepend=at[0])[:, None] / fading)
    full = np.maximum(ratio, lowest_drift_kelvin / usual) ** 2
    fast = np.asarray(fast_kelvin, dtype=np.float64)[:, None]
    noises = 1.0 / weights[:, None] + (fast * load / usual) ** 2
    mean, spread = np.zeros(full.size), full.copy()
    squares, logs = np.zeros(full.size), np.zeros(full.size)
    for index, residual in enumerate(residuals.tolist()):
        mean *= kept[index]
        spread = full + kept[index] ** 2 * (spread - full)
        total = spread + noises[index]
        gap = residual - mean
        squares += gap * gap / total
        logs += np.log(total)
        gain = spread / total
        mean += gain * gap
        spread = (1.0 - gain) * spread
    noise = np.maximum(np.sqrt(squares / residuals.size), lowest_noise_kelvin)
    cost = residuals.size * np.log(noise) + squares / noise**2 / 2 + logs / 2
    cost += np.log1p(full) / 2 + (load / 0.2) ** 2 / 2
    cost += fading == DRIFT_SECONDS[0]
    cost += (np.log(noise / USUAL_NOISE_KELVIN) / 0.25) ** 2 / 2
    best = int(np.argmin(cost))
    return Unrest(
        noise_kelvin=float(noise[best]),
        drift_kelvin=float(max(noise[best] * math.sqrt(full[best]), lowest_drift_kelvin)),
        drift_seconds=float(fading[best]),
        load_fraction=float(load[best] * noise[best] / usual),
    )


def whitened(
    at_seconds: ArrayLike,
    residuals_kelvin: Floats,
    unrest: Unrest,
    variances: Weights,
) -> Matrix:
    """Turn residuals with a drift into independent ones of size 1.

    ``u_i = (r_i - E[r_i | r_1 .. r_(i-1)]) / sd(r_i | r_1 .. r_(i-1))``

    Parameters
    ----------
    at_seconds : array_like, shape (n,)
        When was read, in s, ascending.
    residuals_kelvin : ndarray, shape (k, n)
        In K; each row is turned for itself.
    unrest : Unrest
        The drift is read of it.
    variances : ndarray, shape (n,)
        Of each reading's own noise, in K^2.

    Returns
    -------
    ndarray, shape (k, n)
        Without unit; a linear function of each row.

    Valid
    -----
    Cost k n; no matrix of readings by readings.

    Source
    ------
    Innovations of a scalar Kalman filter, from memory; held to a Cholesky factor in a test.

    Examples
    --------
    >>> import numpy as np
    >>> whitened([0.0], np.array([[5.0]]), Unrest(3.0, 4.0, 900.0, 0.0), np.full(1, 9.0))
    array([[1.]])
    """
    at = np.asarray(at_seconds, dtype=np.float64)
    full = spread = unrest.drift_kelvin**2
    columns = np.ascontiguousarray(residuals_kelvin.T)
    found = np.empty_like(columns)
    mean = np.zeros(columns.shape[1])
    fading = np.exp(-np.diff(at, prepend=at[:1]) / unrest.drift_seconds).tolist()
    for index, kept in enumerate(fading):
        mean *= kept
        spread = full + kept * kept * (spread - full)
        total = spread + float(variances[index])
        gap = columns[index] - mean
        found[index] = gap / math.sqrt(total)
        mean += gap * (spread / total)
        spread *= float(variances[index]) / total
    return found.T
