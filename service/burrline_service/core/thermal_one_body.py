"""A motor's readings seen as those of one warm body: their constants and spread."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .thermal_descent import (
    CAUCHY_COUNT,
    Matrix,
    Point,
    Prior,
    between_responses,
    cauchy_weights,
    descend,
    robust_kelvin,
)
from .thermal_response import BAND_FRACTIONS, TABLE_SECONDS, responses

Floats = NDArray[np.float64]

AMBIENT_PRIOR = (22.0, 10.0)
"""Room temperature in degrees Celsius, mean and spread (our choice, no source)."""
MEASURED_AMBIENT_KELVIN = 1.5
"""How far the air at the motor may be from where the ambient was read (our choice)."""
PRIOR_MEANS = (math.log(80.0), math.log(1200.0), 0.5)
PRIOR_SPREADS = (1.5, 1.5, 1.0)
"""Of ln rise, ln heating constant, ln(cooling / heating constant): weak (our choice)."""
FINEST_NOISE_KELVIN = 0.25
"""No sensor on a motor is better than this (our choice, no source)."""


class OneBody(NamedTuple):
    """Coordinates ln rise, ln heating, ln(cooling / heating), ambient, and their spread."""

    point: Point
    covariance: Matrix
    residuals_kelvin: Floats
    slopes: Matrix
    residual_kelvin: float
    sigma_kelvin: float
    is_at_edge: bool


def resolution_kelvin(readings_celsius: ArrayLike) -> float:
    """Find the step in which a sensor tells temperatures.

    ``max q in {1, 0.5, 0.25, 0.2, 0.1, 0.05, 0.01, 0}: all readings are multiples of q``

    Parameters
    ----------
    readings_celsius : array_like, shape (n,)
        What was read, in degrees Celsius.

    Returns
    -------
    float
        The step in K; 0 = finer than 0.01.

    Valid
    -----
    A few readings may all be whole degrees by chance: then the step is found too coarse.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> resolution_kelvin([21.0, 24.5]), resolution_kelvin([21.0, 24.0])
    (0.5, 1.0)
    """
    readings = np.asarray(readings_celsius, dtype=np.float64)
    for step in (1.0, 0.5, 0.25, 0.2, 0.1, 0.05, 0.01):
        if (np.abs(readings / step - np.round(readings / step)) < 1e-6).all():
            return step
    return 0.0


def fit_one_body(
    on_starts_seconds: ArrayLike,
    on_ends_seconds: ArrayLike,
    reading_at_seconds: ArrayLike,
    readings_celsius: ArrayLike,
    *,
    ambient_celsius: ArrayLike | None,
    table: Matrix,
) -> OneBody:
    """Fit one warm body to readings: a grid of time constants, then Gauss-Newton on the best.

    ``T_i = ambient + rise phi_i(tau_h, tau_c) + noise``, Cauchy loss, weak priors

    Parameters
    ----------
    on_starts_seconds, on_ends_seconds : array_like, shape (m,)
        Motor-on stretches in s, parted and ascending.
    reading_at_seconds : array_like, shape (n,)
        When was read, in s, ascending.
    readings_celsius : array_like, shape (n,)
        What was read, in degrees Celsius.
    ambient_celsius : array_like, shape (n,), or None
        Measured ambient at each reading; the fourth coordinate is then an offset from it.
    table : ndarray, shape (20, 11, n)
        ``response_table`` of the same stretches and instants.

    Returns
    -------
    OneBody
        With the covariance ``sigma^2 (J'WJ + prior)^-1`` of its coordinates.

    Valid
    -----
    n >= 4. ``sigma`` is the robust residual, at least resolution / sqrt(12) and at least the
    smaller of 1 K and the larger of resolution and 0.25 K: whole degrees hide what a finer
    sensor shows. Priors weigh against the residual found, so exact readings override them.

    Source
    ------
    Derived here; held to scipy and to the Cramer-Rao bound in tests.

    Examples
    --------
    >>> from .thermal_response import response_table
    >>> on = [0.0, 3000.0, 9000.0], [600.0, 4800.0, 9300.0]
    >>> at = [600.0, 2000.0, 4800.0, 6000.0, 9300.0]
    >>> read = 25.0 + 120.0 * responses(*on, at, [1200.0], [2400.0])[0]
    >>> found = fit_one_body(*on, at, read, ambient_celsius=None, table=response_table(*on, at))
    >>> np.exp(found.point[:2]).round(3)
    array([ 120., 1200.])
    """
    at = np.asarray(reading_at_seconds, dtype=np.float64)
    readings = np.asarray(readings_celsius, dtype=np.float64)
    known = 0.0 if ambient_celsius is None else np.asarray(ambient_celsius, dtype=np.float64)
    sought = readings - known
    mean, spread = (0.0, MEASURED_AMBIENT_KELVIN) if ambient_celsius is not None else AMBIENT_PRIOR
    prior = Prior(np.array([*PRIOR_MEANS, mean]), np.array([*PRIOR_SPREADS, spread]))
    step_kelvin = resolution_kelvin(readings)
    finest = max(step_kelvin / math.sqrt(12.0), 1e-9)

    def _roughly(points: Matrix) -> Matrix:
        shares = between_responses(table, points[:, 1], points[:, 2])
        return points[:, 3:4] + np.exp(points[:, :1]) * shares

    def _exactly(points: Matrix) -> Matrix:
        pairs, place = np.unique(points[:, 1:3], axis=0, return_inverse=True)
        heating = np.exp(pairs[:, 0])
        cooling = heating * np.exp(pairs[:, 1])
        shares = responses(on_starts_seconds, on_ends_seconds, at, heating, cooling)
        shares = shares[place.reshape(-1)]
        return points[:, 3:4] + np.exp(points[:, :1]) * shares

    start, residual = _best_of_grid(table, sought, finest, prior)
    found = descend(_roughly, start, sought, residual, prior, most_count=12)
    before = math.inf
    for _ in range(6):
        before = residual
        found = descend(_exactly, found.point, sought, residual, prior, most_count=8)
        residual = max(robust_kelvin(found.residuals_kelvin, 4), finest)
        if residual > 0.97 * before or residual == finest:
            break
    if residual < 0.97 * before:
        found = descend(_exactly, found.point, sought, residual, prior, most_count=8)
    floor = min(1.0, max(step_kelvin, FINEST_NOISE_KELVIN))
    sigma = max(residual, finest, floor if readings.size >= 8 else 1.0)
    return OneBody(
        point=found.point,
        covariance=spread_of(found.slopes, found.residuals_kelvin, sigma, prior),
        residuals_kelvin=found.residuals_kelvin,
        slopes=found.slopes,
        residual_kelvin=residual,
        sigma_kelvin=sigma,
        is_at_edge=_is_at_edge(found.point),
    )


def spread_of(
    slopes: Matrix, residuals_kelvin: Floats, sigma_kelvin: float, prior: Prior
) -> Matrix:
    """Give the covariance of coordinates fitted to readings with a known noise.

    ``C = (J' J / sigma^2 + diag(1 / s^2))^-1`` over the residuals within 4 sigma

    Parameters
    ----------
    slopes : ndarray, shape (n, d)
        Change of each reading's model value with each coordinate.
    residuals_kelvin : ndarray, shape (n,)
        Residuals in K: those beyond 4 sigma tell nothing.
    sigma_kelvin : float
        Noise of a reading in K.
    prior : Prior
        Of the coordinates.

    Returns
    -------
    ndarray, shape (d, d)
        Covariance matrix.

    Valid
    -----
    As far as the model is linear over its own spread.

    Source
    ------
    Cramer-Rao bound, from memory; its table in a test.

    Examples
    --------
    >>> flat = Prior(np.zeros(1), np.full(1, 1e9))
    >>> spread_of(np.ones((4, 1)), np.zeros(4), 2.0, flat).round(6)
    array([[1.]])
    """
    kept = slopes[np.abs(residuals_kelvin) <= 4.0 * sigma_kelvin]
    inverse = kept.T @ kept / sigma_kelvin**2 + np.diag(prior.spreads**-2.0)
    return np.asarray(np.linalg.inv(inverse), dtype=np.float64)


def _best_of_grid(
    table: Matrix, sought: Floats, finest_kelvin: float, prior: Prior
) -> tuple[Point, float]:
    """The best entry of the table by a robust straight line in (rise, ambient) for each."""
    rows, width, count = table.shape
    shares = table.reshape(-1, count)
    weights = np.ones_like(shares)
    sigma = np.full(len(shares), max(robust_kelvin(sought - np.median(sought), 1), finest_kelvin))
    rise = ambient = np.zeros(len(shares))
    residuals = weights
    for _ in range(8):
        stiff = sigma**2
        s0, s1 = weights.sum(1) + stiff / prior.spreads[3] ** 2, (weights * shares).sum(1)
        s2 = (weights * shares * shares).sum(1) + stiff / 150.0**2
        t0 = weights @ sought + stiff * prior.means[3] / prior.spreads[3] ** 2
        t1 = (weights * shares) @ sought + stiff * 80.0 / 150.0**2
        bent = np.maximum(s0 * s2 - s1 * s1, 1e-30)
        rise = np.maximum((s0 * t1 - s1 * t0) / bent, 0.5)
        ambient = (t0 - rise * s1) / s0
        residuals = sought - ambient[:, None] - rise[:, None] * shares
        spread = 1.4826 * np.median(np.abs(residuals), axis=1)
        sigma = np.maximum(spread, finest_kelvin)
        weights = cauchy_weights(residuals, sigma[:, None])
    common = max(float(sigma.min()), finest_kelvin)
    cost = CAUCHY_COUNT**2 / 2 * np.log1p((residuals / (CAUCHY_COUNT * common)) ** 2).sum(1)
    heating = np.repeat(np.log(TABLE_SECONDS), width)
    band = np.tile(np.log(BAND_FRACTIONS), rows)
    points = np.stack([np.log(rise), heating, band, ambient], axis=1)
    cost += (((points - prior.means) / prior.spreads) ** 2).sum(1) / 2
    best = int(np.argmin(cost))
    return points[best], common


def _is_at_edge(point: Point) -> bool:
    low, high = math.log(TABLE_SECONDS[0]), math.log(TABLE_SECONDS[-1])
    narrow, wide = math.log(BAND_FRACTIONS[0]), math.log(BAND_FRACTIONS[-1])
    return not (low < point[1] < high and narrow - 0.01 < point[2] < wide)
