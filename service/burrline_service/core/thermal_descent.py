"""Robust least squares with weak priors for a handful of parameters, and reading between tables."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from .thermal_response import BAND_FRACTIONS, TABLE_SECONDS

Floats = NDArray[np.float64]
Point = NDArray[np.float64]
"""Coordinates of a point in the space of parameters, shape (d,): logarithms and an offset."""
Weights = NDArray[np.float64]
Matrix = NDArray[np.float64]
Cost = float
Model = Callable[[Matrix], Matrix]
"""Gives, for points (k, d), the temperatures (k, n) that they say."""

CAUCHY_COUNT = 2.385
"""Residuals of this many sigmas weigh half: 95 % efficient for normal noise (from memory)."""
SMALLEST_STEP = 1e-4


class Prior(NamedTuple):
    """Independent normal priors of the coordinates."""

    means: Point
    spreads: Point


class Descended(NamedTuple):
    """Where a descent ended, with what is there."""

    point: Point
    residuals_kelvin: Floats
    slopes: Matrix  # d model / d coordinate, (n, d)
    cost: Cost  # minus log posterior, up to a constant; has no unit


def cauchy_weights(residuals_kelvin: Floats, sigma_kelvin: float) -> Weights:
    """Weigh residuals so that a wild one cannot pull.

    ``w = 1 / (1 + (r / (2.385 sigma))^2)``

    Parameters
    ----------
    residuals_kelvin : ndarray
        Residuals r in K.
    sigma_kelvin : float
        Their usual size in K, positive.

    Returns
    -------
    ndarray
        Between 0 and 1, of the same shape.

    Valid
    -----
    Any shape.

    Source
    ------
    Cauchy loss with the usual constant, from memory.

    Examples
    --------
    >>> import numpy as np
    >>> cauchy_weights(np.array([0.0, 2.385]), 1.0)
    array([1. , 0.5])
    """
    return 1.0 / (1.0 + (residuals_kelvin / (CAUCHY_COUNT * sigma_kelvin)) ** 2)


def robust_kelvin(residuals_kelvin: Floats, parameter_count: int) -> float:
    """Give the usual size of residuals, blind to a few wild ones.

    ``s = 1.4826 median |r| sqrt(n / (n - p))``

    Parameters
    ----------
    residuals_kelvin : ndarray, shape (n,)
        Residuals r in K.
    parameter_count : int
        How many parameters p were fitted to them.

    Returns
    -------
    float
        Standard deviation in K, as if the residuals were normal.

    Valid
    -----
    n > 0; with no more residuals than parameters the correction is that of one left over.

    Source
    ------
    Median absolute deviation, from memory.

    Examples
    --------
    >>> import numpy as np
    >>> robust_kelvin(np.array([-1.0, 1.0, 90.0]), 0)
    1.4826
    """
    count = residuals_kelvin.size
    left_count = max(count - parameter_count, 1)
    return 1.4826 * float(np.median(np.abs(residuals_kelvin))) * math.sqrt(count / left_count)


def descend(
    model: Model,
    start: Point,
    readings_celsius: Floats,
    sigma_kelvin: float,
    prior: Prior,
    *,
    most_count: int,
) -> Descended:
    """Find the most plausible point near a start, by damped Gauss-Newton steps.

    ``min sum k^2/2 ln(1 + (r_i / (k sigma))^2) + sum ((p_j - m_j) / s_j)^2 / 2``, k = 2.385

    Parameters
    ----------
    model : callable
        Temperatures (k, n) in degrees Celsius of points (k, d).
    start : ndarray, shape (d,)
        Where to begin.
    readings_celsius : ndarray, shape (n,)
        What was read, in degrees Celsius.
    sigma_kelvin : float
        Usual size of the residuals in K.
    prior : Prior
        Of the d coordinates.
    most_count : int
        The most steps tried.

    Returns
    -------
    Descended
        The point, its residuals (reading - model), slopes and cost.

    Valid
    -----
    Finds the minimum of the start's own valley. Slopes are central differences over 2e-4.

    Source
    ------
    Levenberg-Marquardt with reweighting, from memory; held to scipy in a test.

    Examples
    --------
    >>> import numpy as np
    >>> line = lambda points: points[:, :1] * np.array([[1.0, 2.0, 3.0]])
    >>> prior = Prior(np.zeros(1), np.full(1, 1e6))
    >>> found = descend(line, np.zeros(1), np.array([2.0, 4.0, 6.0]), 1.0, prior, most_count=9)
    >>> found.point.round(6)
    array([2.])
    """
    here = _look(model, start, readings_celsius, sigma_kelvin, prior)
    stiffness = np.diag(prior.spreads**-2.0)
    damping = 1e-3
    for _ in range(most_count):
        weights = cauchy_weights(here.residuals_kelvin, sigma_kelvin) / sigma_kelvin**2
        curvature = (here.slopes * weights[:, None]).T @ here.slopes + stiffness
        pull = here.slopes.T @ (weights * here.residuals_kelvin)
        pull += stiffness @ (prior.means - here.point)
        damped = curvature + damping * np.diag(np.diag(curvature))
        step = np.clip(np.linalg.solve(damped, pull), -1.5, 1.5)
        there = _look(model, here.point + step, readings_celsius, sigma_kelvin, prior)
        if there.cost <= here.cost:
            gained = here.cost - there.cost
            here, damping = there, max(damping / 8.0, 1e-12)
            if np.abs(step).max() < 1e-9 or gained < 1e-13 * (1.0 + abs(here.cost)):
                break
        else:
            damping *= 6.0
            if damping > 1e9:
                break
    return here


def between_responses(table: Matrix, log_heating: Point, log_band: Point) -> Matrix:
    """Read a table of responses between its entries.

    ``phi = sum_ab l_a(x) l_b(y) table_ab``, l the cubic Lagrange polynomials of four neighbours

    Parameters
    ----------
    table : ndarray, shape (20, 11, n)
        As ``response_table`` gives it.
    log_heating, log_band : ndarray, shape (k,)
        Logarithms of the heating time constant in s and of cooling over heating constant.

    Returns
    -------
    ndarray, shape (k, n)
        Fractions of the steady rise.

    Valid
    -----
    Within 0.002 of ``responses`` inside the table; outside, the border holds.

    Source
    ------
    Lagrange interpolation; the error is measured in a test, definition made here.

    Examples
    --------
    >>> import numpy as np
    >>> from .thermal_response import response_table
    >>> table = response_table([0.0], [600.0], [600.0])
    >>> float(between_responses(table, np.log([1200.0]), np.log([2.0]))[0, 0].round(2))
    0.39
    """
    rows, first = _cubic((log_heating - math.log(TABLE_SECONDS[0])) / 0.33, len(TABLE_SECONDS))
    columns, left = _cubic((log_band - math.log(BAND_FRACTIONS[0])) / 0.33, len(BAND_FRACTIONS))
    found = np.zeros((first.size, table.shape[2]))
    for row in range(4):
        for column in range(4):
            share = (rows[row] * columns[column])[:, None]
            found += share * table[first + row, left + column]
    return found


def _cubic(index: Point, count: int) -> tuple[list[Weights], NDArray[np.int64]]:
    index = np.clip(index, 0.0, count - 1.0)
    first = np.clip(np.floor(index).astype(np.int64) - 1, 0, count - 4)
    x = index - first
    return [
        -(x - 1) * (x - 2) * (x - 3) / 6,
        x * (x - 2) * (x - 3) / 2,
        -x * (x - 1) * (x - 3) / 2,
        x * (x - 1) * (x - 2) / 6,
    ], first


def _look(
    model: Model, point: Point, readings_celsius: Floats, sigma_kelvin: float, prior: Prior
) -> Descended:
    count = point.size
    moves = SMALLEST_STEP * np.eye(count)
    said = model(np.concatenate([point[None], point + moves, point - moves]))
    residuals = readings_celsius - said[0]
    slopes = (said[1 : count + 1] - said[count + 1 :]).T / (2 * SMALLEST_STEP)
    wild = np.log1p((residuals / (CAUCHY_COUNT * sigma_kelvin)) ** 2)
    cost = CAUCHY_COUNT**2 / 2 * float(wild.sum())
    cost += float((((point - prior.means) / prior.spreads) ** 2).sum()) / 2
    return Descended(point, residuals, slopes, cost)
