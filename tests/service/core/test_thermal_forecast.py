"""Where a motor stands and what comes: anchored to readings, careful both ways, blind to later."""

from __future__ import annotations

import math

import numpy as np
import pytest

from burrline_service.core.episode_facts import DatedLimits, Reading, Stretch
from burrline_service.core.episode_heating import DatedFit, heating_episodes
from burrline_service.core.thermal_ahead import (
    reach_probability,
    rest_before_run,
    seconds_to_limit,
)
from burrline_service.core.thermal_fit import fit_motor
from burrline_service.core.thermal_forecast import estimate_at, motors_at
from burrline_service.core.thermal_motor import MotorFit
from burrline_service.core.thermal_response import responses
from burrline_service.core.usage_ahead import usage_ahead

STARTS = np.cumsum(np.tile([1500.0, 2600.0, 900.0, 4000.0], 12))
ENDS = STARTS + np.tile([300.0, 700.0, 150.0, 1200.0], 12)
AT = np.sort(np.concatenate([ENDS, ENDS + 240.0]))
NOW = float(ENDS[-1]) + 600.0


def truth(at: object, starts: np.ndarray = STARTS, ends: np.ndarray = ENDS) -> np.ndarray:
    """One warm body: 100 K, 1000 s, 2000 s, 24 degrees."""
    return np.asarray(24.0 + 100.0 * responses(starts, ends, at, [1000.0], [2000.0])[0])


READ = np.round(truth(AT) + np.random.default_rng(5).normal(0.0, 0.5, AT.size), 1)


@pytest.fixture(scope="module")
def fit() -> MotorFit:
    return fit_motor(STARTS, ENDS, AT, READ, body="housing")


def test_the_estimate_holds_the_truth_now_and_later(fit: MotorFit) -> None:
    assert fit.status == "identified"
    for at in (NOW, NOW + 1800.0):
        found = estimate_at(fit, STARTS, ENDS, AT, READ, at)
        assert found is not None
        assert found.low < truth([at])[0] < found.high
        assert found.high - found.low < 12.0


def test_later_facts_do_not_touch_an_estimate(fit: MotorFit) -> None:
    before = estimate_at(fit, STARTS, ENDS, AT, READ, NOW)
    later = estimate_at(
        fit,
        np.append(STARTS, NOW + 5.0),
        np.append(ENDS, NOW + 500.0),
        np.append(AT, NOW + 5.0),
        np.append(READ, 250.0),
        NOW,
    )
    assert before == later


def test_a_fresh_reading_draws_the_estimate_and_its_pull_fades(fit: MotorFit) -> None:
    plain = [estimate_at(fit, STARTS, ENDS, AT, READ, NOW + ahead) for ahead in (1.0, 45000.0)]
    drawn = [
        estimate_at(fit, STARTS, ENDS, np.append(AT, NOW), np.append(READ, truth([NOW])[0] + 1.0),
                    NOW + ahead)
        for ahead in (1.0, 45000.0)
    ]  # fmt: skip
    moved = [after.best - before.best for before, after in zip(plain, drawn, strict=True)  # type: ignore[union-attr]
             ]  # fmt: skip
    assert moved[0] > 0.3
    assert abs(moved[1]) < 0.7 * moved[0]
    assert drawn[0].high - drawn[0].low < plain[0].high - plain[0].low + 0.1  # type: ignore[union-attr]


def test_readings_that_agree_with_one_another_are_believed_in_the_end(fit: MotorFit) -> None:
    again = NOW + 120.0 * np.arange(12)
    far = truth(again) + 9.0
    found = estimate_at(fit, STARTS, ENDS, np.append(AT, again), np.append(READ, far), again[-1])
    assert found is not None
    assert found.best > far[-1] - 3.0


def test_one_wild_reading_hardly_draws(fit: MotorFit) -> None:
    plain = estimate_at(fit, STARTS, ENDS, AT, READ, NOW + 1.0)
    wild = estimate_at(fit, STARTS, ENDS, np.append(AT, NOW), np.append(READ, 150.0), NOW + 1.0)
    assert plain is not None and wild is not None
    assert abs(wild.best - plain.best) < 2.0


def test_times_to_a_limit_and_rests_are_those_of_the_body(fit: MotorFit) -> None:
    motors = motors_at(fit, STARTS, ENDS, AT, READ, [NOW])
    rise = float(truth([NOW])[0]) - 24.0
    exact = 1000.0 * math.log((100.0 - rise) / (100.0 - 71.0))  # to 95 degrees
    found = seconds_to_limit(motors, 95.0)
    assert found.low <= found.best <= found.high
    assert found.low < exact < found.high
    assert found.best == pytest.approx(exact, rel=0.15)
    start = 100.0 - 29.0 * math.exp(900.0 / 1000.0)  # rise from which 900 s end at 95 degrees
    rest = rest_before_run(motors, 900.0, 95.0)
    exact_rest = 2000.0 * math.log(rise / start)
    assert rest.low < exact_rest < rest.high
    assert rest.best == pytest.approx(exact_rest, rel=0.2)


def test_limits_far_away_and_passed_are_said_so(fit: MotorFit) -> None:
    motors = motors_at(fit, STARTS, ENDS, AT, READ, [NOW])
    assert seconds_to_limit(motors, 400.0) == (math.inf, math.inf, math.inf)
    assert seconds_to_limit(motors, 10.0) == (0.0, 0.0, 0.0)
    assert rest_before_run(motors, 60.0, 400.0) == (0.0, 0.0, 0.0)
    assert rest_before_run(motors, 60.0, 10.0) == (math.inf, math.inf, math.inf)


def test_a_later_limit_is_reached_later_and_a_longer_run_needs_more_rest(fit: MotorFit) -> None:
    motors = motors_at(fit, STARTS, ENDS, AT, READ, [NOW])
    times = [seconds_to_limit(motors, limit).best for limit in (70.0, 80.0, 90.0, 100.0)]
    assert times == sorted(times)
    rests = [rest_before_run(motors, run, 85.0).high for run in (60.0, 300.0, 600.0, 900.0)]
    assert rests == sorted(rests)
    reached = [reach_probability(motors, [0.0], [900.0], 900.0, limit)[0] for limit in (60, 90, 99)]
    assert reached == sorted(reached, reverse=True)


def test_usage_goes_on_as_after_the_last_comparable_moments() -> None:
    starts = 300.0 * np.arange(10)
    ways = usage_ahead(starts, starts + 60.0, 2760.0, 600.0)  # at the end of the last run
    assert len(ways) == 8
    for begins, stops in ways:
        assert begins.tolist() == pytest.approx([240.0, 540.0])
        assert stops.tolist() == pytest.approx([300.0, 600.0])
    ways = usage_ahead(starts, starts + 60.0, 2720.0, 600.0)  # 20 s into it
    assert {(round(b[0]), round(s[0])) for b, s in ways} == {(0, 40)}


def test_a_run_longer_than_any_before_may_last_as_long_again() -> None:
    assert [
        (b.tolist(), s.tolist()) for b, s in usage_ahead([0.0, 300.0], [60.0, 900.0], 500.0, 600.0)
    ] == [([0.0], [200.0])]
    assert usage_ahead([], [], 5.0, 600.0)[0][0].size == 0


def as_ms(seconds: np.ndarray) -> list[int]:
    return [round(1000 * one) for one in seconds.tolist()]


def overused() -> tuple[list[Stretch], list[Reading], float]:
    """200 s in 300 s from NOW + 3000 on, read at the ends: 85 degrees are passed in the hour."""
    begins = NOW + 3000.0 + 300.0 * np.arange(14)
    starts, ends = np.append(STARTS, begins), np.append(ENDS, begins + 200.0)
    at = np.append(AT, begins + 200.0)
    read = np.append(READ, np.round(truth(begins + 200.0, starts, ends), 1))
    fine = np.arange(NOW + 3000.0, NOW + 7200.0, 1.0)
    crossing = float(fine[np.argmax(truth(fine, starts, ends) >= 85.0)])
    stretches = [Stretch(*one) for one in zip(as_ms(starts), as_ms(ends), strict=True)]
    return (
        stretches,
        [Reading(*one) for one in zip(as_ms(at), read.tolist(), strict=True)],
        crossing,
    )


def test_overuse_is_forecast_before_the_limit_is_passed(fit: MotorFit) -> None:
    stretches, readings, crossing = overused()
    fits, limits = [DatedFit(0, fit)], [DatedLimits(0, limit_celsius=85.0)]
    since_ms, until_ms = round(1000 * NOW), round(1000 * (NOW + 7100))
    episodes = heating_episodes(
        fits, stretches, readings, limits, since_ms=since_ms, until_ms=until_ms
    )
    assert episodes[0].kind == "motor_heating"
    lead = crossing - episodes[0].opened_at_ms / 1000
    assert 30.0 <= lead <= 700.0
    assert episodes[0].facts["lead_seconds"] == pytest.approx(lead, abs=400.0)
    shuffled = heating_episodes(
        fits, stretches[::-1], readings[::-1], limits, since_ms=since_ms, until_ms=until_ms
    )
    assert shuffled == episodes


def test_what_is_known_later_does_not_change_what_was_forecast(fit: MotorFit) -> None:
    stretches, readings, _ = overused()
    fits, limits = [DatedFit(0, fit)], [DatedLimits(0, limit_celsius=85.0)]
    since_ms = round(1000 * NOW)
    whole = heating_episodes(
        fits, stretches, readings, limits, since_ms=since_ms, until_ms=since_ms + 7_100_000
    )
    for cut_ms in range(since_ms, since_ms + 7_100_000, 431_000):
        known = heating_episodes(
            fits,
            [Stretch(a, min(b, cut_ms)) for a, b in stretches if a < cut_ms],
            [one for one in readings if one.at_ms <= cut_ms],
            limits,
            since_ms=since_ms,
            until_ms=cut_ms,
        )
        opened = [one.opened_at_ms for one in whole if one.opened_at_ms <= cut_ms]
        assert [one.opened_at_ms for one in known] == [at for at in opened if at < cut_ms]


def test_a_slope_alone_and_an_unknown_limit_open_nothing(fit: MotorFit) -> None:
    stretches, readings, _ = overused()
    starts = 7200.0 * np.arange(12)
    lengths = np.array([8, 12, 18, 20, 30, 10, 15, 25, 8, 20, 18, 30.0])
    read = np.round(25.0 + 0.1 * lengths, 1)
    slope = fit_motor(starts, starts + lengths, starts + lengths, read, body="winding")
    assert slope.status == "slope_only"
    since_ms, until_ms = round(1000 * NOW), round(1000 * (NOW + 7100))
    for fits, limit in (([DatedFit(0, slope)], 90.0), ([DatedFit(0, fit)], None), ([], 90.0),
                        ([DatedFit(until_ms + 1, fit)], 90.0)):  # fmt: skip
        assert heating_episodes(
            fits, stretches, readings, [DatedLimits(0, limit_celsius=limit)],
            since_ms=since_ms, until_ms=until_ms,
        ) == ()  # fmt: skip


def test_a_fit_without_members_estimates_nothing() -> None:
    fit = fit_motor([], [], [], [], body="winding")
    assert estimate_at(fit, [], [], [], [], 0.0) is None
