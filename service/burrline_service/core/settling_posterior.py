"""How many kilograms are left, from what such burrs usually do and what was measured so far.

A gridded posterior of tau and of the replicates' scatter; given both, everything is normal. It
serves the forecast and the choice of the next checkpoint, and never a verdict: with a prior, slow
burrs would be called settled.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .prior import VAGUE, BurrClass
from .settling_profile import GRID_GRAMS, Floats
from .settling_series import Series

FINES_PER_D50_RATIO = 2.5
"""Fines change by this much more of themselves than D50 (our choice: 12 % of D50 go with about 4
of 14 points of fines)."""
_STEPS_COUNT = 25  # of the replicates' scatter, over four times to a quarter of its usual size
_PRIOR_FREEDOM = 4.0


@dataclass(frozen=True)
class PriorScales:
    """Scales of the prior in the unit of the response; the start has a wide prior of its own.

    Without ``change_sd_response`` the change's scale is its class's share of the first mean.
    """

    start_response: float
    start_sd_response: float
    usual_scatter_response: float
    change_sd_response: float | None = None


@dataclass(frozen=True, eq=False)
class Posterior:
    """Weights over nodes (component of the prior, scatter, tau), with what is normal given each."""

    weight_probability: Floats
    tau_grams: Floats
    change_response: Floats
    change_sd_response: Floats
    settled_response: Floats
    settled_sd_response: Floats
    class_probability: float
    origin_grams: float
    smallest_change_response: float


def make_posterior(
    series: Series, burr_class: BurrClass, *, scales: PriorScales | None = None
) -> Posterior:
    """Weigh every tau and scatter by the prior of a class of burrs and by what was measured.

    ``y = y0 + A (1 - exp(-m / tau)),  y0 ~ N(first, wide),  A ~ N(0, A_sd^2),  ln tau ~ half the
    class, half the vague class,  sigma^2 ~ scaled inverse chi-square(4, s0)``

    Parameters
    ----------
    series : Series
        One response, from one checkpoint on.
    burr_class : BurrClass
        What such burrs usually do.
    scales : PriorScales or None
        None = the first mean, 30 % of it, and a scatter of 2 % of it (5 % for fines).

    Returns
    -------
    Posterior
        Weights sum to 1.

    Raises
    ------
    ValueError
        No scatter at all can be had from the scales.

    Valid
    -----
    A proper prior of A is needed: with a flat one tau would run away. Another lot's or seating's
    level step has the wide prior of the start.

    Source
    ------
    Derived here: conjugate normal algebra on a grid; the mixture with a vague part is that of
    robust priors, Schmidli et al. 2014 (from memory).

    Examples
    --------
    >>> from burrline_service.core.prior import FLAT_98
    >>> from burrline_service.core.settling_series import example_series
    >>> round(float(make_posterior(example_series(), FLAT_98).weight_probability.sum()), 9)
    1.0
    """
    first = abs(float(series.means_response[0]))
    floor = 1.0 if series.name == "d50" else 0.005
    first = max(first, floor)
    if scales is None:
        usual = (0.02 if series.name == "d50" else 0.05) * first
        scales = PriorScales(float(series.means_response[0]), 0.3 * first, usual)
    steps = (np.arange(_STEPS_COUNT) - (_STEPS_COUNT - 1) / 2) / ((_STEPS_COUNT - 1) / 2)
    sigma = np.asarray(scales.usual_scatter_response * 4.0**steps, dtype=np.float64)
    is_vague = burr_class is VAGUE
    mixture = [(1.0, VAGUE)] if is_vague else [(0.5, burr_class), (0.5, VAGUE)]
    logs, parts = [], []
    cache: dict[float, tuple[Floats, tuple[Floats, ...]]] = {}
    for share, component in mixture:
        size = component.change_fraction * first
        size *= FINES_PER_D50_RATIO if series.name == "fines" else 1.0
        size = size if scales.change_sd_response is None else scales.change_sd_response
        if size not in cache:
            cache[size] = _given_nodes(series, scales, sigma, size)
        likelihood, normal = cache[size]
        away = np.log(GRID_GRAMS / component.tau_grams) / component.log_tau_sd
        prior = math.log(share / component.log_tau_sd) - away * away / 2
        logs.append(likelihood + prior[None, :])
        parts.append(normal)
    log = np.stack(logs)
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    stacked = [np.stack([part[i] for part in parts]) for i in range(4)]
    return Posterior(
        weight_probability=weight,
        tau_grams=np.broadcast_to(GRID_GRAMS, weight.shape),
        change_response=stacked[0],
        change_sd_response=stacked[1],
        settled_response=stacked[2],
        settled_sd_response=stacked[3],
        class_probability=1.0 if is_vague else float(weight[0].sum()),
        origin_grams=series.origin_grams,
        smallest_change_response=series.change_response,
    )


def _given_nodes(
    series: Series, scales: PriorScales, sigma: Floats, size_response: float
) -> tuple[Floats, tuple[Floats, ...]]:
    """Log likelihood by (scatter, tau), and mean and sd of the change and the settled value."""
    fixed = series.session.sd_response**2 + series.shift_sd_response**2
    floor = (1e-9 * max(scales.usual_scatter_response, 1e-12)) ** 2
    variance = fixed[None, :] + sigma[:, None] ** 2 / series.replicates_count[None, :]
    w = 1.0 / np.maximum(variance, floor)
    weights = w[:, :, None] * np.eye(len(series.grams))
    log = np.log(w).sum(axis=1) / 2
    steps = series.levels_count[:, 1:]
    if steps.shape[1]:
        wide = scales.start_sd_response**2
        wd = w[:, :, None] * steps[None]
        inner = np.eye(steps.shape[1]) / wide + steps.T @ wd
        weights = weights - wd @ np.linalg.solve(inner, np.swapaxes(wd, 1, 2))
        log = log - np.linalg.slogdet(inner)[1] / 2
    z = series.means_response - scales.start_response
    g = -np.expm1(-series.grams[None, :] / GRID_GRAMS[:, None])
    zw = weights @ z
    gw = g @ weights  # (scatter, tau, checkpoint)
    p00 = weights.sum(axis=(1, 2))[:, None] + 1 / scales.start_sd_response**2
    p01 = gw.sum(axis=2)
    p11 = (gw * g).sum(axis=2) + 1 / size_response**2
    b0, b1 = zw.sum(axis=1)[:, None], zw @ g.T
    det = p00 * p11 - p01 * p01
    start = (p11 * b0 - p01 * b1) / det
    change = (p00 * b1 - p01 * b0) / det
    fitted = start * b0 + change * b1
    squares = (zw @ z)[:, None]
    freedom = series.freedom_count + _PRIOR_FREEDOM
    spread = series.within_squares + _PRIOR_FREEDOM * scales.usual_scatter_response**2
    of_sigma = -freedom * np.log(sigma) - spread / (2 * sigma * sigma)
    log_all = (
        (log + of_sigma)[:, None]
        - (squares - fitted) / 2
        - np.log(det) / 2
        - math.log(size_response)
    )
    settled = scales.start_response + start + change
    settled_variance = (p00 + p11 - 2 * p01) / det
    return log_all, (change, np.sqrt(p00 / det), settled, np.sqrt(settled_variance))
