"""Duty against the plate: ratings, bounds, states and the instant of being ready again."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline_service.core.answers import Duty
from burrline_service.core.duty import duty_bounds, judge_duty, on_time_seconds, rating_limit
from burrline_service.core.records import RatedDuty

S3 = RatedDuty("intermittent", duty_fraction=0.25)
NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)
NOW = NOON.timestamp()


def judged(runs: list[tuple[float, float]], **changes: Any) -> Duty:
    """Runs in seconds relative to now, an hour of known history, an S3 25 % plate."""
    asked: dict[str, Any] = {
        "starts_seconds": [NOW + start for start, _ in runs],
        "ends_seconds": [NOW + end for _, end in runs],
        "now_seconds": NOW,
        "first_known_seconds": NOW - 3600,
        "possible_on_seconds": 0.0,
        "rated": S3,
    }
    return judge_duty(**asked | changes)


# --- states ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("on", "state"),
    [
        (0, "ok"),
        (119.999, "ok"),
        (120, "near"),
        (150, "near"),
        (150.001, "exceeded"),
        (600, "exceeded"),
    ],
)
def test_the_state_follows_the_known_on_time_to_the_millisecond(on: float, state: str) -> None:
    duty = judged([(-on, 0.0)] if on else [])
    assert duty.state == state
    assert duty.on_seconds == on
    assert (duty.cycle_seconds, duty.rated_on_seconds) == (600.0, 150.0)


def test_runs_without_motor_time_raise_only_the_high_bound_and_never_warn() -> None:
    duty = judged([(-60.0, 0.0)], possible_on_seconds=200.0)
    assert (duty.state, duty.low_fraction, duty.ready_at) == ("unknown", 0.1, None)
    assert duty.high_fraction == pytest.approx(260 / 600, abs=1e-6)


def test_runs_whose_time_cannot_be_estimated_leave_the_high_bound_at_one() -> None:
    duty = judged([], possible_on_seconds=None)
    assert (duty.state, duty.low_fraction, duty.high_fraction) == ("unknown", 0.0, 1.0)


def test_known_excess_is_told_even_where_history_is_short() -> None:
    duty = judged([(-200.0, 0.0)], first_known_seconds=NOW - 200)
    assert duty.state == "exceeded"
    assert duty.high_fraction == 1.0
    assert duty.coverage_fraction == pytest.approx(200 / 600, abs=1e-6)


def test_near_by_known_runs_but_possibly_over_does_not_say_when_it_is_ready() -> None:
    duty = judged([(-130.0, 0.0)], possible_on_seconds=100.0)
    assert (duty.state, duty.ready_at) == ("near", None)


def test_without_any_run_a_rated_grinder_is_unknown() -> None:
    duty = judged([], first_known_seconds=None)
    assert duty.state == "unknown"
    assert (duty.low_fraction, duty.high_fraction, duty.coverage_fraction) == (0.0, 1.0, 0.0)
    assert duty.ready_at is None


def test_without_a_plate_the_fractions_are_of_ten_minutes_and_there_is_no_verdict() -> None:
    duty = judged([(-300.0, 0.0)], rated=None)
    assert (duty.state, duty.rated_on_seconds, duty.ready_at) == ("unrated", None, None)
    assert (duty.cycle_seconds, duty.low_fraction) == (600.0, 0.5)


def test_a_continuous_plate_is_never_exceeded_nor_near() -> None:
    duty = judged([(-3600.0, 0.0)], rated=RatedDuty("continuous"), possible_on_seconds=None)
    assert (duty.state, duty.ready_at) == ("ok", NOON)


def test_a_short_time_plate_does_not_say_when_the_motor_has_cooled() -> None:
    rated = RatedDuty("short_time", on_seconds=300.0)
    assert judged([(-301.0, 0.0)], rated=rated).ready_at is None
    assert judged([(-301.0, 0.0)], rated=rated).state == "exceeded"
    assert judged([(-200.0, 0.0)], rated=rated).ready_at == NOON


def test_a_long_short_time_rating_is_exceeded_by_one_longer_run() -> None:
    rated = RatedDuty("short_time", on_seconds=1800.0)
    assert judged([(-1800.0, 0.0)], rated=rated).state == "near"
    assert judged([(-1801.0, 0.0)], rated=rated).state == "exceeded"


def test_a_short_time_plate_with_a_cycle_says_when_it_is_ready() -> None:
    rated = RatedDuty("short_time", on_seconds=300.0, cycle_seconds=1800.0)
    assert judged([(-400.0, 0.0)], rated=rated).ready_at == NOON + timedelta(seconds=1500)


def test_a_run_in_progress_is_cut_off_at_now() -> None:
    assert judged([(-60.0, 500.0)]).on_seconds == 60.0


def test_what_is_known_to_have_run_is_covered_whatever_the_begin_of_history() -> None:
    duty = judged([(-60.0, 0.0)], first_known_seconds=NOW + 5)
    assert (duty.state, duty.low_fraction, duty.coverage_fraction) == ("unknown", 0.1, 0.1)


# --- ready again ----------------------------------------------------------------------------------


def test_ready_again_when_the_excess_has_left_the_window() -> None:
    # 200 s on until 100 s ago: 50 s too much, which leaves 600 s after its first 50 s were run
    duty = judged([(-300.0, -100.0)])
    assert duty.state == "exceeded"
    assert duty.ready_at == NOON + timedelta(seconds=600 - 300 + 50)


def test_ready_at_is_rounded_up_to_the_millisecond_never_down() -> None:
    rated = RatedDuty("intermittent", duty_fraction=0.2500013)  # 150.00078 s of ten minutes
    duty = judged([(-300.0, -100.0)], rated=rated)
    # exactly it would be 600 - 300 + 200 - 150.00078 = 349.99922 s
    assert duty.ready_at == NOON + timedelta(seconds=350)


runs_before_now = st.lists(
    st.tuples(st.integers(-900_000, 0), st.integers(0, 200_000)), max_size=8
).map(lambda pairs: [(start / 1000, min(start + length, 0) / 1000) for start, length in pairs])


@given(runs_before_now)
def test_ready_at_is_the_first_instant_within_the_rating_and_not_a_millisecond_later(
    runs: list[tuple[float, float]],
) -> None:
    duty = judged(runs)
    assert duty.ready_at is not None
    ready = (duty.ready_at - NOON).total_seconds()
    starts, ends = [start for start, _ in runs], [end for _, end in runs]
    assert on_time_seconds(starts, ends, ready - 600, ready) <= 150.0006
    if duty.state == "exceeded":
        before = ready - 0.002
        assert on_time_seconds(starts, ends, before - 600, before) > 150.0
    else:
        assert ready == 0


@given(runs_before_now, st.floats(0, 1000), st.floats(0, 4000))
def test_bounds_are_ordered_fractions_and_every_number_is_finite(
    runs: list[tuple[float, float]], possible: float, known: float
) -> None:
    first = min([NOW - known, *(NOW + start for start, _ in runs)])
    duty = judged(runs, possible_on_seconds=possible, first_known_seconds=first)
    assert 0 <= duty.low_fraction <= duty.high_fraction <= 1
    assert 0 <= duty.coverage_fraction <= 1
    assert duty.low_fraction <= duty.coverage_fraction + 1e-6
    assert (duty.state == "exceeded") == (duty.on_seconds > 150.0)


@given(runs_before_now, st.permutations(range(8)))
def test_the_order_in_which_runs_come_changes_no_digit(
    runs: list[tuple[float, float]], order: list[int]
) -> None:
    assert judged(runs) == judged([runs[index] for index in order if index < len(runs)])


@given(st.floats(0, 600), st.floats(0, 600))
def test_unknown_time_counts_as_off_below_and_as_on_above(on: float, covered: float) -> None:
    on, covered = min(on, covered), max(on, covered)
    low, high, coverage = duty_bounds(on, covered, 600.0)
    assert high - low == pytest.approx(1 - coverage, abs=1e-12)
    assert low == pytest.approx(on / 600)


# --- ratings and refusals -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rated", "expected"),
    [
        (RatedDuty("intermittent", duty_fraction=0.4), (240.0, 600.0)),
        (RatedDuty("intermittent", on_seconds=30.0, cycle_seconds=120.0), (30.0, 120.0)),
        (RatedDuty("intermittent", duty_fraction=0.5, cycle_seconds=60.0), (30.0, 60.0)),
        (RatedDuty("intermittent", on_seconds=30.0), (30.0, 600.0)),
        (RatedDuty("intermittent"), (None, 600.0)),
        (RatedDuty("short_time", on_seconds=60.0), (60.0, 600.0)),
        (RatedDuty("short_time", on_seconds=3600.0), (3600.0, 7200.0)),
        (RatedDuty("short_time", on_seconds=60.0, cycle_seconds=900.0), (60.0, 900.0)),
        (RatedDuty("short_time"), (None, 600.0)),
        (RatedDuty("continuous"), (600.0, 600.0)),
    ],
)
def test_a_rating_reads_as_a_limit_within_a_window(
    rated: RatedDuty, expected: tuple[float | None, float]
) -> None:
    assert rating_limit(rated) == pytest.approx(expected)


def test_a_rating_that_leaves_its_limit_open_judges_nothing() -> None:
    assert judged([(-600.0, 0.0)], rated=RatedDuty("intermittent")).state == "unrated"


@pytest.mark.parametrize("field", ["on_seconds", "cycle_seconds", "duty_fraction"])
@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_a_rating_with_an_impossible_number_is_refused_by_name(field: str, value: float) -> None:
    with pytest.raises(ValueError, match=field):
        rating_limit(RatedDuty("intermittent", **{field: value}))


def test_a_duty_fraction_above_one_is_refused() -> None:
    with pytest.raises(ValueError, match=r"at most 1, not 1\.5"):
        rating_limit(RatedDuty("intermittent", duty_fraction=1.5))


@pytest.mark.parametrize(
    ("on", "covered", "cycle"),
    [(-1, 10, 600), (20, 10, 600), (0, 601, 600), (math.nan, 1, 2), (0, math.nan, 2), (0, 0, 0)],
)
def test_bounds_of_contradictory_times_are_refused(on: float, covered: float, cycle: float) -> None:
    with pytest.raises(ValueError, match="cycle"):
        duty_bounds(on, covered, cycle)


@pytest.mark.parametrize("possible", [-1.0, math.nan])
def test_a_negative_possible_time_is_refused(possible: float) -> None:
    with pytest.raises(ValueError, match="possible_on_seconds"):
        judged([], possible_on_seconds=possible)


@pytest.mark.parametrize("now", [math.nan, math.inf])
def test_a_now_that_is_no_instant_is_refused(now: float) -> None:
    with pytest.raises(ValueError, match="now_seconds"):
        judged([], now_seconds=now)
