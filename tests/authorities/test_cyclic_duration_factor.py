"""Duty by the book: the cyclic duration factor of IEC 60034-1.

Sources
-------
* IEC 60034-1, 4.2.1 to 4.2.3 (duty types S1, S2, S3), in the words of motor makers' duty guides:
  S3 is a sequence of identical cycles of loading dt_P and rest dt_R; cyclic duration factor
  CDF = dt_P / T with T = dt_P + dt_R; usual factors 15, 25, 40, 60 %; a cycle is 10 min unless
  the plate says otherwise; S2 is a time of loading, then rest until within 2 K of the coolant.
* The numbers of the worked cases are arithmetic on that definition, done apart from the code.
"""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from burrline_service.core.duty import (
    duty_bounds,
    judge_duty,
    on_time_seconds,
    rating_limit,
    rolling_maximum_on_seconds,
    wait_seconds,
)
from burrline_service.core.duty_history import duty_history, duty_peak
from burrline_service.core.duty_wait import allow_by_duty, longest_run_seconds
from burrline_service.core.records import RatedDuty

USUAL_FACTORS = (0.15, 0.25, 0.40, 0.60)

WINDOW_CASES = {
    "E1 one S3 25 % loading": ([(0, 150)], 150, 25.0),
    "E2 one S3 60 % loading": ([(0, 360)], 360, 60.0),
    "E3 two runs": ([(30, 75), (200, 260)], 105, 17.5),
    "E4 in progress, clipped at now": ([(540, 600)], 60, 10.0),
    "E5 straddles the window's start": ([(-40, 50)], 50, 100 * 50 / 600),
    "E6 straddles both ends": ([(-100, 700)], 600, 100.0),
    "E7 overlap and duplicate": ([(0, 100), (50, 150), (50, 150)], 150, 25.0),
    "E8 zero length": ([(100, 100)], 0, 0.0),
    "E9 touching": ([(0, 100), (100, 200)], 200, 100 * 200 / 600),
    "E10 outside": ([(600, 700)], 0, 0.0),
}


def columns(runs: Sequence[tuple[float, float]]) -> tuple[list[float], list[float]]:
    return [start for start, _ in runs], [end for _, end in runs]


@pytest.mark.parametrize("name", WINDOW_CASES)
def test_on_time_and_duty_of_a_ten_minute_window_agree_with_the_worked_case(name: str) -> None:
    runs, on, percent = WINDOW_CASES[name]
    found = on_time_seconds(*columns(runs), 0, 600)
    assert found == on
    assert 100 * found / 600 == pytest.approx(percent, abs=1e-9)


@pytest.mark.parametrize("name", WINDOW_CASES)
def test_a_judged_duty_tells_the_same_fraction_as_the_worked_case(name: str) -> None:
    runs, on, percent = WINDOW_CASES[name]
    starts, ends = columns(runs)
    duty = judge_duty(
        starts_seconds=starts,
        ends_seconds=ends,
        now_seconds=600.0,
        first_known_seconds=-1000.0,
        possible_on_seconds=0.0,
        rated=RatedDuty("intermittent", duty_fraction=0.25),
    )
    assert duty.on_seconds == on
    assert 100 * duty.low_fraction == pytest.approx(percent, abs=1e-4)  # answered to 6 decimals
    assert duty.high_fraction == duty.low_fraction
    assert duty.coverage_fraction == 1.0


def test_e11_history_that_begins_inside_the_window_gives_bounds_and_coverage() -> None:
    starts, ends = columns([(420, 450), (500, 560)])
    on = on_time_seconds(starts, ends, 0, 600)
    assert on == 90
    assert duty_bounds(on, 180, 600) == pytest.approx((0.15, 0.85, 0.30), abs=1e-12)
    assert on / 180 == 0.5  # over the covered time alone
    duty = judge_duty(
        starts_seconds=starts,
        ends_seconds=ends,
        now_seconds=600.0,
        first_known_seconds=420.0,
        possible_on_seconds=0.0,
        rated=RatedDuty("intermittent", duty_fraction=0.25),
    )
    assert (duty.low_fraction, duty.high_fraction, duty.coverage_fraction) == (0.15, 0.85, 0.3)
    assert duty.state == "unknown"  # only the upper bound is over 25 %: no warning


def test_e12_a_rolling_window_sees_what_two_fixed_windows_miss() -> None:
    starts, ends = columns([(480, 600), (600, 720)])
    assert on_time_seconds(starts, ends, 0, 600) / 600 == pytest.approx(0.20)
    assert on_time_seconds(starts, ends, 600, 1200) / 600 == pytest.approx(0.20)
    assert rolling_maximum_on_seconds(starts, ends, 600) / 600 == pytest.approx(0.40)


def test_e13_the_rolling_maximum_of_five_runs_is_45_percent() -> None:
    starts, ends = columns([(0, 60), (300, 420), (590, 650), (900, 960), (1000, 1150)])
    assert 100 * on_time_seconds(starts, ends, 0, 600) / 600 == pytest.approx(31.666667, abs=1e-6)
    assert 100 * on_time_seconds(starts, ends, 600, 1200) / 600 == pytest.approx(
        43.333333, abs=1e-6
    )
    assert rolling_maximum_on_seconds(starts, ends, 600) == pytest.approx(270)


def test_e14_eight_seconds_every_minute_for_an_hour() -> None:
    starts, ends = columns([(60 * k, 60 * k + 8) for k in range(60)])
    on = on_time_seconds(starts, ends, 0, 3600)
    assert on == 480
    assert 100 * on / 3600 == pytest.approx(13.333333, abs=1e-6)
    assert rolling_maximum_on_seconds(starts, ends, 600) == pytest.approx(80)


@pytest.mark.parametrize(
    ("runs", "now", "run", "expected"),
    [
        ([(0, 60), (100, 160)], 160, 60, 410),
        ([(0, 150)], 150, 150, 450),
        ([(0, 60), (300, 360)], 360, 45, 210),
    ],
)
def test_the_wait_that_keeps_25_percent_of_any_ten_minutes(
    runs: list[tuple[float, float]], now: float, run: float, expected: float
) -> None:
    assert wait_seconds(*columns(runs), now, run, 150, 600) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("factor", "on", "off"), [(0.15, 90, 510), (0.25, 150, 450), (0.40, 240, 360), (0.60, 360, 240)]
)
def test_a_usual_factor_splits_ten_minutes_into_loading_and_rest(
    factor: float, on: float, off: float
) -> None:
    limit, cycle = rating_limit(RatedDuty("intermittent", duty_fraction=factor))
    assert limit == pytest.approx(on)
    assert cycle == 600
    # repeated for ever the cycle just fills its rating: the next loading needs exactly the rest
    assert wait_seconds([0], [on], on, on, on, cycle) == pytest.approx(off)


@pytest.mark.parametrize(("length", "allowed"), [(8, (11, 18, 30, 45)), (18, (5, 8, 13, 20))])
def test_the_number_of_short_runs_in_ten_minutes_is_the_whole_part_of_limit_by_length(
    length: int, allowed: tuple[int, ...]
) -> None:
    for factor, count in zip(USUAL_FACTORS, allowed, strict=True):
        limit, cycle = rating_limit(RatedDuty("intermittent", duty_fraction=factor))
        assert limit is not None
        for runs in range(60):  # back to back, until the next one would have to wait
            now = runs * length
            if wait_seconds([0], [now], now, length, limit, cycle) > 0:
                assert runs == count
                break
        else:
            pytest.fail("no wait was ever asked for")


@pytest.mark.parametrize(
    ("grams", "flow", "elapsed"),
    [
        (5000, 2.0, (16270, 9700, 6100, 3940)),
        (2000, 1.5, (8473.333333, 4933.333333, 3133.333333, 2053.333333)),
        (4800, 2.0, (26 * 600 + 60, 15 * 600 + 150, 9 * 600 + 240, 6 * 600 + 240)),
    ],
)
def test_a_session_run_as_early_as_the_rating_allows_takes_the_worked_time(
    grams: float, flow: float, elapsed: tuple[float, ...]
) -> None:
    # loading for CDF x 600 s, then rest, again and again; no rest after the last loading
    for factor, expected in zip(USUAL_FACTORS, elapsed, strict=True):
        limit, cycle = rating_limit(RatedDuty("intermittent", duty_fraction=factor))
        assert limit is not None
        starts: list[float] = []
        ends: list[float] = []
        now, left = 0.0, grams / flow
        while left > 1e-6:
            now += wait_seconds(starts, ends, now, min(limit, left), limit, cycle)
            starts.append(now)
            now += min(limit, left)
            ends.append(now)
            left -= limit
        assert now == pytest.approx(expected, abs=0.01)  # each wait is exact to the millisecond
        assert rolling_maximum_on_seconds(starts, ends, cycle) <= limit + 0.001


@pytest.mark.parametrize(("run", "rests"), [(30, (170, 90, 45, 20)), (150, (850, 450, 225, 100))])
def test_the_rest_after_a_run_is_its_length_times_off_over_on(
    run: float, rests: tuple[float, ...]
) -> None:
    # R = N (1 - CDF) / CDF, for a cycle of just this run and its rest
    for factor, rest in zip(USUAL_FACTORS, rests, strict=True):
        rated = RatedDuty("intermittent", cycle_seconds=run / factor, duty_fraction=factor)
        allowed = allow_by_duty([0.0], [run], now_seconds=run, run_seconds=run, rated=rated)
        assert allowed.wait_seconds == pytest.approx(rest, abs=0.001)


@pytest.mark.parametrize(
    ("runs", "now", "run", "wait", "longest"),
    [
        ([(0, 60), (100, 160)], 160, 60, 410, 30),  # 120 s used, and nothing leaves for 440 s
        ([(0, 150)], 150, 150, 450, 0),
        ([(0, 60), (300, 360)], 360, 45, 210, 30),
        ([(0, 60)], 590, 150, 0, 150),  # the old run leaves while the new one lasts
    ],
)
def test_an_allowance_tells_the_worked_wait_and_the_longest_run_now(
    runs: list[tuple[float, float]], now: float, run: float, wait: float, longest: float
) -> None:
    allowed = allow_by_duty(
        *columns(runs),
        now_seconds=now,
        run_seconds=run,
        rated=RatedDuty("intermittent", duty_fraction=0.25),
    )
    assert allowed.state == ("wait" if wait else "ready")
    assert allowed.wait_seconds == pytest.approx(wait, abs=1e-6)
    assert allowed.longest_run_seconds == pytest.approx(longest, abs=1e-6)
    assert longest_run_seconds(*columns(runs), now, 150, 600) == allowed.longest_run_seconds


def test_a_run_longer_than_the_cycles_loading_is_never_allowed() -> None:
    rated = RatedDuty("intermittent", duty_fraction=0.25)
    allowed = allow_by_duty([], [], now_seconds=0.0, run_seconds=151.0, rated=rated)
    assert (allowed.state, allowed.wait_seconds) == ("never", None)
    assert allowed.longest_run_seconds == 150.0


def test_e11_to_e14_over_a_period_tell_where_the_highest_duty_was_and_its_bounds() -> None:
    e11 = duty_peak(
        *columns([(420, 450), (500, 560)]),
        [420.0],
        [600.0],
        cycle_seconds=600.0,
        low_seconds=599.9999,
        high_seconds=600.0,
    )
    assert (e11.low_fraction, e11.high_fraction) == pytest.approx((0.15, 0.85), abs=1e-6)
    e12 = duty_peak(
        *columns([(480, 600), (600, 720)]),
        [-600.0],
        [1200.0],
        cycle_seconds=600.0,
        low_seconds=0.0,
        high_seconds=1200.0,
    )
    assert (e12.on_seconds, e12.at_seconds, e12.high_fraction) == (240.0, 720.0, 0.4)
    e13 = columns([(0, 60), (300, 420), (590, 650), (900, 960), (1000, 1150)])
    rolling = duty_peak(
        *e13, [-600.0], [1200.0], cycle_seconds=600.0, low_seconds=0.0, high_seconds=1200.0
    )
    assert rolling.low_fraction == rolling.high_fraction == pytest.approx(0.45)
    assert rolling.at_seconds == 1150.0  # a plateau from there to 1190; its first instant is told
    fixed = duty_history(*e13, [0.0], [1200.0], [0.0, 600.0, 1200.0])
    assert 100 * fixed.low_fraction == pytest.approx([31.666667, 43.333333], abs=1e-6)
    e14 = duty_history(
        *columns([(60 * k, 60 * k + 8) for k in range(60)]), [0.0], [3600.0], [0.0, 3600.0]
    )
    assert 100 * e14.low_fraction[0] == pytest.approx(13.333333, abs=1e-6)


def test_the_same_ratio_over_a_longer_cycle_is_not_the_same_rating() -> None:
    # 10 min of running and 30 min of rest is 25 % of 40 min, not S3 25 % of 10 min
    starts, ends = [0.0, 2400.0], [600.0, 3000.0]
    limit, cycle = rating_limit(RatedDuty("intermittent", duty_fraction=0.25))
    assert limit is not None
    assert rolling_maximum_on_seconds(starts, ends, 2400) / 2400 == pytest.approx(0.25)
    assert rolling_maximum_on_seconds(starts, ends, cycle) > limit


def test_running_without_rest_is_what_continuous_duty_means() -> None:
    duty = judge_duty(
        starts_seconds=[0.0],
        ends_seconds=[7200.0],
        now_seconds=7200.0,
        first_known_seconds=0.0,
        possible_on_seconds=None,
        rated=RatedDuty("continuous"),
    )
    assert duty.state == "ok"
    assert duty.rated_on_seconds == duty.cycle_seconds
