"""A rest in closed form against the filter that steps through it."""

from __future__ import annotations

import math
import random
from dataclasses import fields, replace
from functools import cache

import numpy as np
import pytest

from burrline_service.core.thermal import Thermal, trajectory_celsius
from burrline_service.core.thermal_ensemble import Body
from burrline_service.core.thermal_fit import fit_motor
from burrline_service.core.thermal_forecast import motors_at, temperatures_celsius
from burrline_service.core.thermal_motor import MotorFit
from burrline_service.core.thermal_rest import rested
from burrline_service.core.thermal_warm import WarmMotors

RESTS = [0.0, 0.001, 1.0, 17.3, 600.0, 3600.0, 6 * 3600.0, 26 * 3600.0]
TRUE = Thermal(90.0, 900.0, 2100.0, 23.0)


@cache
def warm(body: Body) -> tuple[MotorFit, tuple[list[float], ...]]:
    """A motor read at its runs' ends and beside, and once more late: drift and load are drawn."""
    dice = random.Random(9)
    starts, ends, at = [], [], 0.0  # near 0, where a double keeps every microsecond
    for _ in range(40):
        at += dice.uniform(100.0, 1500.0)
        starts.append(at)
        at += dice.uniform(20.0, 300.0)
        ends.append(at)
    read_at = sorted([*ends, *(end + 90.0 for end in ends[::3])])
    true = trajectory_celsius(starts, ends, read_at, TRUE)
    read = [float(one) + dice.gauss(0.0, 1.0) for one in true]
    fit = fit_motor(starts, ends, read_at, read, body=body)
    assert fit.unrest is not None
    # its runs were alike; loads that differ have one more term to carry through a rest
    fit = replace(fit, unrest=fit.unrest._replace(load_fraction=0.2))
    starts, ends = [*starts, at + 200.0], [*ends, at + 260.0]
    return fit, (starts, ends, [*read_at, at + 260.0, at + 300.0], [*read, 61.0, 64.0])


def at_instant(body: Body, at_seconds: float) -> WarmMotors:
    fit, facts = warm(body)
    return motors_at(fit, *facts, [at_seconds])


@pytest.mark.parametrize("body", ["winding", "housing"])
@pytest.mark.parametrize("rest", RESTS)
def test_a_rest_is_the_filters_own_steps_in_one(body: Body, rest: float) -> None:
    last = max(warm(body)[1][2])
    found = rested(at_instant(body, last), rest)
    expected = at_instant(body, last + rest)
    assert np.abs(found.drawn.drift_kelvin).max() > 0
    assert np.abs(at_instant(body, last).drawn.load_fraction).max() > 0
    # drift and load are differences of readings of some 60 degrees: relative to the largest
    for name in ("slow_fraction", "fast_fraction", "ambient_celsius"):
        one, other = getattr(found, name), getattr(expected, name)
        np.testing.assert_allclose(one, other, rtol=1e-9, atol=1e-300, err_msg=name)
    for name in found.drawn._fields:
        one, other = getattr(found.drawn, name), getattr(expected.drawn, name)
        np.testing.assert_allclose(one, other, rtol=1e-9, atol=1e-300, err_msg=name)
    np.testing.assert_allclose(
        temperatures_celsius(found), temperatures_celsius(expected), rtol=1e-9
    )


@pytest.mark.parametrize("body", ["winding", "housing"])
def test_two_rests_are_one_of_their_sum(body: Body) -> None:
    now = at_instant(body, max(warm(body)[1][2]))
    twice, once = rested(rested(now, 400.0), 1100.0), rested(now, 1500.0)
    for one, other in zip(twice.drawn, once.drawn, strict=True):
        np.testing.assert_allclose(one, other, rtol=1e-12)
    np.testing.assert_allclose(twice.slow_fraction, once.slow_fraction, rtol=1e-12)
    np.testing.assert_allclose(twice.fast_fraction, once.fast_fraction, rtol=1e-12)


def test_an_endless_rest_ends_at_ambient_with_the_drift_nobody_knows() -> None:
    now = at_instant("housing", max(warm("housing")[1][2]))
    found = rested(now, 60 * 86_400.0)
    assert found.slow_fraction.max() < 1e-12
    assert found.fast_fraction.max() < 1e-12
    assert np.abs(found.drawn.drift_kelvin).max() < 1e-12
    np.testing.assert_allclose(found.drawn.drift_variance, now.unrest.drift_kelvin**2)
    assert {one.name for one in fields(found)} == {one.name for one in fields(now)}


@pytest.mark.parametrize("seconds", [-1e-9, math.inf, math.nan])
def test_a_rest_of_no_length_is_refused(seconds: float) -> None:
    now = at_instant("housing", max(warm("housing")[1][2]))
    with pytest.raises(ValueError, match="seconds must be finite and at least 0"):
        rested(replace(now), seconds)
