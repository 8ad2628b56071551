"""The thermal model asked backwards: inverses undo the steps, and move the right way."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from burrline_service.core.thermal import Thermal, step_celsius, trajectory_celsius
from burrline_service.core.thermal_cycle import cycle_celsius, steady_cycle
from burrline_service.core.thermal_duty import (
    cycle_duty_fraction,
    sustained_duty_fraction,
    sustained_rest_seconds,
)
from burrline_service.core.thermal_limits import (
    cooling_seconds,
    highest_start_celsius,
    longest_run_seconds,
    rest_seconds,
)
from burrline_service.core.thermal_slope import highest_celsius, safe_run_seconds

MOTOR = Thermal(120.0, 1200.0, 2400.0, 25.0)
motors = st.builds(
    Thermal,
    st.floats(10.0, 400.0),
    st.floats(60.0, 10_000.0),
    st.floats(60.0, 20_000.0),
    st.floats(-10.0, 45.0),
)
celsius_values = st.floats(-20.0, 300.0)
run_lengths = st.floats(0.0, 20_000.0)
K = 1e-6  # tolerance of a temperature, in kelvin


# --- inverses -------------------------------------------------------------------------------------


@given(celsius_values, celsius_values, motors)
def test_the_longest_run_leads_to_the_limit_and_no_further(
    celsius: float, limit: float, motor: Thermal
) -> None:
    found = longest_run_seconds(celsius, limit, motor)
    if celsius >= limit:
        assert found == 0
    elif found == math.inf:
        assert motor.ambient_celsius + motor.rise_kelvin <= limit
    else:
        assume(found < 30 * motor.heating_time_constant_seconds)  # beyond, a double has settled
        assert step_celsius(celsius, found, True, motor) == pytest.approx(limit, abs=K)


@given(celsius_values, run_lengths, celsius_values, motors)
def test_the_rest_is_the_shortest_after_which_the_run_stays_within_the_limit(
    celsius: float, run: float, limit: float, motor: Thermal
) -> None:
    rest = rest_seconds(celsius, run, limit, motor)
    start = highest_start_celsius(run, limit, motor)
    if rest == math.inf:
        assert start <= motor.ambient_celsius
        return
    rested = step_celsius(celsius, rest, False, motor)
    end = step_celsius(rested, run, True, motor)
    assert max(rested, end) <= limit + K
    if rest > 0:  # a little less is not enough
        early = step_celsius(celsius, 0.999 * rest, False, motor)
        assert early >= start - 1e-9
    else:
        assert celsius <= start


@given(celsius_values, celsius_values, motors)
def test_cooling_for_the_time_told_leads_to_the_temperature_asked(
    celsius: float, lower: float, motor: Thermal
) -> None:
    found = cooling_seconds(celsius, lower, motor)
    if found == math.inf:
        assert lower <= motor.ambient_celsius
        assert lower < celsius
    elif found == 0:
        assert celsius <= lower
    else:
        assume(lower - motor.ambient_celsius > K)
        assert step_celsius(celsius, found, False, motor) == pytest.approx(lower, abs=K)


@given(celsius_values, st.floats(0.0, 50.0), run_lengths, celsius_values, motors)
def test_a_warmer_motor_may_run_no_longer_and_rests_no_less(
    celsius: float, warmer: float, run: float, limit: float, motor: Thermal
) -> None:
    cold, warm = celsius, celsius + warmer
    assert longest_run_seconds(warm, limit, motor) <= longest_run_seconds(cold, limit, motor)
    assert rest_seconds(warm, run, limit, motor) >= rest_seconds(cold, run, limit, motor)


@given(celsius_values, run_lengths, st.floats(0.0, 5000.0), celsius_values, motors)
def test_a_longer_run_needs_no_shorter_rest(
    celsius: float, run: float, longer: float, limit: float, motor: Thermal
) -> None:
    assert rest_seconds(celsius, run + longer, limit, motor) >= rest_seconds(
        celsius, run, limit, motor
    )
    assert highest_start_celsius(run + longer, limit, motor) <= highest_start_celsius(
        run, limit, motor
    )


@given(celsius_values, run_lengths, celsius_values, st.floats(0.0, 50.0), motors)
def test_a_higher_limit_allows_no_less(
    celsius: float, run: float, limit: float, more: float, motor: Thermal
) -> None:
    high = limit + more
    assert longest_run_seconds(celsius, high, motor) >= longest_run_seconds(celsius, limit, motor)
    assert rest_seconds(celsius, run, high, motor) <= rest_seconds(celsius, run, limit, motor)


@given(st.floats(0.0, 200.0), st.floats(1.0, 200.0), st.floats(1.0, 3000.0), st.floats(0.1, 50.0))
def test_times_scale_with_times_and_not_with_rises(
    rise: float, limit: float, run: float, factor: float
) -> None:
    motor = Thermal(120.0, 1200.0, 2400.0, 0.0)
    slower = Thermal(120.0, 1200.0 * factor, 2400.0 * factor, 0.0)
    hotter = Thermal(120.0 * factor, 1200.0, 2400.0, 0.0)
    longest = longest_run_seconds(rise, limit, motor)
    start = highest_start_celsius(run, limit, motor)
    assume(abs(start) > 1e-3)
    assume(abs(rise - start) > 1e-3)
    assume(abs(rise - limit) > 1e-3)
    assume(abs(limit - 120.0) > 1e-3)
    rest = rest_seconds(rise, run, limit, motor)
    near = {"rel": 1e-6, "abs": 1e-6}
    assert longest_run_seconds(rise, limit, slower) == pytest.approx(factor * longest, **near)
    assert rest_seconds(rise, factor * run, limit, slower) == pytest.approx(factor * rest, **near)
    assert longest_run_seconds(factor * rise, factor * limit, hotter) == pytest.approx(
        longest, **near
    )
    assert rest_seconds(factor * rise, run, factor * limit, hotter) == pytest.approx(rest, **near)


# --- edges ----------------------------------------------------------------------------------------


def test_a_run_of_a_thousand_time_constants_overflows_to_never() -> None:
    assert highest_start_celsius(1.2e6, 90.0, MOTOR) == -math.inf
    assert rest_seconds(25.0, 1.2e6, 90.0, MOTOR) == math.inf
    assert sustained_rest_seconds(1.2e6, 90.0, MOTOR) == math.inf
    assert sustained_duty_fraction(1.2e6, 90.0, MOTOR) == 0.0


def test_a_motor_that_can_never_reach_its_limit_only_cools_down_to_it() -> None:
    mild = Thermal(60.0, 1200.0, 2400.0, 25.0)
    assert highest_start_celsius(1e9, 90.0, mild) == 90.0
    assert rest_seconds(95.0, math.inf, 90.0, mild) == cooling_seconds(95.0, 90.0, mild) > 0
    assert rest_seconds(90.0, math.inf, 90.0, mild) == 0
    assert longest_run_seconds(80.0, 90.0, mild) == math.inf
    assert sustained_duty_fraction(600.0, 90.0, mild) == cycle_duty_fraction(60.0, 90.0, mild) == 1


def test_a_limit_below_the_room_is_never_reached_by_rest() -> None:
    assert rest_seconds(40.0, 0.0, 20.0, MOTOR) == math.inf
    assert cooling_seconds(40.0, 25.0, MOTOR) == math.inf
    assert sustained_duty_fraction(10.0, 20.0, MOTOR) == 0
    assert cycle_duty_fraction(600.0, 20.0, MOTOR) == 0
    assert rest_seconds(10.0, 0.0, 20.0, MOTOR) == 0  # colder than the limit already


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize(
    "ask",
    [
        lambda bad: longest_run_seconds(bad, 90.0, MOTOR),
        lambda bad: longest_run_seconds(25.0, bad, MOTOR),
        lambda bad: highest_start_celsius(60.0, bad, MOTOR),
        lambda bad: rest_seconds(bad, 60.0, 90.0, MOTOR),
        lambda bad: cooling_seconds(bad, 40.0, MOTOR),
        lambda bad: safe_run_seconds(25.0, bad, 0.1),
        lambda bad: safe_run_seconds(bad, 90.0, 0.1),
        lambda bad: safe_run_seconds(25.0, 90.0, bad),
        lambda bad: highest_celsius(25.0, bad, 0.1),
        lambda bad: highest_celsius(25.0, 60.0, 0.1, bad),
        lambda bad: steady_cycle(bad, 60.0, MOTOR),
        lambda bad: steady_cycle(60.0, bad, MOTOR),
        lambda bad: cycle_celsius(1, 60.0, 60.0, MOTOR, bad),
        lambda bad: sustained_duty_fraction(bad, 90.0, MOTOR),
        lambda bad: sustained_rest_seconds(60.0, bad, MOTOR),
        lambda bad: cycle_duty_fraction(bad, 90.0, MOTOR),
        lambda bad: cycle_duty_fraction(600.0, bad, MOTOR),
    ],
)
def test_a_number_that_is_none_is_refused(ask: Callable[[float], object], bad: float) -> None:
    with pytest.raises(ValueError, match=r"finite|at least"):
        ask(bad)


def test_times_out_of_range_are_refused_with_the_number() -> None:
    with pytest.raises(ValueError, match="-1"):
        highest_start_celsius(-1.0, 90.0, MOTOR)
    with pytest.raises(ValueError, match="nan"):
        cooling_seconds(50.0, math.nan, MOTOR)
    with pytest.raises(ValueError, match=r"not -0\.1"):
        safe_run_seconds(25.0, 90.0, -0.1)
    with pytest.raises(ValueError, match="millisecond"):
        steady_cycle(0.0, 0.0, MOTOR)
    with pytest.raises(ValueError, match="cycle_count"):
        cycle_celsius(0, 60.0, 60.0, MOTOR)


# --- cycles ---------------------------------------------------------------------------------------

ons = st.floats(0.5, 5000.0)
offs = st.floats(0.0, 5000.0)


@given(ons, offs, motors)
def test_the_steady_cycle_is_a_fixed_point_of_its_two_steps(
    on: float, off: float, motor: Thermal
) -> None:
    cycle = steady_cycle(on, off, motor)
    peak = step_celsius(cycle.trough_celsius, on, True, motor)
    assert peak == pytest.approx(cycle.peak_celsius, abs=K)
    assert step_celsius(peak, off, False, motor) == pytest.approx(cycle.trough_celsius, abs=K)
    assert cycle.trough_celsius - K <= cycle.mean_celsius <= cycle.peak_celsius + K


@given(ons, offs, st.floats(1.0, 1000.0), motors)
def test_the_settled_peak_rises_with_running_and_falls_with_rest(
    on: float, off: float, more: float, motor: Thermal
) -> None:
    peak = steady_cycle(on, off, motor).peak_celsius
    assert steady_cycle(on + more, off, motor).peak_celsius >= peak - 1e-9
    assert steady_cycle(on, off + more, motor).peak_celsius <= peak + 1e-9


@given(st.integers(1, 30), ons, offs, celsius_values, motors)
def test_the_nth_cycle_is_n_times_two_steps(
    count: int, on: float, off: float, start: float, motor: Thermal
) -> None:
    celsius = peak = start
    for _ in range(count):
        peak = step_celsius(celsius, on, True, motor)
        celsius = step_celsius(peak, off, False, motor)
    found = cycle_celsius(count, on, off, motor, start)
    assert found == pytest.approx((peak, celsius), abs=K)


@given(ons, offs, motors)
def test_after_the_settling_count_one_percent_is_left(
    on: float, off: float, motor: Thermal
) -> None:
    cycle = steady_cycle(on, off, motor)
    assert cycle.kept_fraction**cycle.settling_count <= 0.01 * (1 + 1e-9)
    if cycle.settling_count > 1:
        assert cycle.kept_fraction ** (cycle.settling_count - 1) >= 0.01 * (1 - 1e-9)


def test_the_mean_is_that_of_a_sampled_cycle() -> None:
    cycle = steady_cycle(150.0, 450.0, MOTOR)
    middles = [0.05 + 0.1 * index for index in range(6000)]
    sampled = trajectory_celsius(
        [0.0], [150.0], middles, MOTOR, start_seconds=0.0, start_celsius=cycle.trough_celsius
    )
    assert cycle.mean_celsius == pytest.approx(float(sampled.mean()), abs=1e-5)


@given(st.floats(1.0, 3000.0), st.floats(1.0, 150.0), motors)
def test_the_sustained_cycle_peaks_at_the_limit(run: float, room: float, motor: Thermal) -> None:
    limit = motor.ambient_celsius + room
    rest = sustained_rest_seconds(run, limit, motor)
    duty = sustained_duty_fraction(run, limit, motor)
    if rest == math.inf:
        assert duty == 0
        assert longest_run_seconds(motor.ambient_celsius, limit, motor) <= run * (1 + 1e-9)
    elif rest > 0:
        assert steady_cycle(run, rest, motor).peak_celsius == pytest.approx(limit, abs=1e-5)
        assert duty == pytest.approx(cycle_duty_fraction(run + rest, limit, motor), abs=1e-6)
        assert duty <= sustained_duty_fraction(0.0, limit, motor) + 1e-9


@given(st.floats(1.0, 3000.0), st.floats(1.0, 3000.0), st.floats(1.0, 150.0), motors)
def test_longer_runs_sustain_no_more(
    run: float, longer: float, room: float, motor: Thermal
) -> None:
    limit = motor.ambient_celsius + room
    assert sustained_duty_fraction(run + longer, limit, motor) <= (
        sustained_duty_fraction(run, limit, motor) + 1e-12
    )


# --- only the slope is known ----------------------------------------------------------------------


@given(
    st.lists(st.tuples(st.floats(0.0, 600.0), st.floats(0.0, 600.0)), max_size=6),
    st.floats(-10.0, 250.0),
    motors,
)
def test_the_slope_bounds_every_history_from_above(
    stretches: list[tuple[float, float]], start: float, motor: Thermal
) -> None:
    slope = motor.rise_kelvin / motor.heating_time_constant_seconds
    celsius, on = start, 0.0
    for running, rest in stretches:
        celsius = step_celsius(celsius, running, True, motor)
        on += running
        bound = highest_celsius(start, on, slope, motor.ambient_celsius)
        assert celsius <= bound + K
        celsius = step_celsius(celsius, rest, False, motor)
        assert celsius <= bound + K


@given(st.floats(-10.0, 250.0), celsius_values, motors)
def test_the_safe_run_is_never_longer_than_the_true_one(
    celsius: float, limit: float, motor: Thermal
) -> None:
    slope = motor.rise_kelvin / motor.heating_time_constant_seconds
    safe = safe_run_seconds(celsius, limit, slope, motor.ambient_celsius)
    assert safe <= longest_run_seconds(celsius, limit, motor) * (1 + 1e-9)


def test_without_any_slope_every_run_is_safe_and_none_above_the_limit() -> None:
    assert safe_run_seconds(25.0, 90.0, 0.0) == math.inf
    assert safe_run_seconds(90.0, 90.0, 0.0) == 0.0
    assert safe_run_seconds(10.0, 20.0, 0.1, 30.0) == 0.0  # the room is above the limit


def test_ambient_moves_limits_with_it() -> None:
    warmer = replace(MOTOR, ambient_celsius=35.0)
    assert longest_run_seconds(35.0, 100.0, warmer) == longest_run_seconds(25.0, 90.0, MOTOR)
