"""Probabilities and quantiles read off a posterior of the break-in."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TypeAlias

import numpy as np

from .settling_measures import Limits, significant
from .settling_posterior import Posterior
from .settling_profile import GRID_GRAMS, Floats

_TABLE_STEPS = 2048  # per unit of the normal distribution's table
_TABLE_REACH = 8

_Nodes: TypeAlias = tuple[Floats, Floats, Floats, Floats, float]


def settled_probability(posterior: Posterior, at_grams: float) -> float:
    """Give the probability that no more than the change that does not matter is still to come.

    ``P(|R(M)| < delta) = sum of weight (Phi((delta e^(M / tau) - mu_A) / s_A) - Phi((-delta e^(M
    / tau) - mu_A) / s_A))``

    Parameters
    ----------
    posterior : Posterior
        What was measured, and the prior.
    at_grams : float
        Grams through the burrs, counted like the checkpoints.

    Returns
    -------
    float
        Probability.

    Raises
    ------
    ValueError
        The posterior has no nodes.

    Valid
    -----
    A forecast, no test: for slow burrs it is far too sure.

    Source
    ------
    ``make_posterior``

    Examples
    --------
    >>> from burrline_service.core.prior import FLAT_98
    >>> from burrline_service.core.settling_posterior import make_posterior
    >>> from burrline_service.core.settling_series import example_series
    >>> 0.9 < settled_probability(make_posterior(example_series(), FLAT_98), 20_000.0) < 1
    True
    """
    return _settled(_heavy(posterior), at_grams - posterior.origin_grams)


def settling_quantiles(
    posterior: Posterior, quantiles_probability: tuple[float, ...] = (0.025, 0.5, 0.975)
) -> tuple[float, ...]:
    """Give the kilograms at which so much of the probability has settled.

    ``P(|R(x)| < delta) = q``, solved for x

    Parameters
    ----------
    posterior : Posterior
        What was measured, and the prior.
    quantiles_probability : tuple of float
        Each between 0 and 1.

    Returns
    -------
    tuple of float
        Grams, counted like the checkpoints; never before the first one.

    Raises
    ------
    ValueError
        The posterior has no nodes.

    Valid
    -----
    To 0.01 g, with probabilities to 1e-7.

    Source
    ------
    ``settled_probability``

    Examples
    --------
    >>> from burrline_service.core.prior import FLAT_98
    >>> from burrline_service.core.settling_posterior import make_posterior
    >>> from burrline_service.core.settling_series import example_series
    >>> round(settling_quantiles(make_posterior(example_series(), FLAT_98), (0.5,))[0] / 1000)
    8
    """
    heavy, light = _heavy(posterior), _light(posterior)
    found = []
    for wanted in quantiles_probability:
        grams = 0.0
        if _settled(heavy, 0.0) < wanted:
            # the few nodes find the place, the many settle it
            guess = _crossing(light, wanted, 0.0, 10_000.0, 1.0)
            grams = _crossing(heavy, wanted, 0.98 * guess, 1.02 * guess + 10.0, 1e-3)
        found.append(posterior.origin_grams + grams)
    return tuple(found)


def tau_quantiles(
    posterior: Posterior, quantiles_probability: tuple[float, ...] = (0.025, 0.5, 0.975)
) -> Limits:
    """Give three quantiles of tau.

    ``CDF_k = sum of the weights below k + half of that at k``, interpolated

    Parameters
    ----------
    posterior : Posterior
        What was measured, and the prior.
    quantiles_probability : tuple of float
        Of the low limit, the best value and the high limit.

    Returns
    -------
    Limits
        Grams.

    Raises
    ------
    IndexError
        Fewer than three quantiles.

    Valid
    -----
    Between 0.1 and 1000 kg.

    Source
    ------
    ``make_posterior``

    Examples
    --------
    >>> from burrline_service.core.prior import FLAT_98
    >>> from burrline_service.core.settling_posterior import make_posterior
    >>> from burrline_service.core.settling_series import example_series
    >>> round(tau_quantiles(make_posterior(example_series(), FLAT_98)).best / 1000, 1)
    6.0
    """
    by_tau = posterior.weight_probability.sum(axis=(0, 1))
    below = np.cumsum(by_tau) - by_tau / 2
    low, best, high = (
        math.exp(float(np.interp(q, below, np.log(GRID_GRAMS)))) for q in quantiles_probability
    )
    return Limits(significant(low), significant(best), significant(high))


def _heavy(posterior: Posterior) -> _Nodes:
    """The nodes that weigh anything, flat."""
    weight = posterior.weight_probability
    kept = weight > 1e-8 * weight.max()
    return (
        weight[kept] / weight[kept].sum(),
        posterior.tau_grams[kept],
        posterior.change_response[kept],
        posterior.change_sd_response[kept],
        posterior.smallest_change_response,
    )


def _light(posterior: Posterior) -> _Nodes:
    """One node per tau, with the mean and the variance over the scatter and the components."""
    weight = posterior.weight_probability
    by_tau = weight.sum(axis=(0, 1))
    safe = np.maximum(by_tau, 1e-300)
    mean = (weight * posterior.change_response).sum(axis=(0, 1)) / safe
    second = posterior.change_response**2 + posterior.change_sd_response**2
    variance = (weight * second).sum(axis=(0, 1)) / safe - mean * mean
    kept = by_tau > 1e-9 * by_tau.max()
    sd = np.sqrt(np.maximum(variance[kept], 1e-24))
    weight = by_tau[kept] / by_tau[kept].sum()
    return weight, GRID_GRAMS[kept], mean[kept], sd, posterior.smallest_change_response


def _crossing(
    nodes: _Nodes, wanted: float, low_grams: float, high_grams: float, close_grams: float
) -> float:
    """The grams at which the nodes' probability reaches a value, from a first guess."""
    low, high = low_grams, high_grams
    at_low, at_high = _settled(nodes, low) - wanted, _settled(nodes, high) - wanted
    while at_low > 0 and low > 0:
        step = max(2 * (high - low), 1.0)
        high, at_high, low = low, at_low, max(0.0, low - step)
        at_low = _settled(nodes, low) - wanted
    if at_low >= 0:
        return 0.0
    while at_high < 0 and high < 1e12:
        low, at_low, high = high, at_high, high + max(2 * (high - low), 1.0)
        at_high = _settled(nodes, high) - wanted
    side = middle = last = 0.0
    for turn in range(200):
        last, middle = middle, (low * at_high - high * at_low) / (at_high - at_low)
        if turn % 8 == 7 or not low < middle < high:
            middle = (low + high) / 2
        value = _settled(nodes, middle) - wanted
        if abs(middle - last) < close_grams or high - low < close_grams:
            break
        if value < 0:
            low, at_low = middle, value
            at_high *= 0.5 if side < 0 else 1.0  # false position in the Illinois form
            side = -1.0
        else:
            high, at_high = middle, value
            at_low *= 0.5 if side > 0 else 1.0
            side = 1.0
    return middle


def _settled(nodes: _Nodes, grams: float) -> float:
    weight, tau, change, sd, delta = nodes
    edge = delta * np.exp(np.minimum(grams / tau, 600.0))
    upper = _normal_probabilities((edge - change) / sd)
    # summed by numpy itself: a long dot product would start threads
    return float((weight * (upper - _normal_probabilities((-edge - change) / sd))).sum())


@lru_cache(maxsize=1)
def _normal_table() -> tuple[Floats, Floats]:
    nodes = range(-_TABLE_REACH * _TABLE_STEPS, _TABLE_REACH * _TABLE_STEPS + 2)
    below = np.array([math.erfc(-node / _TABLE_STEPS / math.sqrt(2)) / 2 for node in nodes])
    return below, np.append(np.diff(below), 0.0)


def _normal_probabilities(x: Floats) -> Floats:
    """Phi by a table in steps of 1/2048 (error below 1e-8)."""
    below, rise = _normal_table()
    place = np.clip(x * _TABLE_STEPS, -_TABLE_REACH * _TABLE_STEPS, _TABLE_REACH * _TABLE_STEPS)
    place += _TABLE_REACH * _TABLE_STEPS
    left = place.astype(np.intp)
    return below[left] + (place - left) * rise[left]
