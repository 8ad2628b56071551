"""The fit of the flow against generalised least squares with the whole covariance matrix."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.linalg import block_diag, lstsq
from scipy.optimize import brentq

from burrline_service.core.settling_profile import Floats
from burrline_service.core.stream_bounds import (
    bound_remaining_ratio,
    misfit_limit_ratio,
    read_value,
)
from burrline_service.core.stream_fit import StreamFit, fit_stream
from burrline_service.core.stream_moments import TAU_GRAMS, Moments, steps_of, sum_moments
from burrline_service.core.stream_sessions import BIN_MG, SessionCell
from burrline_service.core.stream_variance import between_squares

DAYS = 16


def made_cells(seed: int, *, is_mixed: bool, day_sd: float = 0.02) -> list[SessionCell]:
    """Days of 0.4 to 1.6 kg, with settings, and if mixed with doses, lots and a seating."""
    dice = np.random.default_rng(seed)
    cells, total_mg = [], 0
    for day in range(DAYS):
        level = 0.8 + day_sd * float(dice.standard_normal())
        for _ in range(int(dice.integers(1, 5))):
            count = int(dice.integers(2, 30))
            place_mg = total_mg + int(dice.integers(1, 400_000))
            setting = int(dice.integers(-3, 1))
            dose = int(dice.integers(2, 4)) if is_mixed else 2
            u = level - 0.15 * math.exp(-place_mg / 5e6) + 0.04 * setting - 0.1 * (dose == 3)
            micro = np.round(1e6 * (u + 0.06 * dice.standard_normal(count))).astype(int).tolist()
            cells.append(
                SessionCell(
                    session=day,
                    bin=place_mg // BIN_MG,
                    setting_milli=1000 * setting,
                    seating=int(is_mixed and day > 9),
                    dose_class=dose,
                    rpm=None,
                    source_no=None,
                    # a lot that came with the seating depends on it, and must do no harm
                    coffee_lot="ab"[day > 9] if is_mixed else None,
                    grinds_count=count,
                    sum_micro=sum(micro),
                    sum_squares_micro=sum(x * x for x in micro),
                    sum_twice_place_mg=2 * count * place_mg,
                )
            )
        total_mg += int(dice.integers(400_000, 1_600_000))
    return cells


class Direct:
    """The same model with nothing but its definition: all cells, the whole matrix, whitened."""

    def __init__(self, cells: list[SessionCell], between: float) -> None:
        count = np.array([c.grinds_count for c in cells], dtype=float)
        self.u = np.array([c.sum_micro / c.grinds_count / 1e6 for c in cells])
        squares = [(c.sum_squares_micro - c.sum_micro**2 / c.grinds_count) / 1e12 for c in cells]
        self.within = sum(squares) / (count.sum() - len(cells))
        self.days = np.array([c.session for c in cells])
        self.count, self.between = count, between
        sizes = [int((self.days == day).sum()) for day in dict.fromkeys(self.days.tolist())]
        shared = block_diag(*(np.full((size, size), between) for size in sizes))
        root = np.linalg.cholesky(np.diag(self.within / count) + shared)
        self.whiten = np.linalg.inv(root)
        self.kilograms = np.array([c.sum_twice_place_mg / c.grinds_count / 2e6 for c in cells])
        steps = list(dict.fromkeys(step for cell in cells for step in steps_of(cell)))
        columns = [[1.0 * (step in steps_of(cell)) for step in steps] for cell in cells]
        setting = np.array([[c.setting_milli / 1000] for c in cells])
        self.columns = np.hstack([np.ones((len(cells), 1)), np.array(columns), setting])

    def design(self, tau_grams: float) -> Floats:
        decay = -np.exp(-self.kilograms / (tau_grams / 1000))
        return np.hstack([self.columns, decay[:, None]])

    def solve(self, tau_grams: float) -> tuple[Floats, Floats, float, Floats]:
        """Coefficients of least length, their covariance, the misfit, residuals of the cells."""
        design = self.design(tau_grams)
        white = self.whiten @ design
        coefficients, *_ = lstsq(white, self.whiten @ self.u)
        rest = self.u - design @ coefficients
        covariance = np.linalg.pinv(white.T @ white, rcond=1e-12)
        return coefficients, covariance, float(((self.whiten @ rest) ** 2).sum()), rest

    def rank(self) -> int:
        return int(np.linalg.matrix_rank(self.design(5000.0)))


def fitted(cells: list[SessionCell]) -> tuple[Moments, StreamFit]:
    moments = sum_moments(cells, origin_mg=0, reference_milli=0)
    fit = fit_stream(moments, len(moments.sessions))
    assert fit is not None
    return moments, fit


@pytest.mark.parametrize("is_mixed", [False, True])
@pytest.mark.parametrize("seed", [1, 2])
def test_the_fit_is_that_of_the_whole_covariance_matrix(seed: int, is_mixed: bool) -> None:
    cells = made_cells(seed, is_mixed=is_mixed)
    moments, fit = fitted(cells)
    direct = Direct(cells, fit.session_sd_ratio**2)
    assert fit.grind_sd_ratio**2 == pytest.approx(direct.within, rel=1e-9)
    assert fit.freedom_count == len(moments.sessions) - direct.rank() - 1
    setting = np.zeros(len(moments.names))
    setting[-1] = 1.0
    # a row that was measured: the last cell
    row = np.array(
        [name == "level" or name in steps_of(cells[-1]) for name in moments.names], dtype=float
    )
    row[-1] = cells[-1].setting_milli / 1000
    for place in (0, 40, 100, 166):
        tau = float(TAU_GRAMS[place])
        coefficients, covariance, misfit, _ = direct.solve(tau)
        assert fit.misfit_ratio[place] == pytest.approx(misfit, rel=1e-7)
        assert fit.change_ratio[place] == pytest.approx(coefficients[-1], rel=1e-6)
        assert fit.change_sd_ratio[place] == pytest.approx(math.sqrt(covariance[-1, -1]), rel=1e-6)
        slope, slope_sd = read_value(fit, setting, 0.0)
        assert slope[place] == pytest.approx(coefficients[-2], rel=1e-6)
        assert slope_sd[place] == pytest.approx(math.sqrt(covariance[-2, -2]), rel=1e-6)
        design = direct.design(tau)[-1]
        value, sd = read_value(fit, row, -design[-1])
        assert value[place] + moments.origin_ratio == pytest.approx(design @ coefficients, rel=1e-7)
        assert sd[place] == pytest.approx(math.sqrt(design @ covariance @ design), rel=1e-6)


def between_days_at(cells: list[SessionCell], tau: float, start: float, freedom: int) -> float:
    """The definition again: the variance at which the residuals it leads to call for it."""
    between = start
    for _ in range(60):
        direct = Direct(cells, between)
        grinds = np.bincount(direct.days, direct.count)
        mean = np.bincount(direct.days, direct.count * direct.solve(tau)[3]) / grinds
        found = brentq(
            lambda squares, mean, variance: (mean**2 / (squares + variance)).sum() - freedom,
            0.0,
            1.0,
            args=(mean, direct.within / grinds),
            xtol=1e-16,
            rtol=1e-12,
        )
        if abs(found - between) < 1e-11 * found:
            break
        between = found
    return float(found)


def test_the_variance_between_days_is_that_of_paule_and_mandel() -> None:
    cells = made_cells(3, is_mixed=False, day_sd=0.03)
    _, fit = fitted(cells)
    between = 0.0
    for _ in range(4):
        direct = Direct(cells, between)
        tau = min(TAU_GRAMS.tolist(), key=lambda tau, direct=direct: direct.solve(tau)[2])
        between = between_days_at(cells, tau, between, fit.freedom_count)
    assert fit.session_sd_ratio == pytest.approx(math.sqrt(between), rel=1e-6)
    assert fit.session_sd_ratio > 0.01
    assert TAU_GRAMS[fit.misfit_ratio.argmin()] == tau


def test_days_that_do_not_differ_have_no_variance_between_them() -> None:
    assert between_squares(np.zeros(5), np.ones(5), 4) == 0.0
    assert between_squares(np.full(5, 0.1), np.ones(5), 4) == 0.0


@pytest.mark.parametrize(("variance", "freedom"), [([1.0, 0.0], 1), ([1.0, 1.0], 0)])
def test_a_variance_between_groups_needs_freedom_and_variances(
    variance: list[float], freedom: int
) -> None:
    with pytest.raises(ValueError, match="needs freedom and variances"):
        between_squares(np.ones(2), np.array(variance), freedom)


def test_bounds_hold_what_is_best_and_widen_with_confidence() -> None:
    _, fit = fitted(made_cells(1, is_mixed=False))
    best = fit.misfit_ratio.argmin()
    left = abs(float(fit.change_ratio[best])) * math.exp(-8000 / float(TAU_GRAMS[best]))
    narrow, wide = (bound_remaining_ratio(fit, 8000.0, level) for level in (0.8, 0.975))
    assert wide[0] <= narrow[0] <= left <= narrow[1] <= wide[1]
    assert misfit_limit_ratio(fit, 0.8) < misfit_limit_ratio(fit)


def test_the_first_days_are_all_that_a_look_at_them_sees() -> None:
    cells = made_cells(1, is_mixed=False)
    whole = sum_moments(cells, origin_mg=0, reference_milli=0)
    part = [cell for cell in cells if cell.session < 12]
    early = sum_moments(part, origin_mg=0, reference_milli=0)
    one, other = fit_stream(whole, 12), fit_stream(early, 12)
    assert one is not None
    assert other is not None
    assert one.misfit_ratio == pytest.approx(other.misfit_ratio, rel=1e-8)
    assert one.session_sd_ratio == pytest.approx(other.session_sd_ratio, rel=1e-7)


def test_without_a_cell_there_is_nothing_to_sum() -> None:
    with pytest.raises(ValueError, match="no cell"):
        sum_moments([], origin_mg=0, reference_milli=0)
