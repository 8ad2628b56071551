"""The pattern of a self-resetting thermal trip: found where it is, silent over ordinary traffic."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline_service.core.thermal import Thermal, step_celsius
from burrline_service.core.thermal_limits import cooling_seconds, longest_run_seconds
from burrline_service.core.trip import MotorRun, SuspectedTrip, suspected_trip

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)
MOTOR = Thermal(160.0, 600.0, 1500.0, 25.0)


def after(seconds: float) -> datetime:
    return NOON + timedelta(seconds=seconds)


def cycling(trip_celsius: float, reset_celsius: float, count: int) -> list[MotorRun]:
    """Runs of a motor left switched on whose winding cut-out trips and resets by itself."""
    runs, clock, celsius = [], 0.0, 25.0
    for _ in range(count):
        seconds = longest_run_seconds(celsius, trip_celsius, MOTOR)
        runs.append(MotorRun(after(clock), round(seconds, 3), round(trip_celsius)))
        clock += round(seconds, 3) + cooling_seconds(trip_celsius, reset_celsius, MOTOR)
        celsius = reset_celsius
    return runs


def cafe_day(dice: random.Random, motor: Thermal, busiest: float) -> list[MotorRun]:
    """Ten hours of doses of 8 to 20 s, a purge now and then, every end read with 1 K of noise."""
    runs, clock, celsius = [], 0.0, motor.ambient_celsius
    while clock < 36_000:
        rush = busiest if 3600 < clock < 12_600 else 4 * busiest
        rest = dice.expovariate(1 / rush) + 4
        seconds = dice.uniform(8, 20) if dice.random() < 0.9 else dice.uniform(1, 4)
        celsius = step_celsius(celsius, rest, False, motor)
        celsius = step_celsius(celsius, seconds, True, motor)
        clock += rest
        read = round(celsius + dice.gauss(0, 1))
        if dice.random() < 0.05:
            read += dice.choice((-30, -10, 10, 30))
        runs.append(MotorRun(after(clock), round(seconds, 3), float(read), "service"))
        clock += seconds
    return runs


def found(runs: list[MotorRun], **asked: Any) -> SuspectedTrip | None:
    return suspected_trip(runs, **{"limit_celsius": 120.0, "is_winding": True} | asked)


# --- found ----------------------------------------------------------------------------------------


def test_a_stop_over_the_limit_a_silence_and_a_restart_are_suspected() -> None:
    runs = [MotorRun(NOON, 600.0, 121.0), MotorRun(after(1500.0), 8.0, 92.0)]
    trip = found(runs)
    assert trip is not None
    assert (trip.stopped_at, trip.restarted_at) == (after(600.0), after(1500.0))
    assert trip.stopped_celsius == 121.0
    assert "15 min" in trip.why


def test_the_temperature_of_the_stop_may_come_from_a_reading_soon_after() -> None:
    runs = [MotorRun(NOON, 600.0), MotorRun(after(1500.0), 8.0)]
    assert found(runs) is None
    readings = [(after(590.0), 60.0), (after(605.0), 122.0), (after(640.0), 119.0)]
    trip = suspected_trip(runs, readings, limit_celsius=120.0, is_winding=True)
    assert trip is not None
    assert trip.stopped_celsius == 122.0
    late = [(after(661.0), 122.0)]
    assert suspected_trip(runs, late, limit_celsius=120.0, is_winding=True) is None


def test_a_winding_cut_out_below_the_class_limit_is_known_by_stopping_thrice_the_same() -> None:
    # makers stock winding bimetals at 100, 120, 135 and 150 degC, resetting 30 to 40 K lower
    for trip_celsius in (100.0, 120.0, 135.0, 150.0):
        for reset_kelvin in (30.0, 40.0):
            runs = cycling(trip_celsius, trip_celsius - reset_kelvin, 3)
            trip = found(runs, limit_celsius=155.0)
            assert trip is not None
            assert trip.stopped_at == runs[1].started_at + timedelta(seconds=runs[1].seconds)
            assert found(runs[:2], limit_celsius=155.0) is None
            assert found(runs, limit_celsius=None) == trip


def test_the_latest_pattern_is_told() -> None:
    runs = cycling(125.0, 90.0, 6)
    trip = found(runs)
    assert trip is not None
    assert trip.restarted_at == runs[5].started_at


# --- not found ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"celsius": 119.0}, "below the limit"),
        ({"seconds": 20.0}, "a dose"),
        ({"silence": 119.0}, "too short to cool"),
        ({"silence": 7201.0}, "somebody came back"),
        ({"celsius": None}, "no temperature"),
    ],
)
def test_what_lacks_one_part_of_the_pattern_is_no_trip(
    change: dict[str, float | None], why: str
) -> None:
    asked: dict[str, Any] = {"seconds": 600.0, "celsius": 121.0, "silence": 900.0} | change
    restart = after(asked["seconds"] + asked["silence"])
    runs = [MotorRun(NOON, asked["seconds"], asked["celsius"]), MotorRun(restart, 8.0, 90.0)]
    assert found(runs) is None, why


def test_nothing_is_suspected_before_the_restart_or_without_a_limit_on_a_housing() -> None:
    assert found([MotorRun(NOON, 600.0, 121.0)]) is None
    assert found(cycling(125.0, 90.0, 5), limit_celsius=None, is_winding=False) is None
    assert found([]) is None


def test_a_run_reported_inside_another_makes_no_silence() -> None:
    runs = [
        MotorRun(NOON, 600.0, 121.0),
        MotorRun(after(60.0), 1200.0),
        MotorRun(after(1300.0), 9.0),
    ]
    assert found(runs) is None


def test_a_break_in_by_the_plan_is_no_trip() -> None:
    # batches cut by temperature look like a cut-out's, but end below the limit and are entered so
    batches = [
        MotorRun(run.started_at, run.seconds, run.motor_celsius, "break_in")
        for run in cycling(115.0, 80.0, 8)
    ]
    assert found(batches) is None
    assert found([MotorRun(run.started_at, run.seconds, 115.0) for run in batches]) is not None


def test_equal_batches_with_equal_rests_are_no_trip() -> None:
    runs = [MotorRun(after(1200.0 * index), 180.0, 104.0) for index in range(10)]
    assert found(runs) is None


@pytest.mark.parametrize("is_winding", [True, False])
def test_ordinary_cafe_traffic_is_never_taken_for_a_trip(is_winding: bool) -> None:
    # doses of 8 to 20 s all day on motors from mild to hot: with outliers, without a single find
    dice = random.Random(20260504)
    run_count = 0
    for _ in range(60):
        motor = Thermal(
            dice.uniform(40, 300), dice.uniform(60, 2400), dice.uniform(600, 6000), 25.0
        )
        runs = cafe_day(dice, motor, dice.uniform(20, 120))
        run_count += len(runs)
        for limit in (70.0, 155.0, None):
            assert found(runs, limit_celsius=limit, is_winding=is_winding) is None
    assert run_count > 10_000


def test_batches_for_filter_coffee_below_the_limit_are_never_taken_for_a_trip() -> None:
    # runs of 30 to 90 s at random, ends read with noise: a healthy motor 20 K below its limit
    dice = random.Random(5)
    for _ in range(60):
        motor = Thermal(
            dice.uniform(40, 135), dice.uniform(300, 2400), dice.uniform(600, 6000), 22.0
        )
        runs, clock, celsius = [], 0.0, 22.0
        for _ in range(150):
            rest, seconds = dice.expovariate(1 / 300) + 4, dice.uniform(30, 90)
            celsius = step_celsius(celsius, rest, False, motor)
            celsius = step_celsius(celsius, seconds, True, motor)
            read = round(celsius + dice.gauss(0, 1))
            runs.append(MotorRun(after(clock + rest), round(seconds, 3), float(read)))
            clock += rest + seconds
        limit = max(run.motor_celsius or 0.0 for run in runs) + 20.0
        assert found(runs, limit_celsius=limit) is None


# --- acknowledgement and order --------------------------------------------------------------------


def test_an_acknowledgement_after_the_stop_clears_the_pattern_and_not_a_later_one() -> None:
    first = [MotorRun(NOON, 600.0, 121.0), MotorRun(after(1500.0), 8.0, 92.0)]
    second = [MotorRun(after(9000.0), 300.0, 123.0), MotorRun(after(9900.0), 8.0, 90.0)]
    assert found(first, acknowledged=[after(700.0)]) is None
    assert found(first, acknowledged=[after(500.0)]) == found(first)
    again = found(first + second, acknowledged=[after(2000.0)])
    assert again is not None
    assert again.stopped_at == after(9300.0)
    assert found(first + second, acknowledged=[after(2000.0), after(10_000.0)]) is None


@given(st.randoms(use_true_random=False))
def test_no_order_and_no_repetition_changes_what_is_found(dice: random.Random) -> None:
    runs = cycling(125.0, 90.0, 4) + [
        MotorRun(after(dice.uniform(0, 20_000)), dice.uniform(1, 300), dice.choice([None, 121.0]))
        for _ in range(6)
    ]
    readings = [(after(dice.uniform(0, 20_000)), dice.uniform(20, 130)) for _ in range(10)]
    shuffled, mixed = runs + runs[:3], readings + readings[:2]
    dice.shuffle(shuffled)
    dice.shuffle(mixed)
    asked: dict[str, Any] = {"limit_celsius": 120.0, "is_winding": True}
    assert suspected_trip(shuffled, mixed, **asked) == suspected_trip(runs, readings, **asked)
