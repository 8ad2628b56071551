"""Asymptotic regression against the certified values of NIST StRD.

NIST Statistical Reference Datasets, nonlinear regression: Misra1a (lower difficulty) and BoxBOD
(higher) are the curve itself with a start tied to 0, b1 (1 - exp(-b2 x)); MGH17 (average) is its
two-phase extension, b1 + b2 exp(-x b4) + b3 exp(-x b5). Certified to 11 digits.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import t as student

from burrline_service.core.settling_limits import union_limits
from burrline_service.core.settling_profile import Floats, Profile, profile_curve


@dataclass(frozen=True)
class Certified:
    name: str
    x: Floats
    y: Floats
    b1: float
    b2: float
    sd_b1: float
    sd_b2: float
    rss: float
    residual_sd: float


MISRA1A = Certified(
    name="MISRA1A",
    x=np.array([
        77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1,
        689.1, 760.0,
    ]),
    y=np.array([
        10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.4,
        75.47, 81.78,
    ]),
    b1=238.94212918, b2=0.00055015643181, sd_b1=2.7070075241, sd_b2=7.2668688436e-06,
    rss=0.12455138894, residual_sd=0.1018787633,
)  # fmt: skip
BOXBOD = Certified(
    name="BOXBOD",
    x=np.array([1.0, 2.0, 3.0, 5.0, 7.0, 10.0]),
    y=np.array([109.0, 149.0, 149.0, 191.0, 213.0, 224.0]),
    b1=213.80940889, b2=0.54723748542, sd_b1=12.354515176, sd_b2=0.10455993237,
    rss=1168.0088766, residual_sd=17.088072423,
)  # fmt: skip

MGH17_X = np.arange(33) * 10.0
MGH17_Y = np.array(
    [
        0.844,
        0.908,
        0.932,
        0.936,
        0.925,
        0.908,
        0.881,
        0.85,
        0.818,
        0.784,
        0.751,
        0.718,
        0.685,
        0.658,
        0.628,
        0.603,
        0.58,
        0.558,
        0.538,
        0.522,
        0.506,
        0.49,
        0.478,
        0.467,
        0.457,
        0.448,
        0.438,
        0.431,
        0.424,
        0.42,
        0.414,
        0.411,
        0.406,
    ]
)
MGH17_B = (0.37541005211, 1.9358469127, -1.4646871366, 0.01286753464, 0.022122699662)
MGH17_RSS = 5.4648946975e-05


def fit_at(case: Certified, tau: float) -> Profile:
    """The curve through 0 at one tau: no column for a start."""
    nothing = np.zeros((len(case.x), 0))
    ones = np.ones(len(case.x))
    return profile_curve(case.x, case.y, ones, levels_count=nothing, tau_grams=np.array([tau]))


def slope_of_misfit(log_tau: float, case: Certified) -> float:
    """dQ / d ln tau: given tau the rest is optimal, so only tau's own part is left."""
    tau = float(np.exp(log_tau))
    change = float(fit_at(case, tau).change_response[0])
    rest = case.y - change * -np.expm1(-case.x / tau)
    return float(2 * change * (rest * (case.x / tau) * np.exp(-case.x / tau)).sum())


def best_tau(case: Certified) -> float:
    grid = np.geomspace(0.01, 1e5, 600)
    nothing = np.zeros((len(case.x), 0))
    fit = profile_curve(case.x, case.y, np.ones(len(case.x)), levels_count=nothing, tau_grams=grid)
    place = int(fit.misfit_ratio.argmin())
    ends = np.log(grid[place - 1]), np.log(grid[place + 1])
    return float(np.exp(brentq(slope_of_misfit, *ends, args=(case,), xtol=1e-15)))


@pytest.mark.parametrize("case", [MISRA1A, BOXBOD], ids=lambda case: case.name)
def test_parameters_and_residuals_agree_with_the_certified_ones(case: Certified) -> None:
    tau = best_tau(case)
    fit = fit_at(case, tau)
    assert 1 / tau == pytest.approx(case.b2, rel=1e-8)
    assert float(fit.change_response[0]) == pytest.approx(case.b1, rel=1e-8)
    assert float(fit.misfit_ratio[0]) == pytest.approx(case.rss, rel=1e-8)
    residual_sd = np.sqrt(float(fit.misfit_ratio[0]) / (len(case.x) - 2))
    assert residual_sd == pytest.approx(case.residual_sd, rel=1e-8)


@pytest.mark.parametrize("case", [MISRA1A, BOXBOD], ids=lambda case: case.name)
def test_standard_deviations_follow_from_the_fit(case: Certified) -> None:
    tau = best_tau(case)
    fit = fit_at(case, tau)
    change = float(fit.change_response[0])
    slopes = np.column_stack([
        -np.expm1(-case.x / tau), change * case.x * np.exp(-case.x / tau)
    ])  # fmt: skip
    variance = float(fit.misfit_ratio[0]) / (len(case.x) - 2)
    found = np.sqrt(np.diag(np.linalg.inv(slopes.T @ slopes)) * variance)
    assert found == pytest.approx([case.sd_b1, case.sd_b2], rel=1e-6)


# Limits of the profile likelihood, RSS <= RSS_min (1 + t^2 / df), worked out by another program
# (own computation, no published source); they lie far from the symmetric Wald limits.
PROFILE_B2 = {"MISRA1A": (0.0005343182679287376, 0.0005660298972764428),
              "BOXBOD": (0.30258962269312084, 1.0730532049513992)}  # fmt: skip
PROFILE_B1 = {"MISRA1A": (233.19530946839274, 245.01736858274103),
              "BOXBOD": (180.96700467357778, 258.5677770567168)}  # fmt: skip
WALD_B2_BOXBOD = (0.256932572990498, 0.8375423978479023)


@pytest.mark.parametrize("case", [MISRA1A, BOXBOD], ids=lambda case: case.name)
def test_limits_are_those_of_the_profile_likelihood(case: Certified) -> None:
    tau, freedom = best_tau(case), len(case.x) - 2
    least = float(fit_at(case, tau).misfit_ratio[0])
    limit = least * (1 + float(student.ppf(0.975, freedom)) ** 2 / freedom)

    def above(log_tau: float) -> float:
        return float(fit_at(case, float(np.exp(log_tau))).misfit_ratio[0]) - limit

    middle = np.log(tau)
    low = np.exp(brentq(above, middle - 2, middle, xtol=1e-12))
    high = np.exp(brentq(above, middle, middle + 2, xtol=1e-12))
    assert (1 / high, 1 / low) == pytest.approx(PROFILE_B2[case.name], rel=1e-5)
    grid = np.geomspace(low, high, 20_001)
    fit = profile_curve(
        case.x,
        case.y,
        np.ones(len(case.x)),
        levels_count=np.zeros((len(case.x), 0)),
        tau_grams=grid,
    )
    limits = union_limits(fit.change_response, fit.change_sd_response, fit.misfit_ratio, limit)
    assert limits == pytest.approx(PROFILE_B1[case.name], rel=1e-5)


def test_the_profile_of_boxbod_is_not_the_symmetric_one() -> None:
    low, high = PROFILE_B2["BOXBOD"]
    assert low > WALD_B2_BOXBOD[0] + 0.04
    assert high > WALD_B2_BOXBOD[1] + 0.2


def test_two_phases_fit_as_certified_when_the_second_stands_beside_the_curve() -> None:
    b1, b2, b3, b4, b5 = MGH17_B
    columns = np.column_stack([np.ones(33), np.exp(-MGH17_X * b5)])
    fit = profile_curve(
        MGH17_X, MGH17_Y, np.ones(33), levels_count=columns, tau_grams=np.array([1 / b4])
    )
    assert float(fit.misfit_ratio[0]) == pytest.approx(MGH17_RSS, rel=1e-8)
    assert -float(fit.change_response[0]) == pytest.approx(b2, rel=1e-6)
    start = float(fit.level_response[0] - fit.change_response[0] * fit.lever_ratio[0])
    assert start == pytest.approx(b1 + b2, rel=1e-6)
    assert b3 < 0  # the second phase runs the other way: one exponential cannot follow


def test_one_phase_alone_misses_two_phases_by_far() -> None:
    fit = profile_curve(MGH17_X, MGH17_Y, np.ones(33), tau_grams=np.geomspace(1, 1e4, 400))
    assert float(fit.misfit_ratio.min()) > 100 * MGH17_RSS
