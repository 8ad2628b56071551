"""The rule for checkpoints: how much of the change is still to come, at most and at least."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from .quantiles import f_ratio, student_t_ratio
from .settling_limits import half_widths_response
from .settling_profile import Floats, Profile, only_believed, profile_curve
from .settling_series import Series

RULE_PROBABILITY = 0.95
"""One-sided, of the largest and of the least change still to come."""
CONFLICT_PROBABILITY = 0.80
"""Two responses that disagree more than this on tau are judged each on its own."""


@dataclass(frozen=True, eq=False)
class Fit:
    """One response's fit, and the misfit by tau that its limits go by.

    With a shared tau the misfit is the sum over the responses; ``base_ratio`` is its least value,
    ``birge_ratio`` by how much points scatter more than they should (at least 1).
    """

    series: Series
    profile: Profile
    misfit_ratio: Floats
    line_ratio: float
    step_ratio: float
    base_ratio: float
    birge_ratio: float
    left_count: int
    freedom_count: int


@dataclass(frozen=True, eq=False)
class Fits:
    """The fits of the responses that carry a verdict, on the whole grid of tau."""

    fits: tuple[Fit, ...]
    is_shared: bool
    conflict_ratio: float | None
    conflict_limit_ratio: float | None


def fit_series(chosen: Sequence[Series]) -> Fits:
    """Fit the responses, with one tau for both unless they contradict each other.

    ``Q_min = min_k sum_r Q_k;  B = max(1, Q_min / (sum_r (J_r - columns_r - 1) - 1))``

    Parameters
    ----------
    chosen : sequence of Series
        One or two responses.

    Returns
    -------
    Fits
        In the order given.

    Raises
    ------
    ValueError
        No response, or one without degrees of freedom.

    Valid
    -----
    The conflict is judged over tau up to 30 kg.

    Source
    ------
    Derived here (see the simulation of the rule); the factor B is that of Birge 1932 (from memory).

    Examples
    --------
    >>> fit_series([])
    Traceback (most recent call last):
    ...
    ValueError: there is no response to fit
    """
    if not chosen:
        raise ValueError("there is no response to fit")
    profiles = [
        profile_curve(s.grams, s.means_response, s.sd_response, levels_count=s.levels_count)
        for s in chosen
    ]
    return combine_profiles(chosen, profiles)


def combine_profiles(chosen: Sequence[Series], profiles: Sequence[Profile]) -> Fits:
    """Decide whether responses share one tau, and gather what their limits go by.

    ``conflict = min_k sum_r Q_k - sum_r min_k Q_k;  shared if conflict <= F(0.80; 1, nu)``

    Parameters
    ----------
    chosen : sequence of Series
        One or two responses.
    profiles : sequence of Profile
        Their fits, on one grid.

    Returns
    -------
    Fits
        In the order given.

    Raises
    ------
    ValueError
        A response without degrees of freedom.

    Source
    ------
    ``fit_series``

    Examples
    --------
    >>> from burrline_service.core.settling_series import example_series
    >>> series = example_series()
    >>> profile = profile_curve(series.grams, series.means_response, series.sd_response)
    >>> combine_profiles([series], [profile]).is_shared
    True
    """
    freedom = min(s.freedom_count for s in chosen)
    conflict = limit = None
    is_shared = len(chosen) == 1
    if len(chosen) > 1:
        near = [only_believed(profile).misfit_ratio for profile in profiles]
        together = sum(near[1:], near[0])
        conflict = float(together.min()) - math.fsum(float(q.min()) for q in near)
        limit = f_ratio(CONFLICT_PROBABILITY, 1, freedom)
        is_shared = conflict <= limit
    groups = [list(range(len(chosen)))] if is_shared else [[place] for place in range(len(chosen))]
    fits: list[Fit] = []
    for group in groups:
        misfit = sum((profiles[i].misfit_ratio for i in group[1:]), profiles[group[0]].misfit_ratio)
        base = float(misfit.min())
        left = sum(len(chosen[i].grams) - chosen[i].levels_count.shape[1] - 1 for i in group) - 1
        for place in group:
            fits.append(
                Fit(
                    series=chosen[place],
                    profile=profiles[place],
                    misfit_ratio=misfit,
                    line_ratio=math.fsum(float(profiles[i].line_ratio) for i in group),
                    step_ratio=math.fsum(float(profiles[i].step_ratio) for i in group),
                    base_ratio=base,
                    birge_ratio=_birge(base, left),
                    left_count=left,
                    freedom_count=min(chosen[i].freedom_count for i in group),
                )
            )
    return Fits(tuple(fits), is_shared, conflict, limit)


def believed(fit: Fit) -> Fit:
    """Restrict a fit to the tau that are believed, its base and Birge factor with it.

    ``tau_k <= 30 kg``

    Parameters
    ----------
    fit : Fit
        On the whole grid.

    Returns
    -------
    Fit
        On the grid up to 30 kg.

    Raises
    ------
    IndexError
        The arrays do not share their last axis.

    Valid
    -----
    For a fit on the whole grid.

    Source
    ------
    Our choice: see ``settling_profile.LARGEST_TAU_GRAMS``.

    Examples
    --------
    >>> from burrline_service.core.settling_series import example_series
    >>> fit = fit_series([example_series()]).fits[0]
    >>> len(fit.profile.tau_grams), len(believed(fit).profile.tau_grams)
    (321, 199)
    """
    profile = only_believed(fit.profile)
    misfit = fit.misfit_ratio[: len(profile.tau_grams)]
    base = float(misfit.min())
    return replace(
        fit,
        profile=profile,
        misfit_ratio=misfit,
        base_ratio=base,
        birge_ratio=_birge(base, fit.left_count),
        line_ratio=math.inf,  # no straight line is believed
    )


def misfit_limit_ratio(fit: Fit, probability: float) -> float:
    """Give the largest misfit that is believed at a level of confidence.

    ``c = Q_min + t^2 B,  t = t_nu(probability)``

    Parameters
    ----------
    fit : Fit
        A fit.
    probability : float
        Of the quantile of Student's t: 0.95 one-sided, 0.975 for two-sided 95 %.

    Returns
    -------
    float
        Weighted sum of squares.

    Raises
    ------
    ValueError
        The probability is not between 0 and 1.

    Valid
    -----
    From one degree of freedom on.

    Source
    ------
    Bates and Watts 1988, chapter 6 (from memory), with the Birge factor for the variance.

    Examples
    --------
    >>> from burrline_service.core.settling_series import example_series
    >>> fit = fit_series([example_series()]).fits[0]
    >>> round(misfit_limit_ratio(fit, 0.975) - fit.base_ratio, 3)
    4.965
    """
    return fit.base_ratio + student_t_ratio(probability, fit.freedom_count) ** 2 * fit.birge_ratio


def bounds_to_come(fit: Fit, at_grams: float) -> tuple[float, float]:
    """Bound the size of the change still to come at some kilograms, from below and above.

    ``U = max over S of (|A_k| + h_k) exp(-M / tau_k);  D = min over S of max(|A_k| - h_k, 0)
    exp(-M / tau_k);  S = {k : Q_k <= c}``

    Parameters
    ----------
    fit : Fit
        A response, restricted to the tau that are believed.
    at_grams : float
        M, grams since the origin.

    Returns
    -------
    tuple of float
        D and U, each with 95 % confidence on its side, in the unit of the response.

    Raises
    ------
    ValueError
        Shapes that do not fit each other.

    Valid
    -----
    For tau up to 30 kg only; U may be infinite.

    Source
    ------
    ``union_limits``

    Examples
    --------
    >>> from burrline_service.core.settling_series import example_series
    >>> fit = fit_series([example_series()]).fits[0]
    >>> least, most = bounds_to_come(believed(fit), 20_000.0)
    >>> 0 < least < 1 and 9 < most < 10
    True
    """
    limit = misfit_limit_ratio(fit, RULE_PROBABILITY)
    inside = fit.misfit_ratio <= limit
    size = np.abs(fit.profile.change_response[inside])
    half = half_widths_response(fit.profile.change_sd_response, fit.misfit_ratio, limit)[inside]
    left = np.exp(-at_grams / fit.profile.tau_grams[inside])
    most = np.where(np.isinf(half), np.inf, (size + np.where(np.isinf(half), 0.0, half)) * left)
    least = np.maximum(size - half, 0.0) * left
    return float(least.min()), float(most.max())


def _birge(base_ratio: float, left_count: int) -> float:
    return max(1.0, base_ratio / left_count) if left_count > 0 else 1.0
