"""Thermal overload relays: the same first-order body, and numbers their manuals print.

Sources
-------
* IEC 60255-149 (formerly IEC 60255-8), thermal electrical relays: operate time
  t = tau ln((I^2 - Ip^2) / (I^2 - (k IB)^2)), Ip = prior load current, from cold Ip = 0; as given
  in four relay manuals of different makers. The heating of a body is proportional to the square of
  the current, so a motor at one load has steady rise I^2, prior rise Ip^2 and limit (k IB)^2: the
  time is ``longest_run_seconds``. Thermal-level recursion: level' = (I / k IB)^2 (1 - exp(-dt /
  tau)) + level exp(-dt / tau), as in two relay manuals. The grid of times was computed apart from
  the code, from these forms.
* Worked numbers: commissioning and reference manuals of protection relays, named by title and
  section; an engineering school's worked example of a cooling motor; a starter's cooling table.
  Tolerances are the rounding of the printed numbers. Class accuracy of relays: 5 % or 200 ms.
"""

from __future__ import annotations

import math

import pytest

from burrline_service.core.thermal import Thermal, step_celsius, step_rise_kelvin
from burrline_service.core.thermal_limits import cooling_seconds, longest_run_seconds

PRINTED = 6e-7


def operate_seconds(tau: float, current: float, prior: float, pickup: float) -> float:
    """Operate time by the model: steady rise, rise now and limit are squares of currents."""
    motor = Thermal(current**2, tau, tau, 0.0)
    return longest_run_seconds(prior**2, pickup**2, motor)


# current: operate time from cold, from 0.9 and from 1.0 of the base current (tau 600 s)
GRID = {
    1.05: {
        1.2: (870.499729, 374.492585, 159.125530),
        1.5: (404.006732, 136.234470, 51.334733),
        2: (193.467639, 57.703572, 20.858395),
        3: (78.406994, 21.820587, 7.737173),
        5: (27.061184, 7.299284, 2.567988),
        8: (10.426000, 2.783786, 0.976985),
    },
    1.10: {
        1.2: (1100.591450, 604.584306, 389.217251),
        2: (216.151659, 80.387593, 43.542416),
        5: (29.766300, 10.004400, 5.273104),
    },
}


@pytest.mark.parametrize(
    ("pickup", "current"), [(k, current) for k, rows in GRID.items() for current in rows]
)
def test_the_operate_time_is_the_longest_run(pickup: float, current: float) -> None:
    for prior, printed in zip((0.0, 0.9, 1.0), GRID[pickup][current], strict=True):
        assert operate_seconds(600.0, current, prior, pickup) == pytest.approx(printed, abs=PRINTED)


def test_the_relays_domain_is_kept() -> None:
    assert operate_seconds(600.0, 1.05, 0.0, 1.05) == math.inf  # I <= k IB: never
    assert operate_seconds(600.0, 2.0, 1.05, 1.05) == 0.0  # Ip >= k IB: at once


def test_the_temperature_form_gives_the_same_time() -> None:
    # t = tau ln((I^2 - Ip^2) Tref / (I^2 Tref - (Ttrip - Tamb))), in units of the reference current
    cold = Thermal(120.0, 1200.0, 1200.0, 25.0)
    assert longest_run_seconds(25.0, 90.0, cold) == pytest.approx(936.190269, abs=PRINTED)
    loaded = Thermal(1.5**2 * 60.0, 3600.0, 3600.0, 40.0)
    now_celsius = 40.0 + 0.8**2 * 60.0
    found = longest_run_seconds(now_celsius, 100.0, loaded)
    assert found == pytest.approx(911.126260, abs=PRINTED)


def test_the_level_recursion_reaches_the_trip_at_the_step_after_the_closed_form() -> None:
    # k 1.05, I 2, prior 0.9, dt 1 s: level 1 is passed at step 58; closed form: 57.703572 s
    motor = Thermal((2 / 1.05) ** 2, 600.0, 600.0, 0.0)
    level, step_count = (0.9 / 1.05) ** 2, 0
    while level < 1:
        level, step_count = step_rise_kelvin(level, 1.0, True, motor), step_count + 1
    assert step_count == 58


def test_a_state_of_heat_enters_linearly_and_a_current_squared() -> None:
    # state 50 %, K = 2: 0.154151 tau; squaring the state as if it were a current gives 0.223144
    motor = Thermal(4.0, 1.0, 1.0, 0.0)
    assert longest_run_seconds(0.5, 1.0, motor) == pytest.approx(0.154151, abs=PRINTED)
    assert longest_run_seconds(0.25, 1.0, motor) == pytest.approx(0.223144, abs=PRINTED)


# --- printed in manuals ---------------------------------------------------------------------------


def test_a_busbar_relay_trips_after_six_tenths_of_the_time_constant() -> None:
    # busbar protection relay, commissioning manual, 10.4.5: Itr 101 %, I = 1.50, zero content:
    # "0.60 tau"
    assert operate_seconds(1.0, 1.50, 0.0, 1.01) == pytest.approx(0.60, abs=0.005)


@pytest.mark.parametrize(("tau", "prior"), [(146.0, 0.0), (830.0, 1.0)])
def test_six_times_the_current_for_5_seconds_gives_the_printed_time_constants(
    tau: float, prior: float
) -> None:
    # multifunction feeder relay, motor protection with thermal memory, p. 25: 6 IB for 5 s, k 1.1:
    # 146 s from cold, 830 s from 100 % preload (to the rounding of tau)
    assert operate_seconds(tau, 6.0, prior, 1.1) == pytest.approx(5.0, rel=0.002)


def test_a_motor_at_141_celsius_cools_to_96_in_ten_minutes() -> None:
    # the same document, p. 37: environment 40, tau 1026 s, 600 s: 96 degC
    motor = Thermal(0.0, 1026.0, 1026.0, 40.0)
    assert step_celsius(141.0, 600.0, False, motor) == pytest.approx(96.0, abs=0.5)


def test_the_thermal_memory_falls_by_about_45_percent_in_six_tenths_of_tau() -> None:
    # the same document, p. 35: 0.6 * 3336 s = 2001 s
    motor = Thermal(0.0, 3336.0, 3336.0, 0.0)
    left = step_rise_kelvin(100.0, 2001.0, False, motor)
    assert 100 - left == pytest.approx(45.0, abs=0.5)


def test_a_motor_cools_from_90_to_40_percent_in_2_hours_50_minutes() -> None:
    # electrical engineering course, worked cooling example: tau 3.5 h; printed to the minute
    motor = Thermal(0.0, 1.0, 3.5 * 3600, 0.0)
    minutes = cooling_seconds(90.0, 40.0, motor) / 60
    assert minutes == pytest.approx(170.0, abs=0.5)


def test_95_percent_of_a_final_temperature_is_less_than_three_time_constants() -> None:
    # textbook exercise on motor heating: tau 3 h, 40 to 120 degC, to 114 degC: 2.59 tau, 7.77 h
    motor = Thermal(80.0, 3.0, 3.0, 40.0)
    hours = longest_run_seconds(40.0, 114.0, motor)
    assert hours / 3 == pytest.approx(2.59, abs=0.005)
    assert hours == pytest.approx(7.77, abs=0.005)


def test_a_starters_cooling_table_is_one_exponential() -> None:
    # class 25 electronic overload, cooling table: seconds from full heat to so many percent.
    # One time constant, 869.8 s, fits all nine to 0.2 %.
    motor = Thermal(0.0, 869.8, 869.8, 0.0)
    table = {
        90: 91.8, 80: 193.8, 70: 310.25, 60: 444.55, 50: 602.65, 40: 797.3, 30: 1047.2,
        20: 1399.95, 10: 2002.6,
    }  # fmt: skip
    for percent, printed in table.items():
        assert cooling_seconds(100.0, percent, motor) == pytest.approx(printed, rel=0.002)
