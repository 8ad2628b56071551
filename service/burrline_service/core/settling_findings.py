"""What keeps a fit from telling more: the codes beside a verdict."""

from __future__ import annotations

import math

from .quantiles import f_ratio, student_t_ratio
from .settling_fit import RULE_PROBABILITY, Fit, Fits, misfit_limit_ratio
from .settling_limits import union_limits
from .settling_measures import TWO_SIDED_PROBABILITY
from .settling_series import Series, within_variance

MISFIT_PROBABILITY = 0.99
EXPECTED_SIGN = {"d50": 1, "fines": -1}
"""At one setting the grind gets coarser and fines fall (common practice, no source)."""


def find_limits(fits: Fits, *, is_undecided: bool) -> tuple[str, ...]:
    """Name all that limits what the fits can tell, in the order it should be heard.

    ``flat: Q_flat - Q_min <= 2 F(0.95; 2, nu) B;  line: Q_line - Q_min <= t^2 B;  step: Q_step -
    Q_min <= t^2 B;  misfit: Q_min / (J - 3) > F(0.99; J - 3, nu)``

    Parameters
    ----------
    fits : Fits
        Of the responses that carry the verdict, on the whole grid.
    is_undecided : bool
        Whether the noise kept the rule from deciding.

    Returns
    -------
    tuple of str
        Codes: ``no_measurable_change``, ``bend_not_visible``, ``settled_before_first_check``,
        ``model_misfit``, ``unexpected_direction``, ``noise_too_large_for_delta``.

    Raises
    ------
    ValueError
        No degrees of freedom.

    Valid
    -----
    A flat or early verdict needs all responses, any of the other codes one.

    Source
    ------
    Derived here from the limits of the curve: flat, straight line, step.

    Examples
    --------
    >>> from burrline_service.core.settling_fit import fit_series
    >>> from burrline_service.core.settling_series import example_series
    >>> find_limits(fit_series([example_series()]), is_undecided=True)
    ()
    """
    every = fits.fits
    found: list[str] = []
    is_flat = all(_is_flat(fit) for fit in every)
    if is_flat:  # a line and a step then fit as well, and say nothing
        found.append("no_measurable_change")
    limits = [misfit_limit_ratio(fit, TWO_SIDED_PROBABILITY) for fit in every]
    if not is_flat and any(
        fit.line_ratio <= limit for fit, limit in zip(every, limits, strict=True)
    ):
        found.append("bend_not_visible")
    if not is_flat and all(
        fit.step_ratio <= limit for fit, limit in zip(every, limits, strict=True)
    ):
        found.append("settled_before_first_check")
    if any(_is_misfit(fit) for fit in every):
        found.append("model_misfit")
    if any(_is_wrong_way(fit, limit) for fit, limit in zip(every, limits, strict=True)):
        found.append("unexpected_direction")
    if is_undecided and any(_is_too_noisy(fit.series) for fit in every):
        found.append("noise_too_large_for_delta")
    return tuple(found)


def needed_replicates(series: Series) -> int | None:
    """Give the replicates per checkpoint with which noise would no longer hide the change.

    ``t sqrt(2 (s_b^2 + s_w^2 / n)) < delta``, solved for n

    Parameters
    ----------
    series : Series
        One response with an estimate of its scatter.

    Returns
    -------
    int or None
        None when no number of doses is enough, since whole sittings scatter too much.

    Raises
    ------
    ValueError
        No degrees of freedom.

    Valid
    -----
    For the comparison of two checkpoints; one farther out tells more than doses do.

    Source
    ------
    Derived here from the standard error of a difference of two means.

    Examples
    --------
    >>> from burrline_service.core.settling_series import example_series
    >>> needed_replicates(example_series())
    3
    """
    t = student_t_ratio(RULE_PROBABILITY, series.freedom_count)
    within, _ = within_variance(series)
    room = (series.change_response / t) ** 2 / 2 - series.session.sd_response**2
    if room <= 0 or within / room > 1e6:
        return None
    return max(1, math.floor(within / room) + 1)


def _is_flat(fit: Fit) -> bool:
    """The test of one response on its own, against the curve with its own tau."""
    own = float(fit.profile.misfit_ratio.min())
    margin = 2 * f_ratio(0.95, 2, fit.freedom_count) * fit.birge_ratio
    return float(fit.profile.flat_ratio) - own <= margin


def _is_misfit(fit: Fit) -> bool:
    series = fit.series
    left = len(series.grams) - series.levels_count.shape[1] - 2
    if left < 1:
        return False
    own = float(fit.profile.misfit_ratio.min())
    return bool(own / left > f_ratio(MISFIT_PROBABILITY, left, series.freedom_count))


def _is_wrong_way(fit: Fit, limit_ratio: float) -> bool:
    low, high = union_limits(
        fit.profile.change_response,
        fit.profile.change_sd_response,
        fit.misfit_ratio,
        limit_ratio,
    )
    return high < 0 if EXPECTED_SIGN[fit.series.name] > 0 else low > 0


def _is_too_noisy(series: Series) -> bool:
    _, of_mean = within_variance(series)
    t = student_t_ratio(RULE_PROBABILITY, series.freedom_count)
    return t * math.sqrt(2 * of_mean) >= series.change_response
