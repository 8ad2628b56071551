"""Limits of a profile likelihood as unions of intervals that hold given tau."""

from __future__ import annotations

import math

import numpy as np

from .settling_profile import Floats


def union_limits(
    value_response: Floats, sd_response: Floats, misfit_ratio: Floats, limit_ratio: float
) -> tuple[float, float]:
    """Unite the intervals conditional on tau into the limits of the profile likelihood.

    ``low = min over Q_k <= c of L_k - sd_k sqrt(c - Q_k);  high = max of L_k + sd_k sqrt(c -
    Q_k)``

    Parameters
    ----------
    value_response, sd_response : array of shape (K,)
        A quantity that is linear in start and change, given tau, and its standard deviation.
    misfit_ratio : array of shape (K,)
        Q by tau.
    limit_ratio : float
        c, the largest misfit that is believed.

    Returns
    -------
    tuple of float
        Low and high limit; infinite both ways when no tau is believed.

    Raises
    ------
    ValueError
        Shapes that do not fit each other.

    Valid
    -----
    Exact on the grid.

    Source
    ------
    Bates and Watts 1988, chapter 6, profile likelihood (from memory); the union is derived here:
    for fixed L the profiled misfit is the least of Q_k + (L - L_k)^2 / V_k.

    Examples
    --------
    >>> union_limits(np.array([1.0, 2.0]), np.array([1.0, 1.0]), np.array([0.0, 3.0]), 4.0)
    (-1.0, 3.0)
    """
    half = half_widths_response(sd_response, misfit_ratio, limit_ratio)
    inside = misfit_ratio <= limit_ratio
    if not inside.any():
        return -math.inf, math.inf
    low = (value_response - half)[inside].min()
    high = (value_response + half)[inside].max()
    return float(low), float(high)


def half_widths_response(sd_response: Floats, misfit_ratio: Floats, limit_ratio: float) -> Floats:
    """Give half the width of each interval conditional on tau.

    ``h_k = sd_k sqrt(c - Q_k)``, and 0 where Q_k is above c

    Parameters
    ----------
    sd_response : array of shape (..., K)
        Standard deviation given tau.
    misfit_ratio : array of shape (..., K)
        Q by tau.
    limit_ratio : float
        c, the largest misfit that is believed.

    Returns
    -------
    array of shape (..., K)
        In the unit of the standard deviation; infinite where that is.

    Raises
    ------
    ValueError
        Shapes that do not fit each other.

    Valid
    -----
    Everywhere.

    Source
    ------
    ``union_limits``

    Examples
    --------
    >>> half_widths_response(np.array([2.0]), np.array([0.0]), 9.0)
    array([6.])
    """
    room = np.sqrt(np.maximum(limit_ratio - misfit_ratio, 0.0))
    with np.errstate(invalid="ignore"):
        return np.where(np.isinf(sd_response), np.inf, sd_response * room)
