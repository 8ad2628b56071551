"""What a fit on the setting says: its slope, lines at an age, where they cross a level."""

from __future__ import annotations

import math

import numpy as np

from .fieller import Line, crossing_limits
from .quantiles import student_t_ratio
from .setting_fit import LEVEL, SLOPE, SettingFit
from .setting_steps import Step
from .settling_limits import union_limits
from .settling_measures import TWO_SIDED_PROBABILITY, Limits, significant
from .settling_profile import Floats

BOUNDLESS_RATIO = 50.0
"""Limits farther out than this are none."""


def line_at(
    fit: SettingFit,
    at_grams: float,
    *,
    reference_grams: float | None = None,
    reference: Step | None = None,
    less_response: float = 0.0,
) -> Line:
    """Give the response at an age against the setting, less a level, for every tau.

    ``L(x) = level + change g(at) + slope (x - x_latest) - less``; with a reference step:
    ``L(x) = step level + change (g(at) - g(reference)) + slope (x - x_reference)``

    Parameters
    ----------
    fit : SettingFit
        The fit.
    at_grams : float
        Age, grams through the burrs.
    reference_grams : float or None
        Another age: then the line is the change since it at one setting.
    reference : Step or None
        A step: then the line is the difference to what was measured there, at one coffee.
    less_response : float
        A level to subtract.

    Returns
    -------
    Line
        ``start`` at the latest step's setting, x counted from there.

    Raises
    ------
    KeyError
        The step's seating is not in the fit.

    Valid
    -----
    At the coffee and the seating of the latest step.

    Source
    ------
    Derived here.

    Examples
    --------
    >>> from burrline_service.core.setting_fit import fit_setting
    >>> from burrline_service.core.setting_steps import example_steps
    >>> line = line_at(fit_setting(example_steps(), "d50"), 0.0)
    >>> round(float(np.exp(line.start_response[0]))), round(float(line.slope_response[0]), 6)
    (300, 0.05)
    """
    count = fit.coefficients_response.shape[1]
    arm = np.zeros((len(fit.tau_grams), count))
    if fit.age_place is not None:
        arm[:, fit.age_place] = _grown(fit, at_grams)
    other = reference.age_grams if reference is not None else reference_grams
    if other is None:
        arm[:, LEVEL] = 1.0
    elif fit.age_place is not None:
        arm[:, fit.age_place] -= _grown(fit, other)
    if reference is not None:
        arm[:, SLOPE] = fit.latest.above_setting - reference.above_setting
        if reference.seating_count != fit.level_seating_count:
            arm[:, fit.seating_places[reference.seating_count]] -= 1.0
    start = np.einsum("kp,kp->k", arm, fit.coefficients_response) - less_response
    rows = np.einsum("kp,kpq->kq", arm, fit.covariance_squares)
    return Line(
        start_response=start,
        slope_response=fit.coefficients_response[:, SLOPE],
        start_squares=np.maximum(np.einsum("kq,kq->k", rows, arm), 0.0),
        cross_squares=rows[:, SLOPE],
        slope_squares=fit.covariance_squares[:, SLOPE, SLOPE],
    )


def room_ratio(fit: SettingFit, other: SettingFit | None = None) -> Floats:
    """Give how far, in squared standard errors, anything may lie off at each tau.

    ``t^2 B - (Q_k - Q_min);  Q the sum over the fits, B = max(1, Q_min / left)``

    Parameters
    ----------
    fit, other : SettingFit or None
        One response or two, with one tau for both.

    Returns
    -------
    array of shape (K,)
        Negative where tau is not believed.

    Raises
    ------
    ValueError
        Grids that do not fit each other.

    Valid
    -----
    Two-sided 95 %.

    Source
    ------
    As ``misfit_limit_ratio``: Bates and Watts 1988, chapter 6 (from memory), with a Birge factor.

    Examples
    --------
    >>> from burrline_service.core.setting_fit import fit_setting
    >>> from burrline_service.core.setting_steps import example_steps
    >>> room = room_ratio(fit_setting(example_steps(), "d50"))
    >>> round(float(room[0]), 3) == round(student_t_ratio(0.975, 6) ** 2, 3)
    True
    """
    fits = [fit] if other is None else [fit, other]
    misfit = sum((one.misfit_ratio for one in fits[1:]), fit.misfit_ratio)
    base = float(misfit.min())
    left = sum(one.left_count for one in fits)
    birge = max(1.0, base / left) if left > 0 else 1.0
    t = student_t_ratio(TWO_SIDED_PROBABILITY, min(one.freedom_count for one in fits))
    room: Floats = t**2 * birge - (misfit - base)
    return room


def slope_limits(fit: SettingFit) -> Limits:
    """Give the slope on the setting with its two-sided 95 % limits.

    ``union over tau of slope_k +- sd_k sqrt(room_k)``

    Parameters
    ----------
    fit : SettingFit
        A fit.

    Returns
    -------
    Limits
        Per unit of the dial.

    Raises
    ------
    ValueError
        An empty grid.

    Valid
    -----
    As ``fit_setting``.

    Source
    ------
    ``union_limits``

    Examples
    --------
    >>> from burrline_service.core.setting_fit import fit_setting
    >>> from burrline_service.core.setting_steps import example_steps
    >>> found = slope_limits(fit_setting(example_steps(), "d50"))
    >>> round(found.best, 6), found.low < 0.05 < found.high
    (0.05, True)
    """
    room = room_ratio(fit)
    sd = np.sqrt(fit.covariance_squares[:, SLOPE, SLOPE])
    value = fit.coefficients_response[:, SLOPE]
    low, high = union_limits(value, sd, -room, 0.0)
    best = value[int(fit.misfit_ratio.argmin())]
    return Limits(bounded_response(low), significant(float(best)), bounded_response(high))


def bounded_response(limit_response: float) -> float | None:
    """Round a limit; one that is too far out to mean anything is none.

    ``|limit| > 50 -> None``

    Parameters
    ----------
    limit_response : float
        In the unit of a fit: a logarithm or a fraction, perhaps per unit of the dial.

    Returns
    -------
    float or None
        Nine significant digits.

    Raises
    ------
    TypeError
        It is no number.

    Valid
    -----
    Everywhere.

    Source
    ------
    Our choice: what lies beyond comes from ``LARGEST_CHANGE_RATIO`` alone.

    Examples
    --------
    >>> bounded_response(0.25), bounded_response(-2000.0)
    (0.25, None)
    """
    return significant(limit_response) if abs(limit_response) <= BOUNDLESS_RATIO else None


def crossing(fit: SettingFit, line: Line) -> tuple[float, float, float]:
    """Give where the fitted line crosses zero, with its two-sided 95 % limits.

    ``union over tau of the crossing limits at room_k``

    Parameters
    ----------
    fit : SettingFit
        The fit that the line is of.
    line : Line
        From ``line_at``.

    Returns
    -------
    tuple of float
        Low limit, best, high limit, in units of the dial from the latest step's setting; the
        limits are infinite where the slope may be 0. The best is not a number where it is 0.

    Raises
    ------
    IndexError
        An empty grid.

    Valid
    -----
    As ``crossing_limits``.

    Source
    ------
    ``crossing_limits``

    Examples
    --------
    >>> from burrline_service.core.setting_fit import fit_setting
    >>> from burrline_service.core.setting_steps import example_steps
    >>> fit = fit_setting(example_steps(), "d50")
    >>> low, best, high = crossing(fit, line_at(fit, 0.0, less_response=math.log(300) + 0.05))
    >>> round(best, 6), low < 1 < high
    (1.0, True)
    """
    low, high = crossing_limits(line, room_ratio(fit))
    at = int(fit.misfit_ratio.argmin())
    slope = float(line.slope_response[at])
    best = -float(line.start_response[at]) / slope if slope else math.nan
    return float(np.nanmin(low)), best, float(np.nanmax(high))


def _grown(fit: SettingFit, at_grams: float) -> Floats:
    grown: Floats = -np.expm1(-max(at_grams - fit.origin_grams, 0.0) / fit.tau_grams)
    return grown / fit.age_scale_ratio
