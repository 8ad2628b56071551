"""The fitted curve with its band, for drawing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .settling import Settling
from .settling_fit import Fit, misfit_limit_ratio
from .settling_limits import union_limits
from .settling_measures import TWO_SIDED_PROBABILITY, significant
from .settling_profile import conditional_values


@dataclass(frozen=True)
class CurvePoint:
    """A place on the curve; kilograms count like the checkpoints, limits are two-sided 95 %."""

    burr_grams: float
    low_response: float | None
    best_response: float | None
    high_response: float | None


def draw_curves(
    settling: Settling, burr_grams: Sequence[float]
) -> dict[str, tuple[CurvePoint, ...]]:
    """Read the fitted curve and its band off at some kilograms, for each response of the verdict.

    ``L(m) = y0 + A (1 - exp(-m / tau)), limits as unions of those conditional on tau``

    Parameters
    ----------
    settling : Settling
        The verdict with its fits.
    burr_grams : sequence of float
        Grams, counted like the checkpoints.

    Returns
    -------
    dict of str to tuple of CurvePoint
        By ``d50`` (micrometres) and ``fines`` (fraction); empty without a fit.

    Raises
    ------
    ValueError
        Grams that are not finite.

    Valid
    -----
    Pointwise, at the level of the latest lot and seating; places before the first checkpoint are
    left out, since the curve has its origin there.

    Source
    ------
    ``union_limits``

    Examples
    --------
    >>> from burrline_service.core.settling import assess_settling
    >>> draw_curves(assess_settling([]), [0.0, 1000.0])
    {}
    """
    if not all(np.isfinite(burr_grams)):
        raise ValueError("burr_grams must be finite")
    if settling.fits is None:
        return {}
    return {
        fit.series.name: tuple(
            _point(fit, grams) for grams in burr_grams if grams >= fit.series.origin_grams
        )
        for fit in settling.fits.fits
    }


def curve_grams(settling: Settling, until_grams: float) -> tuple[float, ...]:
    """Choose 61 evenly spaced places for drawing, from the first checkpoint on.

    ``m_i = origin + i (end - origin) / 60,  end = max(until, 1.25 M)``

    Parameters
    ----------
    settling : Settling
        The checkpoints.
    until_grams : float
        How far to draw at least, counted like the checkpoints.

    Returns
    -------
    tuple of float
        Grams; empty without checkpoints.

    Raises
    ------
    ValueError
        The end is not finite.

    Valid
    -----
    Everywhere.

    Source
    ------
    Our choice.

    Examples
    --------
    >>> from burrline_service.core.settling import assess_settling
    >>> curve_grams(assess_settling([]), 1000.0)
    ()
    """
    if not np.isfinite(until_grams):
        raise ValueError(f"until_grams must be finite, not {until_grams}")
    origin, last = settling.origin_grams, settling.at_grams
    if origin is None or last is None:
        return ()
    end = max(until_grams, origin + 1.25 * (last - origin))
    return tuple(origin + step * (end - origin) / 60 for step in range(61))


def _point(fit: Fit, grams: float) -> CurvePoint:
    profile = fit.profile
    grown = -np.expm1(-(grams - fit.series.origin_grams) / profile.tau_grams)
    value, sd = conditional_values(profile, grown)
    limit = misfit_limit_ratio(fit, TWO_SIDED_PROBABILITY)
    low, high = union_limits(value, sd, fit.misfit_ratio, limit)
    best = float(value[int(fit.misfit_ratio.argmin())])
    return CurvePoint(grams, significant(low), significant(best), significant(high))
