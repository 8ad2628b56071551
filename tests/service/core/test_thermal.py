"""Exact thermal steps and trajectories: laws they obey, an integrator, shapes and refusals."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from burrline_service.core.thermal import (
    Thermal,
    step_celsius,
    step_rise_kelvin,
    trajectory_celsius,
)

MOTOR = Thermal(120.0, 1200.0, 2400.0, 25.0)
motors = st.builds(
    Thermal,
    st.floats(0.0, 400.0),
    st.floats(20.0, 10_000.0),
    st.floats(20.0, 20_000.0),
    st.floats(-20.0, 45.0),
)
stretches = st.floats(0.0, 50_000.0)
rises = st.floats(-50.0, 400.0)
run_lists = st.lists(
    st.tuples(st.integers(0, 900), st.integers(0, 120)).map(lambda pair: (pair[0], sum(pair))),
    max_size=12,
)


def columns(runs: list[tuple[int, int]]) -> tuple[list[float], list[float]]:
    return [float(start) for start, _ in runs], [float(end) for _, end in runs]


def second_by_second(runs: list[tuple[int, int]], motor: Thermal, until: int) -> list[float]:
    """The temperature at every whole second, by steps of one second."""
    on = {second for start, end in runs for second in range(start, end)}
    celsius = [motor.ambient_celsius]
    for second in range(until):
        celsius.append(step_celsius(celsius[-1], 1.0, second in on, motor))
    return celsius


# --- laws -----------------------------------------------------------------------------------------


@given(rises, stretches, stretches, st.booleans(), motors)
def test_two_steps_are_one_step_of_their_sum(
    rise: float, first: float, second: float, is_on: bool, motor: Thermal
) -> None:
    halfway = step_rise_kelvin(rise, first, is_on, motor)
    assert step_rise_kelvin(halfway, second, is_on, motor) == pytest.approx(
        step_rise_kelvin(rise, first + second, is_on, motor), rel=1e-12, abs=1e-10
    )


@given(rises, stretches, st.booleans(), motors)
def test_a_step_goes_towards_its_end_and_never_past_it(
    rise: float, seconds: float, is_on: bool, motor: Thermal
) -> None:
    end = motor.rise_kelvin if is_on else 0.0
    found = step_rise_kelvin(rise, seconds, is_on, motor)
    assert min(rise, end) - 1e-9 <= found <= max(rise, end) + 1e-9
    assert step_rise_kelvin(rise, 0.0, is_on, motor) == rise
    assert step_rise_kelvin(rise, math.inf, is_on, motor) == pytest.approx(end, abs=1e-12)


@given(rises, stretches, st.booleans(), motors, st.floats(0.01, 100.0))
def test_scaling_all_times_leaves_temperatures_and_scaling_all_rises_scales_them(
    rise: float, seconds: float, is_on: bool, motor: Thermal, factor: float
) -> None:
    found = step_rise_kelvin(rise, seconds, is_on, motor)
    slower = replace(
        motor,
        heating_time_constant_seconds=factor * motor.heating_time_constant_seconds,
        cooling_time_constant_seconds=factor * motor.cooling_time_constant_seconds,
    )
    hotter = replace(motor, rise_kelvin=factor * motor.rise_kelvin)
    assert step_rise_kelvin(rise, factor * seconds, is_on, slower) == pytest.approx(
        found, rel=1e-11, abs=1e-11
    )
    assert step_rise_kelvin(factor * rise, seconds, is_on, hotter) == pytest.approx(
        factor * found, rel=1e-11, abs=1e-9
    )


@given(rises, st.floats(0.0, 2000.0), st.booleans(), motors)
def test_a_step_in_celsius_is_the_step_of_the_rise(
    rise: float, seconds: float, is_on: bool, motor: Thermal
) -> None:
    found = step_celsius(motor.ambient_celsius + rise, seconds, is_on, motor)
    assert found - motor.ambient_celsius == pytest.approx(
        step_rise_kelvin(rise, seconds, is_on, motor), abs=1e-9
    )


# --- trajectories ---------------------------------------------------------------------------------


@given(run_lists, motors)
def test_a_trajectory_is_that_of_steps_second_by_second(
    runs: list[tuple[int, int]], motor: Thermal
) -> None:
    stepped = second_by_second(runs, motor, 1200)
    at = np.arange(0.0, 1201.0, 37.0)
    found = trajectory_celsius(*columns(runs), at, motor)
    assert found == pytest.approx([stepped[int(second)] for second in at], abs=1e-7)


@given(run_lists, st.randoms(use_true_random=False), motors)
def test_order_and_repetition_of_runs_and_instants_change_nothing(
    runs: list[tuple[int, int]], dice: random.Random, motor: Thermal
) -> None:
    at = [float(dice.randrange(-100, 1500)) for _ in range(20)]
    found = trajectory_celsius(*columns(runs), at, motor)
    shuffled = runs + runs[:3]
    dice.shuffle(shuffled)
    again = trajectory_celsius(*columns(shuffled), at[::-1], motor)
    assert np.array_equal(found, again[::-1])


@given(run_lists, st.integers(0, 1100), motors)
def test_a_trajectory_taken_up_anywhere_goes_on_as_the_whole(
    runs: list[tuple[int, int]], cut: int, motor: Thermal
) -> None:
    at = np.arange(float(cut), 2000.0, 51.0)
    whole = trajectory_celsius(*columns(runs), at, motor)
    held = float(trajectory_celsius(*columns(runs), float(cut), motor))
    taken_up = trajectory_celsius(
        *columns(runs), at, motor, start_seconds=float(cut), start_celsius=held
    )
    assert taken_up == pytest.approx(whole, abs=1e-9)


@given(run_lists)
def test_a_trajectory_does_not_depend_on_where_the_clock_begins(
    runs: list[tuple[int, int]],
) -> None:
    starts, ends = (np.asarray(column) for column in columns(runs))
    at = np.arange(0.0, 1500.0, 31.0)
    posix = 1_777_896_000.0
    found = trajectory_celsius(starts + posix, ends + posix, at + posix, MOTOR)
    assert found == pytest.approx(trajectory_celsius(starts, ends, at, MOTOR), abs=1e-9)


def test_a_trajectory_agrees_with_an_integrator() -> None:
    motor = Thermal(90.0, 600.0, 1500.0, 21.0)
    runs = [(100.0, 400.0), (600.0, 610.0), (900.0, 1500.0)]
    borders = [0.0, *(second for run in runs for second in run), 3000.0]
    rise, expected = 12.0, []
    for index in range(len(borders) - 1):
        low, high = borders[index], borders[index + 1]
        target, tau = (90.0, 600.0) if index % 2 else (0.0, 1500.0)
        middle = (low + high) / 2
        solved = solve_ivp(
            lambda _, x, target=target, tau=tau: (target - x) / tau,
            (low, high),
            [rise],
            "DOP853",
            t_eval=[middle, high],
            rtol=1e-12,
            atol=1e-12,
        )
        expected += [(middle, solved.y[0, 0]), (high, solved.y[0, 1])]
        rise = solved.y[0, 1]
    found = trajectory_celsius(
        [run[0] for run in runs],
        [run[1] for run in runs],
        [at for at, _ in expected],
        motor,
        start_seconds=0.0,
        start_celsius=33.0,
    )
    assert found - 21.0 == pytest.approx([rise for _, rise in expected], abs=1e-9)


def test_twelve_thousand_runs_keep_their_digits() -> None:
    dice = np.random.default_rng(20260504)
    starts = np.cumsum(dice.uniform(20.0, 400.0, 12_000))
    ends = starts + dice.uniform(5.0, 20.0, 12_000)
    found = trajectory_celsius(starts, ends, ends, MOTOR)
    celsius, clock = MOTOR.ambient_celsius, float(starts[0])
    for index in range(12_000):
        celsius = step_celsius(celsius, max(float(starts[index]) - clock, 0.0), False, MOTOR)
        celsius = step_celsius(celsius, float(ends[index] - starts[index]), True, MOTOR)
        clock = float(ends[index])
        assert abs(found[index] - celsius) < 1e-9


# --- shapes ---------------------------------------------------------------------------------------


def test_answers_have_the_shape_of_what_was_asked() -> None:
    runs = ([0.0], [60.0])
    assert trajectory_celsius(*runs, 60.0, MOTOR).shape == ()
    assert trajectory_celsius(*runs, [], MOTOR).shape == (0,)
    assert trajectory_celsius(*runs, np.zeros((2, 3)), MOTOR).shape == (2, 3)
    assert trajectory_celsius([], [], [1.0, 2.0], MOTOR).tolist() == [25.0, 25.0]
    assert trajectory_celsius(*runs, -5.0, MOTOR) == 25.0


def test_a_given_start_cools_by_itself_and_leaves_out_what_ran_before() -> None:
    found = trajectory_celsius(
        [0.0, 90.0], [50.0, 110.0], [100.0, 110.0], MOTOR, start_seconds=100.0, start_celsius=80.0
    )
    assert found[0] == pytest.approx(80.0)
    assert found[1] == pytest.approx(step_celsius(80.0, 10.0, True, MOTOR))


# --- refusals -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "change",
    [
        {"rise_kelvin": -1.0},
        {"rise_kelvin": math.nan},
        {"rise_kelvin": math.inf},
        {"heating_time_constant_seconds": 0.0},
        {"heating_time_constant_seconds": math.inf},
        {"cooling_time_constant_seconds": math.nan},
        {"ambient_celsius": math.inf},
    ],
)
def test_constants_that_no_motor_has_are_refused_by_name(change: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=next(iter(change))):
        replace(MOTOR, **change)


@pytest.mark.parametrize(("rise", "seconds"), [(math.nan, 1.0), (math.inf, 1.0), (1.0, -1.0)])
def test_a_step_from_nowhere_or_backwards_is_refused(rise: float, seconds: float) -> None:
    with pytest.raises(ValueError, match=r"kelvin|seconds"):
        step_rise_kelvin(rise, seconds, True, MOTOR)
    with pytest.raises(ValueError, match="seconds"):
        step_celsius(20.0, math.nan, False, MOTOR)


@pytest.mark.parametrize(
    ("asked", "why"),
    [
        ({"at_seconds": [math.nan]}, "instants"),
        ({"starts_seconds": [0.0, 1.0]}, "equally long"),
        ({"ends_seconds": [-1.0]}, "before its start"),
        ({"start_celsius": 20.0}, "needs start_seconds"),
        ({"start_seconds": math.nan}, "finite"),
        ({"start_seconds": 0.0, "start_celsius": math.inf}, "finite"),
        ({"start_seconds": 100.0}, "before the start"),
    ],
)
def test_a_trajectory_without_sense_is_refused(asked: dict[str, Any], why: str) -> None:
    sane: dict[str, Any] = {"starts_seconds": [0.0], "ends_seconds": [60.0], "at_seconds": [60.0]}
    with pytest.raises(ValueError, match=why):
        trajectory_celsius(**sane | asked, thermal=MOTOR)
