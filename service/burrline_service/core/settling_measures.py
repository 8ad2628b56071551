"""The numbers of a fit with their two-sided 95 % limits; what is not bounded is None."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from .settling_fit import Fit, believed, bounds_to_come, misfit_limit_ratio
from .settling_limits import half_widths_response, union_limits
from .settling_profile import LARGEST_TAU_GRAMS, Floats, conditional_values
from .settling_series import within_variance

TWO_SIDED_PROBABILITY = 0.975
Bound: TypeAlias = float | None


@dataclass(frozen=True)
class Limits:
    """A number with its limits, in the unit that the field holding it is named for."""

    low: Bound
    best: Bound
    high: Bound


@dataclass(frozen=True)
class ResponseFit:
    """What the checkpoints tell of one response: D50 in micrometres, fines as a fraction.

    ``most_to_come_response`` and ``least_to_come_response`` are one-sided 95 % bounds for tau up
    to 30 kg, the ones the verdict rests on; ``remaining`` is signed and two-sided.
    ``settles_at_grams`` counts like the checkpoints.
    """

    name: str
    start: Limits
    settled: Limits
    remaining: Limits
    change: Limits
    settles_at_grams: Limits
    least_to_come_response: float | None
    most_to_come_response: float | None
    most_change_response: float | None
    smallest_change_response: float
    session_sd_response: float
    session_basis: str
    within_sd_response: float
    freedom_count: int
    birge_ratio: float
    is_change_shown: bool


def measure_response(
    fit: Fit, to_come: tuple[float, float], at_grams: float, *, is_flat: bool
) -> ResponseFit:
    """Give start, settled value, change and what remains of one response, with their limits.

    ``L_lo = min over S of L_k - sqrt(V_k (c - Q_k)), L_hi likewise, c = Q_min + t_(0.975)^2 B``

    Parameters
    ----------
    fit : Fit
        On the whole grid of tau.
    to_come : tuple of float
        Least and most change still to come, from ``bounds_to_come``.
    at_grams : float
        Grams since the origin, for what remains.
    is_flat : bool
        No change could be measured: the best values of the change say nothing and are left out.

    Returns
    -------
    ResponseFit
        Rounded to 9 significant digits.

    Raises
    ------
    ValueError
        Shapes that do not fit each other.

    Valid
    -----
    Where a straight line fits too, tau has no upper limit; the settled value and what remains
    then have none on the side of the change, and on neither when its sign is open. A best tau
    above 30 kg is not believed, and no best value that rests on it is told.

    Source
    ------
    ``union_limits``

    Examples
    --------
    >>> from burrline_service.core.settling_fit import fit_series
    >>> from burrline_service.core.settling_series import example_series
    >>> fit = fit_series([example_series()]).fits[0]
    >>> measured = measure_response(fit, (0.0, 9.6), 20_000.0, is_flat=False)
    >>> round(measured.settled.low), round(measured.settled.best), round(measured.settled.high)
    (329, 335, 355)
    """
    profile, best = fit.profile, int(fit.misfit_ratio.argmin())
    is_best_told = not is_flat and bool(profile.tau_grams[best] <= LARGEST_TAU_GRAMS)
    limit = misfit_limit_ratio(fit, TWO_SIDED_PROBABILITY)
    is_line = fit.line_ratio <= limit
    change = union_limits(
        profile.change_response, profile.change_sd_response, fit.misfit_ratio, limit
    )
    left = np.exp(-at_grams / profile.tau_grams)

    def _limits(value: Floats, sd: Floats, *, is_of_change: bool = True) -> Limits:
        low, high = union_limits(value, sd, fit.misfit_ratio, limit)
        if is_line and is_of_change:
            low = -math.inf if change[0] <= 0 else low
            high = math.inf if change[1] >= 0 else high
        is_told = is_best_told or not is_of_change
        return Limits(
            significant(low), significant(value[best]) if is_told else None, significant(high)
        )

    with np.errstate(invalid="ignore"):
        left_sd = np.where(left == 0, 0.0, profile.change_sd_response * left)
    start, start_sd = conditional_values(profile, np.array(0.0))
    settled, settled_sd = conditional_values(profile, np.array(1.0))
    when = limits_of_settling(fit, TWO_SIDED_PROBABILITY)
    within, _ = within_variance(fit.series)
    return ResponseFit(
        name=fit.series.name,
        start=_limits(start, start_sd, is_of_change=False),
        settled=_limits(settled, settled_sd),
        remaining=_limits(profile.change_response * left, left_sd),
        change=_limits(profile.change_response, profile.change_sd_response),
        settles_at_grams=when if is_best_told else Limits(when.low, None, when.high),
        least_to_come_response=significant(to_come[0]),
        most_to_come_response=significant(to_come[1]),
        most_change_response=significant(bounds_to_come(believed(fit), 0.0)[1]),
        smallest_change_response=float(f"{fit.series.change_response:.9g}"),
        session_sd_response=float(f"{fit.series.session.sd_response:.9g}"),
        session_basis=fit.series.session.basis,
        within_sd_response=float(f"{math.sqrt(within):.9g}"),
        freedom_count=fit.freedom_count,
        birge_ratio=float(f"{fit.birge_ratio:.9g}"),
        is_change_shown=not is_flat,
    )


def limits_of_tau(fit: Fit) -> Limits:
    """Give tau with its two-sided 95 % limits.

    ``ends of S = {k : Q_k <= c};  0 below if a step fits too, none above if a line does``

    Parameters
    ----------
    fit : Fit
        On the whole grid.

    Returns
    -------
    Limits
        Grams.

    Raises
    ------
    ValueError
        An empty grid.

    Valid
    -----
    To the step of the grid, 2.9 %.

    Source
    ------
    ``union_limits``

    Examples
    --------
    >>> from burrline_service.core.settling_fit import fit_series
    >>> from burrline_service.core.settling_series import example_series
    >>> tau = limits_of_tau(fit_series([example_series()]).fits[0])
    >>> round(tau.low), round(tau.best), round(tau.high)
    (2304, 5623, 17783)
    """
    limit = misfit_limit_ratio(fit, TWO_SIDED_PROBABILITY)
    inside = fit.profile.tau_grams[fit.misfit_ratio <= limit]
    low = 0.0 if fit.step_ratio <= limit else float(inside[0])
    high = math.inf if fit.line_ratio <= limit else float(inside[-1])
    best = float(fit.profile.tau_grams[int(fit.misfit_ratio.argmin())])
    return Limits(
        significant(low),
        significant(best if best <= LARGEST_TAU_GRAMS else None),
        significant(high),
    )


def limits_of_settling(fit: Fit, probability: float) -> Limits:
    """Give the kilograms at which only the change that does not matter is still to come.

    ``m_delta = max(0, tau ln(|A| / delta)), monotone in |A| given tau``

    Parameters
    ----------
    fit : Fit
        On the whole grid or restricted to the tau that are believed.
    probability : float
        Of the quantile of Student's t: 0.975 for two-sided 95 %.

    Returns
    -------
    Limits
        Grams, counted like the checkpoints; no upper one when a straight line fits too.

    Raises
    ------
    ValueError
        The probability is not between 0 and 1.

    Valid
    -----
    Never before the first checkpoint, the origin of the curve.

    Source
    ------
    ``union_limits``

    Examples
    --------
    >>> from burrline_service.core.settling_fit import believed, fit_series
    >>> from burrline_service.core.settling_series import example_series
    >>> when = limits_of_settling(fit_series([example_series()]).fits[0], 0.95)
    >>> round(when.low), round(when.best), round(when.high)
    (3479, 7607, 20836)
    """
    limit = misfit_limit_ratio(fit, probability)
    inside = fit.misfit_ratio <= limit
    tau = fit.profile.tau_grams[inside]
    size = np.abs(fit.profile.change_response[inside])
    half = half_widths_response(fit.profile.change_sd_response, fit.misfit_ratio, limit)[inside]
    delta = max(fit.series.change_response, 1e-300)
    low = tau * np.log(np.maximum(size - half, delta) / delta)
    high = tau * np.log(np.maximum(size + half, delta) / delta)
    at = int(fit.misfit_ratio.argmin())
    best_size = abs(float(fit.profile.change_response[at]))
    best = float(fit.profile.tau_grams[at]) * math.log(max(best_size, delta) / delta)
    origin = fit.series.origin_grams
    is_line = fit.line_ratio <= limit
    return Limits(
        significant(origin + float(low.min())),
        significant(origin + best),
        significant(math.inf if is_line else origin + float(high.max())),
    )


def significant(number: Bound) -> Bound:
    """Round a number to nine significant digits; what is not finite becomes None.

    ``0.1 + 0.2 -> 0.3``

    Parameters
    ----------
    number : float or None
        Any.

    Returns
    -------
    float or None
        The rounded number.

    Raises
    ------
    TypeError
        It is no number.

    Valid
    -----
    Everywhere.

    Source
    ------
    Our choice: below these digits machines may differ.

    Examples
    --------
    >>> significant(0.1 + 0.2), significant(float("inf"))
    (0.3, None)
    """
    if number is None or not math.isfinite(number):
        return None
    return float(f"{number:.9g}")
