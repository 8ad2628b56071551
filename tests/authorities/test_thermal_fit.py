"""The fit of a motor against known datasets, the Cramer-Rao bound and an independent solver.

The datasets are exact solutions of the first-order model (derived, closed form; checked against
an integrator of order 8): three that differ in what can be known from them at all.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import least_squares

from burrline_service.core.thermal_descent import Prior
from burrline_service.core.thermal_fit import fit_motor
from burrline_service.core.thermal_motor import MotorFit
from burrline_service.core.thermal_one_body import (
    AMBIENT_PRIOR,
    PRIOR_MEANS,
    PRIOR_SPREADS,
    OneBody,
    fit_one_body,
    spread_of,
)
from burrline_service.core.thermal_response import response_table, responses

# rise 120 K, heating 1200 s, cooling 2400 s, ambient 25 degrees; (start, duration, read at end)
IDENTIFIABLE = np.array(
    [
        (0, 60, 30.852469),
        (600, 300, 55.183469),
        (2400, 900, 95.947590),
        (4500, 1800, 127.826093),
        (7200, 120, 100.365520),
        (9000, 600, 94.915979),
        (10200, 240, 91.332706),
        (14400, 1500, 114.269263),
        (18000, 45, 65.259990),
        (19800, 420, 74.092462),
        (21600, 90, 59.299294),
        (25200, 1200, 103.777509),
    ]
)
# two hours apart, so cold each time; the same motor, read to 0.1 degrees
SLOPE_SECONDS = np.array([8, 12, 18, 20, 30, 10, 15, 25, 8, 20, 18, 30], dtype=float)
SLOPE_CELSIUS = np.array([25.8, 26.2, 26.8, 27.1, 28.1, 26.1, 26.5, 27.6, 25.9, 27.0, 26.9, 28.1])


def one_body(starts: np.ndarray, ends: np.ndarray, read: np.ndarray) -> OneBody:
    table = response_table(starts, ends, ends)
    return fit_one_body(starts, ends, ends, read, ambient_celsius=None, table=table)


def identifiable(read: np.ndarray) -> tuple[float, float, float, float]:
    starts = IDENTIFIABLE[:, 0]
    point = one_body(starts, starts + IDENTIFIABLE[:, 1], read).point
    return (
        math.exp(point[0]),
        math.exp(point[1]),
        math.exp(point[1] + point[2]),
        float(point[3]),
    )


def fitted(read: np.ndarray) -> MotorFit:
    starts = IDENTIFIABLE[:, 0]
    ends = starts + IDENTIFIABLE[:, 1]
    return fit_motor(starts, ends, ends, read, body="winding")


def test_exact_readings_give_the_truth() -> None:
    found = identifiable(IDENTIFIABLE[:, 2])
    # 2e-7: the readings are printed to 1e-6 K
    assert found == pytest.approx((120.0, 1200.0, 2400.0, 25.0), rel=1e-6)


def test_tenths_of_a_degree_cost_little() -> None:
    rise, heating, cooling, ambient = identifiable(IDENTIFIABLE[:, 2].round(1))
    assert rise == pytest.approx(120.0, abs=0.1)
    assert heating == pytest.approx(1202.0, abs=10.0)
    assert cooling == pytest.approx(2400.0, abs=10.0)
    assert ambient == pytest.approx(25.05, abs=0.2)


def test_whole_degrees_cost_three_of_a_hundred() -> None:
    found = identifiable(IDENTIFIABLE[:, 2].round())
    assert found == pytest.approx((120.1, 1201.0, 2374.0, 25.03), rel=0.03)


def test_two_wild_readings_are_survived_where_plain_least_squares_is_not() -> None:
    read = IDENTIFIABLE[:, 2].round(1)
    read[2] += 20.0
    read[8] -= 15.0
    found = identifiable(read)
    assert found == pytest.approx((120.0, 1200.0, 2397.0, 25.04), rel=0.01)

    starts = IDENTIFIABLE[:, 0]
    ends = starts + IDENTIFIABLE[:, 1]

    def linear(point: np.ndarray) -> np.ndarray:
        heating, cooling = np.exp(point[1:3])
        shares = responses(starts, ends, ends, [heating], [cooling])[0]
        return np.asarray(point[3] + np.exp(point[0]) * shares - read)

    plain = least_squares(linear, [np.log(100.0), np.log(1000.0), np.log(2000.0), 22.0]).x
    assert np.exp(plain[1]) == pytest.approx(816.0, rel=0.02)  # what must not be accepted
    assert found[1] == pytest.approx(1200.0, rel=0.01)


def test_identifiable_readings_are_said_to_be() -> None:
    fit = fitted(IDENTIFIABLE[:, 2].round())
    assert fit.status == "identified"
    for bounds, truth in (
        (fit.rise_kelvin, 120.0),
        (fit.heating_time_constant_seconds, 1200.0),
        (fit.cooling_time_constant_seconds, 2400.0),
        (fit.ambient_celsius, 25.0),
    ):
        assert bounds is not None
        assert bounds.low < truth < bounds.high
    assert fit.ambient_source == "estimated"
    assert fit.longest_run_seconds == 1800.0
    assert fit.valid_run_seconds == 2700.0  # 1.5 times the longest run seen


def test_short_runs_from_cold_tell_the_slope_alone() -> None:
    starts = 7200.0 * np.arange(12)
    ends = starts + SLOPE_SECONDS
    fit = fit_motor(starts, ends, ends, SLOPE_CELSIUS, body="winding")
    assert fit.status == "slope_only"
    assert fit.slope_kelvin_per_second is not None
    assert 0.100 <= fit.slope_kelvin_per_second.best <= 0.116
    assert fit.slope_kelvin_per_second.low < 0.1 < fit.slope_kelvin_per_second.high
    assert fit.rise_kelvin is None
    assert fit.heating_time_constant_seconds is None
    assert fit.cooling_time_constant_seconds is None
    assert not fit.is_forecasting


def test_steady_cycles_tell_a_level_alone() -> None:
    # 60 s in 300 s, rise 80 K, both constants 1200 s, ambient 25: settled after 19 cycles
    starts = 300.0 * np.arange(120)
    ends = starts + 60.0
    read = np.full(40, 42.638607)
    fit = fit_motor(starts, ends, ends[80:], read, body="winding")
    assert fit.status == "level_only"
    assert fit.level_celsius == pytest.approx(42.638607)
    assert fit.rise_kelvin is None
    assert fit.heating_time_constant_seconds is None


# Fisher information of 10 equally spaced readings of one heating run, rise 100 K, noise 1 K,
# ambient known: record length over time constant, sd of ln rise, ln tau, ln slope, correlation
CRAMER_RAO = [
    (0.10, 5.1276, 5.3328, 0.2122, 0.9999),
    (0.25, 0.8380, 0.9242, 0.0894, 0.9996),
    (0.50, 0.2171, 0.2638, 0.0486, 0.9984),
    (1.0, 0.0584, 0.0857, 0.0287, 0.9922),
    (1.5, 0.0281, 0.0492, 0.0224, 0.9795),
    (2.0, 0.0173, 0.0356, 0.0196, 0.9591),
    (3.0, 0.0094, 0.0254, 0.0175, 0.8970),
    (5.0, 0.0054, 0.0211, 0.0175, 0.7414),
]


@pytest.mark.parametrize(("length", "rise", "constant", "slope", "correlation"), CRAMER_RAO)
def test_the_covariance_is_the_cramer_rao_bound(
    length: float, rise: float, constant: float, slope: float, correlation: float
) -> None:
    tau = 1000.0
    at = length * tau * np.arange(1, 11) / 10
    step = 1e-5
    shares = responses([0.0], [10 * tau], at, [tau, tau * math.exp(step), tau * math.exp(-step)],
                       [tau] * 3)  # fmt: skip
    slopes = 100.0 * np.stack([shares[0], (shares[1] - shares[2]) / (2 * step)], axis=1)
    no_prior = Prior(np.zeros(2), np.full(2, 1e9))
    spread = spread_of(slopes, np.zeros(10), 1.0, no_prior)
    sd = np.sqrt(np.diag(spread))
    # the table is printed to four places
    assert sd[0] == pytest.approx(rise, abs=6e-5, rel=1e-4)
    assert sd[1] == pytest.approx(constant, abs=6e-5, rel=1e-4)
    assert math.sqrt(spread[0, 0] + spread[1, 1] - 2 * spread[0, 1]) == pytest.approx(
        slope, abs=6e-5
    )
    assert spread[0, 1] / (sd[0] * sd[1]) == pytest.approx(correlation, abs=6e-5)


@pytest.mark.parametrize("seed", range(6))
def test_the_fit_is_the_minimum_that_scipy_finds(seed: int) -> None:
    dice = np.random.default_rng(seed)
    starts = np.cumsum(dice.uniform(60.0, 7200.0, 20)) + 2000.0 * np.arange(20)
    ends = starts + dice.uniform(30.0, 1800.0, 20)
    truth = np.array([np.log(120.0), np.log(1200.0), np.log(2400.0), 25.0])

    def model(point: np.ndarray) -> np.ndarray:
        shares = responses(starts, ends, ends, [np.exp(point[1])], [np.exp(point[2])])[0]
        return np.asarray(point[3] + np.exp(point[0]) * shares)

    read = model(truth) + dice.normal(0.0, 1.0, 20)
    read[3] += 25.0
    found = one_body(starts, ends, read)
    sigma = found.residual_kelvin
    # the same loss and priors, told to scipy as the last residuals
    means = np.array([*PRIOR_MEANS, AMBIENT_PRIOR[0]])
    spreads = np.array([*PRIOR_SPREADS, AMBIENT_PRIOR[1]])
    scale = 2.385

    def robust(point: np.ndarray) -> np.ndarray:
        residuals = (read - model(point)) / sigma
        cost = scale**2 * np.log1p((residuals / scale) ** 2)
        band = np.array([point[0], point[1], point[2] - point[1], point[3]])
        return np.concatenate([np.sqrt(cost) * np.sign(residuals), (band - means) / spreads])

    theirs = least_squares(robust, truth, xtol=1e-12, ftol=1e-12, gtol=1e-12).x
    mine = found.point + np.array([0.0, 0.0, found.point[1], 0.0])
    # the size of the residuals is settled to 3 %, which moves the minimum by less than this
    turn = np.eye(4)
    turn[2, 1] = 1.0
    sd = np.sqrt(np.diag(turn @ found.covariance @ turn.T))
    assert np.all(np.abs(mine - theirs) < 0.15 * sd)
    assert np.all(np.abs(mine - truth) < 4.0 * sd)
