"""How far a step of the dial moves the grind and the flow, and where to turn it to go back."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from .calibration_answers import FlowSlope, FlowSlopeAnswer
from .calibration_sentences import VERDICTS
from .fieller import ratio_limits
from .grind_answers import UNKNOWN
from .quantiles import student_t_ratio
from .setting_fit import SLOPE, SettingFit, fit_setting
from .setting_lines import room_ratio, slope_limits
from .setting_steps import Step
from .settling_measures import TWO_SIDED_PROBABILITY, Limits, significant
from .settling_series import Rule

CONFOUNDED_RATIO = 2.0
"""Age and setting count as confounded where not knowing the age's effect makes the slope's scatter
so many times larger, and the slope then leaves open a change that matters (our choice)."""


@dataclass(frozen=True, eq=False)
class Calibrated:
    """What the checkpoints tell of the dial; without a fit the verdict says why."""

    verdict: str
    d50: SettingFit | None
    fines: SettingFit | None
    log_d50_per_setting: Limits
    fines_per_setting: Limits


def calibrate(rows: Sequence[Step], rule: Rule | None = None) -> Calibrated:
    """Judge whether checkpoints tell the effect of the dial, and how large it is.

    ``confounded: se range > delta and sd > 2 sd without age;  unclear: the limits hold 0``

    Parameters
    ----------
    rows : sequence of Step
        In the order of their kilograms.
    rule : Rule or None
        Scatter of sittings and changes that matter; None = the defaults.

    Returns
    -------
    Calibrated
        Verdicts: ``calibrated``, ``setting_unrecorded``, ``too_few_checkpoints``,
        ``one_setting_only``, ``no_replicates``, ``setting_confounded``, ``slope_unclear``.

    Raises
    ------
    ValueError
        A replicate is not finite.

    Valid
    -----
    A ladder in one sitting can be neither confounded nor disturbed by the sitting's own scatter.

    Source
    ------
    Derived here; the criterion of the change that matters is that of the stream of runs.

    Examples
    --------
    >>> from burrline_service.core.setting_steps import example_steps
    >>> found = calibrate(example_steps())
    >>> found.verdict, round(found.log_d50_per_setting.best, 6)
    ('calibrated', 0.05)
    """
    if not rows:
        return Calibrated("setting_unrecorded", None, None, UNKNOWN, UNKNOWN)
    d50, fines = fit_setting(rows, "d50", rule), fit_setting(rows, "fines", rule)
    other = None if isinstance(fines, str) or is_confounded(fines) else fines
    of_fines = UNKNOWN if other is None else slope_limits(other)
    if isinstance(d50, str):
        return Calibrated(d50, None, other, UNKNOWN, of_fines)
    slope = slope_limits(d50)
    if is_confounded(d50):
        return Calibrated("setting_confounded", d50, other, slope, of_fines)
    is_clear = slope.low is not None and slope.high is not None and slope.low * slope.high > 0
    verdict = "calibrated" if is_clear else "slope_unclear"
    return Calibrated(verdict, d50, other, slope, of_fines)


def is_confounded(fit: SettingFit) -> bool:
    """Say whether setting and age went along with each other too closely to be told apart.

    ``se range > delta  and  max_k sd_k > 2 sd_0``, se from the limits, sd_0 without age

    Parameters
    ----------
    fit : SettingFit
        A fit.

    Returns
    -------
    bool
        Whether.

    Raises
    ------
    ValueError
        An empty grid.

    Valid
    -----
    Noise alone is not taken for it: then both scatters are alike.

    Source
    ------
    Our choice: see ``CONFOUNDED_RATIO``.

    Examples
    --------
    >>> from burrline_service.core.setting_steps import example_steps
    >>> is_confounded(fit_setting(example_steps(), "d50"))
    False
    """
    if fit.age_place is None:
        return False
    slope = slope_limits(fit)
    if slope.low is None or slope.high is None:
        return True
    t = student_t_ratio(TWO_SIDED_PROBABILITY, fit.freedom_count)
    sd = (slope.high - slope.low) / (2 * t)
    is_open = sd * fit.range_setting > fit.change_response
    believed = room_ratio(fit) >= 0
    own = math.sqrt(float(fit.covariance_squares[believed, SLOPE, SLOPE].max()))
    return is_open and own > CONFOUNDED_RATIO * fit.plain_sd_response


def flow_answer(
    flow: FlowSlope | None,
    *,
    step_setting: float,
    sign_ratio: float,
    reference_grams_per_second: float | None,
) -> FlowSlopeAnswer:
    """Tell how far one step of the dial moves the flow.

    ``slope +- t sd;  grams per second per step = slope step flow``

    Parameters
    ----------
    flow : FlowSlope or None
        What the stream of runs told; None = nothing.
    step_setting : float
        One step of the dial.
    sign_ratio : float
        1 where higher is coarser, else -1: steps count towards the coarser side.
    reference_grams_per_second : float or None
        The flow the step is told at, grams per second; None = the present one.

    Returns
    -------
    FlowSlopeAnswer
        Verdicts ``calibrated``, ``flow_unclear`` (the limits hold 0), ``flow_unknown``.

    Raises
    ------
    ValueError
        Degrees of freedom are not positive.

    Valid
    -----
    Two-sided 95 %.

    Source
    ------
    Definition of the t-interval, NIST/SEMATECH e-Handbook of Statistical Methods, 7.1.4.

    Examples
    --------
    >>> told = flow_answer(
    ...     FlowSlope(0.04, 0.004, 30, 5.0, 0.8), step_setting=1.0, sign_ratio=1.0,
    ...     reference_grams_per_second=2.0
    ... )
    >>> told.verdict, told.grams_per_second_per_step.best
    ('calibrated', 0.08)
    """
    if flow is None:
        return FlowSlopeAnswer("flow_unknown", VERDICTS["flow_unknown"])
    t = student_t_ratio(TWO_SIDED_PROBABILITY, flow.freedom_count)
    low, high = flow.best_ratio - t * flow.sd_ratio, flow.best_ratio + t * flow.sd_ratio
    slope = Limits(significant(low), significant(flow.best_ratio), significant(high))
    level = reference_grams_per_second
    if level is None and flow.log_flow_ratio is not None:
        level = math.exp(flow.log_flow_ratio)
    per_step = UNKNOWN if level is None else scaled(slope, sign_ratio * step_setting * level)
    verdict = "calibrated" if low * high > 0 else "flow_unclear"
    sentence = (
        "The runs tell how the flow goes with the setting."
        if verdict == "calibrated"
        else VERDICTS[verdict]
    )
    return FlowSlopeAnswer(verdict, sentence, slope, per_step)


def flow_shift_setting(
    flow: FlowSlope, wanted_grams_per_second: float
) -> tuple[float, float, float] | None:
    """Give how far to turn the dial for a wanted flow, with its two-sided 95 % limits.

    ``x = (ln wanted - ln flow) / slope``

    Parameters
    ----------
    flow : FlowSlope
        With its present level.
    wanted_grams_per_second : float
        Grams per second, > 0.

    Returns
    -------
    tuple of float or None
        Low limit, best, high limit from ``flow.setting``; None where level or slope is not known.

    Raises
    ------
    ValueError
        The wanted flow is not positive.

    Valid
    -----
    As ``ratio_limits``: infinite limits where the slope may be 0.

    Source
    ------
    ``ratio_limits``

    Examples
    --------
    >>> flow = FlowSlope(0.05, 0.0, 30, 5.0, math.log(2.0))
    >>> low, best, high = flow_shift_setting(flow, 2.0 * math.exp(0.1))
    >>> round(best, 6)
    2.0
    """
    if not wanted_grams_per_second > 0:
        raise ValueError(f"a flow must be positive, not {wanted_grams_per_second}")
    if flow.log_flow_ratio is None or flow.best_ratio == 0:
        return None
    away = math.log(wanted_grams_per_second) - flow.log_flow_ratio
    low, high = ratio_limits(
        away,
        flow.best_ratio,
        numerator_squares=flow.log_flow_sd_ratio**2,
        denominator_squares=flow.sd_ratio**2,
        cross_squares=-flow.covariance_ratio,
        t_ratio=student_t_ratio(TWO_SIDED_PROBABILITY, flow.freedom_count),
    )
    return low, away / flow.best_ratio, high


def scaled(limits: Limits, factor_ratio: float) -> Limits:
    """Multiply a number and its limits; a negative factor swaps the limits.

    ``[f low, f best, f high]``

    Parameters
    ----------
    limits : Limits
        The number.
    factor_ratio : float
        The factor.

    Returns
    -------
    Limits
        Rounded to nine significant digits.

    Raises
    ------
    TypeError
        A limit is no number.

    Valid
    -----
    Everywhere.

    Source
    ------
    Definition.

    Examples
    --------
    >>> scaled(Limits(1.0, 2.0, None), -2.0)
    Limits(low=None, best=-4.0, high=-2.0)
    """
    low, best, high = (
        None if one is None else significant(factor_ratio * one)
        for one in (limits.low, limits.best, limits.high)
    )
    return Limits(low, best, high) if factor_ratio >= 0 else Limits(high, best, low)
