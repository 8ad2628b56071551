"""One response of the grind fitted on the setting, with the burrs' age beside it.

``y = level + slope x + change (1 - exp(-age / tau))`` on the grid of tau. What a sitting has in
common is a random intercept, so that a ladder in one sitting tells the slope free of it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from .replicates import pool
from .setting_steps import Step
from .settling_profile import GRID_GRAMS, LARGEST_TAU_GRAMS, Floats
from .settling_series import Rule

LEVEL, SLOPE = 0, 1
"""Places of the first coefficients."""
ONE_AGE_GRAMS = np.ones(1)
"""Stands for the grid where age tells nothing."""
SMALLEST_REST_RATIO = 1e-7
"""A column of which less is left beside the others says nothing of its own."""
LARGEST_CHANGE_RATIO = 1000.0
"""The change by age is taken to be 0 within this (the curve would reach e^1000): what nothing else
tells stays as good as unknown, and nothing is divided by zero."""


@dataclass(frozen=True, eq=False)
class SettingFit:
    """The fits at each tau (first axis); coefficients are level, slope, level steps, change.

    ``age_place`` is None where all is of one age. ``plain_sd_response`` is the standard deviation
    the slope would have if age were known to do nothing. Settings count from the ``latest`` step's;
    levels are those of ``level_seating_count``, the latest seating that tells the response.
    """

    name: Literal["d50", "fines"]
    tau_grams: Floats
    coefficients_response: Floats
    covariance_squares: Floats
    misfit_ratio: Floats
    age_place: int | None
    age_scale_ratio: Floats
    origin_grams: float
    latest: Step
    level_seating_count: int
    seating_places: dict[int, int]
    plain_sd_response: float
    range_setting: float
    freedom_count: int
    left_count: int
    change_response: float


def fit_setting(
    rows: Sequence[Step], name: Literal["d50", "fines"], rule: Rule | None = None
) -> SettingFit | str:
    """Fit ln D50, or the fines, on setting and age by generalized least squares.

    ``V = diag(s_w^2 / n_j) + s_b^2 [same sitting];  c_k = (X_k' V^-1 X_k)^-1 X_k' V^-1 y``

    Parameters
    ----------
    rows : sequence of Step
        In the order of their kilograms.
    name : str
        ``d50`` (its natural logarithm) or ``fines`` (fraction).
    rule : Rule or None
        Scatter of whole sittings, and the change that matters; None = the defaults.

    Returns
    -------
    SettingFit or str
        Or why there is none: ``too_few_checkpoints``, ``one_setting_only``, ``no_replicates``.

    Raises
    ------
    ValueError
        A replicate is not finite.

    Valid
    -----
    For tau up to 30 kg. The response is straight in the setting over the settings measured. Where
    age and setting went along with each other, the slope's limits are as wide as that leaves them.

    Source
    ------
    Derived here: generalized least squares with a random intercept; the grid of tau as in
    ``profile_curve``.

    Examples
    --------
    >>> from burrline_service.core.setting_steps import example_steps
    >>> fit = fit_setting(example_steps(), "d50")
    >>> round(float(fit.coefficients_response[0, SLOPE]), 6)
    0.05
    """
    rule = Rule() if rule is None else rule
    told = [(row, values) for row in rows if (values := _values(row, name))]
    if len(told) < 2:
        return "too_few_checkpoints"
    kept = [row for row, _ in told]
    pooled = pool([values for _, values in told])
    latest = rows[-1]  # of all: every response counts the setting from there
    x = np.array([row.above_setting - latest.above_setting for row in kept])
    levels, places = _levels(kept)
    if _rest(x, levels) <= SMALLEST_REST_RATIO * max(float(np.abs(x).max()), 1e-9):
        return "one_setting_only"
    if len(told) < levels.shape[1] + 1:
        return "too_few_checkpoints"
    if pooled.freedom_count < 4:
        return "no_replicates"
    whiten = _whitening(kept, pooled.counts, pooled.within_squares / pooled.freedom_count,
                        session_sd_response(name, kept, rule))  # fmt: skip
    y = whiten @ np.array(pooled.means)
    ages = np.array([row.age_grams for row in kept])
    ages = ages - ages.min()
    plain = np.column_stack([levels[:, :1], x, levels[:, 1:]])
    is_aged = _rest(ages, levels) > 1.0  # a gram
    tau = GRID_GRAMS[GRID_GRAMS <= LARGEST_TAU_GRAMS * 1.0000001] if is_aged else ONE_AGE_GRAMS
    grown = -np.expm1(-ages[None, :] / tau[:, None])
    scale = np.maximum(grown.max(axis=1), 1e-300)
    design = np.broadcast_to(plain, (len(tau), *plain.shape))
    if is_aged:
        design = np.concatenate([design, (grown / scale[:, None])[:, :, None]], axis=2)
    coefficients, covariance, misfit = _solved(whiten @ design, y, is_aged=is_aged)
    _, alone, _ = _solved((whiten @ plain)[None], y, is_aged=False)
    return SettingFit(
        name=name,
        tau_grams=tau,
        coefficients_response=coefficients,
        covariance_squares=covariance,
        misfit_ratio=misfit,
        age_place=design.shape[2] - 1 if is_aged else None,
        age_scale_ratio=scale,
        origin_grams=min(row.age_grams for row in kept),
        latest=latest,
        level_seating_count=kept[-1].seating_count,
        seating_places=places,
        plain_sd_response=math.sqrt(float(alone[0, SLOPE, SLOPE])),
        range_setting=float(x.max() - x.min()),
        freedom_count=pooled.freedom_count,
        left_count=len(kept) - design.shape[2] - int(is_aged),
        change_response=_change(name, rule, pooled.means[-1]),
    )


def session_sd_response(name: str, rows: Sequence[Step], rule: Rule) -> float:
    """Give how far whole sittings scatter, in the unit of the fit.

    ``ln D50: the configured fraction, or micrometres / D50;  fines: the configured fraction``

    Parameters
    ----------
    name : str
        ``d50`` or ``fines``.
    rows : sequence of Step
        What is fitted; its first D50 turns micrometres into a fraction.
    rule : Rule
        What is configured.

    Returns
    -------
    float
        Standard deviation.

    Raises
    ------
    StopIteration
        Micrometres are configured and no row tells D50.

    Valid
    -----
    A small change of ln D50 is a fraction of D50.

    Source
    ------
    Our choice: see ``Rule``.

    Examples
    --------
    >>> session_sd_response("fines", [], Rule())
    0.003
    """
    if name == "fines":
        return rule.fines_session_fraction
    if rule.d50_session_micrometres is None:
        return rule.d50_session_fraction
    first = next(value for row in rows for value in row.log_d50_ratio)
    return rule.d50_session_micrometres / math.exp(first)


def _values(row: Step, name: str) -> tuple[float, ...]:
    return row.log_d50_ratio if name == "d50" else row.fines_fraction


def _change(name: str, rule: Rule, log_d50_ratio: float) -> float:
    """The change that matters, in the unit of the fit."""
    if name == "fines":
        return rule.fines_change_fraction
    if rule.d50_change_micrometres is None:
        return rule.d50_change_fraction
    return rule.d50_change_micrometres / math.exp(log_d50_ratio)


def _whitening(
    rows: Sequence[Step], counts: Sequence[int], within_squares: float, session_sd_response: float
) -> Floats:
    is_same = np.array([[one.sitting == other.sitting for other in rows] for one in rows])
    own = np.maximum(within_squares / np.array(counts, dtype=np.float64), 1e-18)
    triangle = np.linalg.cholesky(np.diag(own) + session_sd_response**2 * is_same)
    return np.asarray(np.linalg.inv(triangle))


def _solved(design: Floats, y: Floats, *, is_aged: bool) -> tuple[Floats, Floats, Floats]:
    """Coefficients, covariances and misfits at every tau; the change by age stands last."""
    if is_aged:
        row = np.zeros((len(design), 1, design.shape[2]))
        row[:, 0, -1] = 1.0 / LARGEST_CHANGE_RATIO
        design, y = np.concatenate([design, row], axis=1), np.append(y, 0.0)
    basis, triangle = np.linalg.qr(design)
    inverse = np.linalg.inv(triangle)
    parts = np.einsum("kjp,j->kp", basis, y)
    coefficients = np.einsum("kpq,kq->kp", inverse, parts)
    rest = y[None, :] - np.einsum("kjp,kp->kj", basis, parts)
    covariance = inverse @ np.swapaxes(inverse, 1, 2)
    return coefficients, covariance, (rest**2).sum(axis=1)


def _levels(rows: Sequence[Step]) -> tuple[Floats, dict[int, int]]:
    """A level, and a step for each other seating and coffee than the latest's, where it is told
    apart; with the place of each seating's step among the coefficients."""
    columns = [np.ones(len(rows))]
    places: dict[int, int] = {}
    latest = rows[-1]
    for seating in sorted({row.seating_count for row in rows} - {latest.seating_count}):
        columns.append(np.array([float(row.seating_count == seating) for row in rows]))
        places[seating] = len(columns)  # the slope stands second
    for lot in sorted({row.coffee_lot for row in rows} - {latest.coffee_lot}, key=str):
        column = np.array([float(row.coffee_lot == lot) for row in rows])
        if _rest(column, np.column_stack(columns)) > 1e-9:
            columns.append(column)
    return np.column_stack(columns), places


def _rest(column: Floats, others: Floats) -> float:
    """How much of a column is left beside the others."""
    basis, _ = np.linalg.qr(others)
    rest = column - basis @ (basis.T @ column)
    rest = rest - basis @ (basis.T @ rest)
    return math.sqrt(float(rest @ rest))
