"""What a duty rating allows from now on, against counting seconds one by one."""

from __future__ import annotations

import math
import random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline_service.core.answers import Allowance
from burrline_service.core.duty_wait import (
    COLD_KELVIN,
    COLD_REST_SECONDS,
    allow_by_duty,
    allowance_of,
    longest_run_seconds,
)
from burrline_service.core.intervals import wait_seconds
from burrline_service.core.records import RatedDuty
from burrline_service.core.thermal import Thermal, step_celsius, trajectory_celsius
from burrline_service.core.thermal_limits import cooling_seconds

Runs = list[tuple[int, int]]
run_lists = st.lists(
    st.tuples(st.integers(-80, 5), st.integers(0, 25)).map(lambda pair: (pair[0], sum(pair))),
    max_size=8,
)
MOTOR = Thermal(120.0, 1200.0, 2400.0, 25.0)
S1, S3 = RatedDuty("continuous"), RatedDuty("intermittent", duty_fraction=0.25)
S2 = RatedDuty("short_time", on_seconds=300.0)


def columns(runs: Runs) -> tuple[list[float], list[float]]:
    return [float(start) for start, _ in runs], [float(end) for _, end in runs]


def counted_within(runs: Runs, wait: int, run: int, limit: int, cycle: int) -> bool:
    """Whether a run after a wait keeps every window of the cycle within the limit, by counting."""
    on = {second for start, end in runs for second in range(start, min(end, 0))}
    on |= set(range(wait, wait + run))
    return all(
        sum(second in on for second in range(end - cycle, end)) <= limit
        for end in range(wait + 1, wait + run + 1)
    )


def allowed(runs: Runs, run: float, rated: RatedDuty | None, **more: Any) -> Allowance:
    return allow_by_duty(*columns(runs), now_seconds=0.0, run_seconds=run, rated=rated, **more)


# --- rolling limits -------------------------------------------------------------------------------


@given(run_lists, st.integers(1, 40), st.integers(0, 39))
def test_the_longest_run_now_is_the_longest_that_counting_allows(
    runs: Runs, cycle: int, limit: int
) -> None:
    found = longest_run_seconds(*columns(runs), 0.0, limit, cycle)
    if limit >= cycle:
        assert found == math.inf
        return
    counted = 0
    while counted_within(runs, 0, counted + 1, limit, cycle):
        counted += 1
    past = {second for start, end in runs for second in range(start, min(end, 0))}
    is_over = sum(second in past for second in range(-cycle, 0)) > limit
    assert found == (0 if is_over else counted)


@given(run_lists, st.integers(1, 20), st.integers(5, 40), st.integers(1, 39))
def test_the_wait_is_the_shortest_that_counting_allows(
    runs: Runs, run: int, cycle: int, limit: int
) -> None:
    rated = RatedDuty("intermittent", on_seconds=float(min(limit, cycle)), cycle_seconds=cycle)
    found = allowed(runs, run, rated)
    waits = [
        wait for wait in range(200) if counted_within(runs, wait, run, min(limit, cycle), cycle)
    ]
    if not waits:
        assert (found.state, found.wait_seconds) == ("never", None)
    else:
        assert found.wait_seconds == waits[0]
        assert found.state == ("wait" if waits[0] else "ready")


@given(run_lists, st.floats(0.0, 200.0), st.integers(10, 60), st.integers(1, 9))
def test_ready_and_the_longest_run_never_contradict_each_other(
    runs: Runs, run: float, cycle: int, limit: int
) -> None:
    rated = RatedDuty("intermittent", on_seconds=float(limit), cycle_seconds=float(cycle))
    found = allowed(runs, run, rated)
    assert found.longest_run_seconds is not None
    if found.state == "ready":
        assert found.longest_run_seconds >= run - 0.001
    else:
        assert found.longest_run_seconds <= run + 0.001


@given(run_lists, st.integers(0, 30), st.integers(0, 30))
def test_a_longer_run_waits_no_less(runs: Runs, run: int, longer: int) -> None:
    first, second = (
        wait_seconds(*columns(runs), 0.0, length, 15.0, 60.0) for length in (run, run + longer)
    )
    assert second >= first


@given(run_lists, st.randoms(use_true_random=False), st.sampled_from([S1, S2, S3]))
def test_order_and_repetition_change_no_allowance(
    runs: Runs, dice: random.Random, rated: RatedDuty
) -> None:
    shuffled = runs + runs[:3]
    dice.shuffle(shuffled)
    for run in (5.0, 120.0, 400.0):
        assert allowed(runs, run, rated, thermal=MOTOR) == allowed(
            shuffled, run, rated, thermal=MOTOR
        )


def test_ten_thousand_old_runs_change_nothing() -> None:
    recent: Runs = [(-500, -430), (-60, -20)]
    old: Runs = [(-700 - 20 * index, -690 - 20 * index) for index in range(10_000)]
    assert allowed(recent + old, 60.0, S3) == allowed(recent, 60.0, S3)


# --- kinds of rating ------------------------------------------------------------------------------


def test_a_continuous_rating_never_waits() -> None:
    found = allowed([(-7200, 0)], 1e6, S1)
    assert (found.state, found.wait_seconds, found.longest_run_seconds) == ("ready", 0.0, math.inf)


def test_without_a_rating_or_its_numbers_nothing_is_known() -> None:
    nothing = Allowance("unknown", None, None)
    assert allowed([], 10.0, None) == nothing
    assert allowed([], 10.0, RatedDuty("intermittent", cycle_seconds=600.0)) == nothing
    assert allowed([], 10.0, RatedDuty("short_time")) == nothing


def test_a_short_time_rating_with_a_cycle_needs_no_thermal_model() -> None:
    rated = RatedDuty("short_time", on_seconds=60.0, cycle_seconds=660.0)
    assert allowed([(-60, 0)], 60.0, rated).wait_seconds == pytest.approx(600.0)
    assert allowed([], 61.0, rated).state == "never"


HOURS = 3600


def test_a_short_time_rating_alone_counts_from_the_last_rest_of_eight_hours() -> None:
    assert allowed([], 301.0, S2) == Allowance("never", None, None)
    assert allowed([], 300.0, S2) == Allowance("ready", 0.0, 300.0)  # it never ran: it is cold
    assert allowed([(-600, -590)], 60.0, S2) == Allowance("ready", 0.0, 290.0)
    spent: Runs = [(-2 * HOURS, -2 * HOURS + 250)]
    assert allowed(spent, 50.0, S2) == Allowance("ready", 0.0, 50.0)
    more = allowed(spent, 51.0, S2)  # may be cold by now, and may be not
    assert more == Allowance("unknown", 6 * HOURS + 250.0, 50.0)
    rested: Runs = [(-9 * HOURS, -8 * HOURS)]
    assert allowed(rested, 300.0, S2) == Allowance("ready", 0.0, 300.0)
    assert allowed([(-9 * HOURS, -8 * HOURS + 1)], 1.0, S2).state == "unknown"
    day: Runs = [(-20 * HOURS, -19 * HOURS), (-7 * HOURS, -7 * HOURS + 100), (-60, 0)]
    assert allowed(day, 140.0, S2) == Allowance("ready", 0.0, 140.0)


def test_a_motor_warmer_than_any_room_is_not_taken_for_cold() -> None:
    assert allowed([], 10.0, S2, celsius=39.0).state == "ready"
    assert allowed([], 10.0, S2, celsius=41.0) == Allowance("unknown", None, None)


def test_eight_hours_cool_even_a_slow_motor_to_within_2_kelvin() -> None:
    # 150 K above the room and 1 h 51 min: T(8 h) by the closed form of one body
    assert 150.0 * math.exp(-COLD_REST_SECONDS / 6660.0) <= COLD_KELVIN
    slow = Thermal(150.0, 600.0, 6660.0, 25.0)
    assert cooling_seconds(175.0, 27.0, slow) <= COLD_REST_SECONDS


def test_after_the_rated_run_it_rests_until_within_2_kelvin_of_ambient() -> None:
    found = allowed([(-300, 0)], 10.0, S2, thermal=MOTOR)
    end = step_celsius(25.0, 300.0, True, MOTOR)
    assert found.state == "wait"
    assert found.wait_seconds == pytest.approx(2400.0 * math.log((end - 25.0) / 2.0))
    assert found.longest_run_seconds == 0
    assert found.wait_seconds is not None
    rested = trajectory_celsius([-300.0], [0.0], found.wait_seconds, MOTOR)
    assert rested == pytest.approx(27.0)


def test_several_runs_may_share_one_rated_run_from_cold() -> None:
    runs: Runs = [(-1000, -880), (-500, -400)]  # 220 of 300 s, hardly cooled between
    assert allowed(runs, 80.0, S2, thermal=MOTOR) == Allowance("ready", 0.0, 80.0)
    more = allowed(runs, 81.0, S2, thermal=MOTOR)
    assert (more.state, more.longest_run_seconds) == ("wait", 80.0)
    cold_again: Runs = [(-40_000, -39_700), (-100, -60)]
    assert allowed(cold_again, 260.0, S2, thermal=MOTOR).state == "ready"
    assert allowed(cold_again, 300.5, S2, thermal=MOTOR).state == "never"


@given(st.lists(st.tuples(st.integers(1, 60), st.integers(0, 600)), min_size=1, max_size=8))
def test_runs_with_rests_heat_no_more_than_one_run_of_their_sum(
    stretches: list[tuple[int, int]],
) -> None:
    celsius, on = 25.0, 0
    for running, rest in stretches:
        celsius = step_celsius(celsius, running, True, MOTOR)
        on += running
        assert celsius <= step_celsius(25.0, on, True, MOTOR) + 1e-9
        celsius = step_celsius(celsius, rest, False, MOTOR)


def test_a_motor_warmer_than_its_runs_explain_has_nothing_left_until_cold() -> None:
    found = allowed([], 10.0, S2, thermal=MOTOR, celsius=60.0)
    assert found == Allowance("wait", cooling_seconds(60.0, 27.0, MOTOR), 0.0)
    assert allowed([], 10.0, S2, thermal=MOTOR, celsius=26.9).state == "ready"
    assert allowed([], 10.0, S2, celsius=60.0).state == "unknown"


# --- refusals and words ---------------------------------------------------------------------------


@pytest.mark.parametrize("run", [-1.0, math.nan, math.inf])
def test_a_run_of_no_length_is_refused(run: float) -> None:
    with pytest.raises(ValueError, match="run_seconds"):
        allowed([], run, S3)


@pytest.mark.parametrize(
    ("limit", "cycle", "why"),
    [(10.0, 0.0, "cycle"), (10.0, math.inf, "cycle"), (-1.0, 600.0, "limit"), (math.nan, 9, "lim")],
)
def test_limits_without_sense_are_refused(limit: float, cycle: float, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        longest_run_seconds([], [], 0.0, limit, cycle)


def test_a_wait_in_words() -> None:
    assert allowance_of(0.0, 5.0) == Allowance("ready", 0.0, 5.0)
    assert allowance_of(2.5, None) == Allowance("wait", 2.5, None)
    assert allowance_of(math.inf, 1.0) == Allowance("never", None, 1.0)
    with pytest.raises(ValueError, match="wait_seconds"):
        allowance_of(-1.0, None)
