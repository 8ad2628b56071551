"""The parts of a motor's fit: exact responses, choice of readings, what is left over, order."""

from __future__ import annotations

import numpy as np
import pytest

from burrline_service.core.interval_arrays import union_arrays
from burrline_service.core.thermal_descent import between_responses
from burrline_service.core.thermal_design import MOST_READINGS_COUNT, informative_readings
from burrline_service.core.thermal_drift import Unrest, find_unrest, whitened
from burrline_service.core.thermal_ensemble import members_of
from burrline_service.core.thermal_fit import fit_motor
from burrline_service.core.thermal_motor import fit_from_text
from burrline_service.core.thermal_one_body import resolution_kelvin
from burrline_service.core.thermal_response import (
    BAND_FRACTIONS,
    TABLE_SECONDS,
    on_so_far_seconds,
    response_table,
    responses,
)

Case = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]


def made_up(seed: int = 1, *, count: int = 60, sigma: float = 0.5) -> Case:
    """Runs and readings of one warm body, at run ends, in runs and between them."""
    dice = np.random.default_rng(seed)
    starts = np.cumsum(dice.uniform(30.0, 2500.0, count)) + 400.0 * np.arange(count)
    ends = starts + dice.uniform(20.0, 900.0, count)
    starts, ends = union_arrays(starts, ends)
    at = np.sort(np.concatenate([ends, ends[:-1] + 200.0, starts + 15.0]))
    read = 24.0 + 90.0 * responses(starts, ends, at, [900.0], [1800.0])[0]
    return starts, ends, at, read + dice.normal(0.0, sigma, at.size)


def stepped(case: Case, heating: float, cooling: float) -> list[float]:
    """The same response one border after the other."""
    starts, ends, at, _ = case
    events = sorted(
        [(t, 0) for t in starts] + [(t, 1) for t in ends] + [(t, 2) for t in at],
        key=lambda one: (one[0], one[1] != 2),
    )
    share, is_on, last, found = 0.0, False, events[0][0], []
    for instant, kind in events:
        lasting = instant - last
        if is_on:
            share = 1.0 + (share - 1.0) * float(np.exp(-lasting / heating))
        else:
            share *= float(np.exp(-lasting / cooling))
        last = instant
        if kind == 2:
            found.append(share)
        else:
            is_on = kind == 0
    return found


def test_responses_are_those_of_stepping_from_border_to_border() -> None:
    case = made_up()
    starts, ends, at, _ = case
    found = responses(starts, ends, at, [60.0, 900.0, 9000.0], [60.0, 1800.0, 5000.0])
    for row, (heating, cooling) in zip(found, [(60, 60), (900, 1800), (9000, 5000)], strict=True):
        assert row == pytest.approx(stepped(case, heating, cooling), abs=1e-12)


def test_the_table_holds_the_same_responses() -> None:
    starts, ends, at, _ = made_up(2)
    table = response_table(starts, ends, at)
    for row, column in ((0, 0), (7, 4), (19, 10)):
        heating = TABLE_SECONDS[row]
        exact = responses(starts, ends, at, [heating], [heating * BAND_FRACTIONS[column]])[0]
        assert table[row, column] == pytest.approx(exact, abs=1e-12)


def test_between_the_entries_of_the_table_the_error_is_small() -> None:
    starts, ends, at, _ = made_up(3)
    table = response_table(starts, ends, at)
    heating = np.geomspace(60.0, 15000.0, 40)
    band = np.tile([0.8, 1.3, 2.9, 6.0], 10)
    exact = responses(starts, ends, at, heating, heating * band)
    found = between_responses(table, np.log(heating), np.log(band))
    assert np.abs(found - exact).max() < 0.002


def test_motor_time_is_counted_up_to_each_instant() -> None:
    starts, ends, at, _ = made_up(4, count=9)
    for instant, found in zip(at, on_so_far_seconds(starts, ends, at), strict=True):
        parts = np.clip(np.minimum(ends, instant) - starts, 0.0, None)
        assert found == pytest.approx(parts.sum())


def test_few_readings_are_all_taken_and_many_are_not() -> None:
    starts, ends, at, _ = made_up(5)
    assert informative_readings(starts, ends, at).tolist() == list(range(at.size))
    assert informative_readings(starts, ends, at, most_count=50).size == 50


def test_the_rare_long_run_and_the_idle_reading_are_always_among_the_chosen() -> None:
    starts = 60.0 * np.arange(9000) + np.where(np.arange(9000) > 3000, 9000.0, 0.0)
    ends = starts + 10.0
    ends[3000] = starts[3000] + 1200.0
    at = np.sort(np.append(ends, ends[3000] + 4000.0))
    chosen = at[informative_readings(starts, ends, at)]
    assert chosen.size == MOST_READINGS_COUNT
    assert ends[3000] in chosen
    assert ends[3000] + 4000.0 in chosen
    assert at[-60:].tolist() == chosen[-60:].tolist()


def test_whitening_is_that_of_the_covariance_matrix() -> None:
    dice = np.random.default_rng(6)
    at = np.sort(dice.uniform(0.0, 30000.0, 40))
    unrest, variances = Unrest(1.0, 1.7, 3600.0, 0.0), dice.uniform(0.5, 2.0, 40)
    covariance = 1.7**2 * np.exp(-np.abs(at[:, None] - at) / 3600.0) + np.diag(variances)
    rows = dice.normal(size=(3, 40))
    expected = np.linalg.solve(np.linalg.cholesky(covariance), rows.T).T
    assert whitened(at, rows, unrest, variances) == pytest.approx(expected, abs=1e-9)


def test_unrest_is_found_in_what_was_made_with_it() -> None:
    dice = np.random.default_rng(7)
    at = 200.0 * np.arange(400)
    kept = np.exp(-200.0 / 14400.0)
    drift = [0.0]
    for step in dice.normal(0.0, 3.0 * np.sqrt(1 - kept**2), 399):
        drift.append(kept * drift[-1] + step)
    fast = np.full(400, 20.0) * (np.arange(400) % 2)
    residuals = np.array(drift) + fast * 0.1 * dice.normal(size=400) + dice.normal(0, 0.8, 400)
    found = find_unrest(at, residuals, fast, np.ones(400), 0.2, 0.5)
    assert 0.6 < found.noise_kelvin < 1.1
    assert 1.5 < found.drift_kelvin < 5.0
    assert 0.06 < found.load_fraction < 0.16


def test_members_are_two_coupled_bodies() -> None:
    # winding 150 J/K, housing 2500 J/K, 0.6 and 0.8 K/W, 150 W: time constants 84.693673 s and
    # 2125.306328 s, steady rises 210 and 120 K; after 120 s 67.382754 and 3.088323 K
    slow, fast = 2125.306328, 84.693673
    total, slope = 210.0, 150.0 / 150.0
    fast_rise = (slope - total / slow) / (1 / fast - 1 / slow)
    z = np.array([[np.log(total - fast_rise), np.log(slow), 0.0, 0.0, np.log(fast),
                   np.log(fast_rise / (total - fast_rise))]])  # fmt: skip
    housing = np.array([[np.log(120.0 / (1 - fast / slow)), np.log(slow), 0.0, 0.0,
                         np.log(fast), 60.0]])  # fmt: skip
    for point, body, expected in ((z, "winding", 67.382754), (housing, "housing", 3.088323)):
        member = members_of(point, body)  # type: ignore[arg-type]
        shares = [
            responses([0.0], [120.0], [120.0], constant, constant)[0, 0]
            for constant in (member.heating_seconds, member.fast_seconds)
        ]
        found = member.rise_kelvin[0] * (shares[0] + member.fast_share_fraction[0] * shares[1])
        assert found == pytest.approx(expected, abs=2e-4)


@pytest.mark.parametrize("seed", [1, 2])
def test_the_order_in_which_facts_come_changes_nothing(seed: int) -> None:
    starts, ends, at, read = made_up(seed)
    room_at, room = at[::9], np.full(at[::9].size, 23.5)
    dice = np.random.default_rng(seed)
    runs, reads, rooms = (dice.permutation(n) for n in (starts.size, at.size, room_at.size))
    told = [
        fit_motor(starts[a], ends[a], at[b], read[b], body="winding",
                  ambient_at_seconds=room_at[c], ambient_readings_celsius=room[c])
        for a, b, c in ((slice(None),) * 3, (runs, reads, rooms))
    ]  # fmt: skip
    assert told[0].as_text() == told[1].as_text()
    assert fit_from_text(told[0].as_text()) == told[0]
    assert told[0].ambient_source == "measured"


def test_the_clock_of_the_instants_does_not_matter() -> None:
    starts, ends, at, read = made_up(3)
    here = fit_motor(starts, ends, at, read, body="housing")
    later = 1.75e9
    there = fit_motor(starts + later, ends + later, at + later, read, body="housing")
    assert here.status == there.status == "identified"
    assert here.rise_kelvin is not None and there.rise_kelvin is not None
    assert there.rise_kelvin == pytest.approx(here.rise_kelvin, rel=1e-5)
    assert there.members == pytest.approx(np.array(here.members), rel=1e-3)


def test_readings_between_runs_make_cooling_known() -> None:
    starts = 14400.0 * np.arange(4)
    ends = starts + np.array([60.0, 300.0, 900.0, 1800.0])
    idle = ends + 1200.0
    truth = lambda at: 25 + 120 * responses(starts, ends, at, [1200.0], [2400.0])[0]  # noqa: E731
    at_ends = fit_motor(starts, ends, ends, np.round(truth(ends), 1), body="winding")
    assert at_ends.cooling_time_constant_seconds is None
    at = np.sort(np.append(ends, idle))
    found = fit_motor(starts, ends, at, np.round(truth(at), 1), body="winding")
    assert found.status == "identified"
    assert found.cooling_time_constant_seconds is not None
    assert found.cooling_time_constant_seconds.best == pytest.approx(2400.0, rel=0.05)


def test_a_dead_sensor_tells_nothing() -> None:
    starts, ends, at, _ = made_up(4)
    fit = fit_motor(starts, ends, at, np.full(at.size, 21.0), body="housing")
    assert fit.status == "insufficient"
    assert fit.members == ()


def test_too_few_readings_and_no_runs_tell_nothing() -> None:
    fit = fit_motor([0.0], [60.0], [60.0, 90.0, 120.0], [30.0, 29.0, 28.0], body="winding")
    assert (fit.status, fit.reading_count, fit.used_count) == ("insufficient", 3, 3)
    fit = fit_motor([], [], [1.0, 2.0, 3.0, 4.0, 5.0], [20.0] * 5, body="winding")
    assert fit.status == "insufficient"


def test_what_is_no_number_is_refused() -> None:
    with pytest.raises(ValueError, match="finite"):
        fit_motor([0.0], [60.0], [60.0], [np.nan], body="winding")
    with pytest.raises(ValueError, match="equally many"):
        fit_motor([0.0], [60.0], [60.0], [], body="winding")


def test_the_step_of_a_sensor_is_found() -> None:
    assert resolution_kelvin([20.0, 22.5, 23.0]) == 0.5
    assert resolution_kelvin([20.1, 22.5]) == 0.1
    assert resolution_kelvin([20.123]) == 0.0
