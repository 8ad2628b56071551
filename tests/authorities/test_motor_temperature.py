"""A motor as a first-order body: closed forms against worked values and an integrator.

Sources
-------
* The equations are those of a first-order body, d(rise)/dt = (final rise - rise) / tau, as in
  IEC 60255-149 (thermal electrical relays), with one time constant for running and one for
  standstill, as motor protection relays have ("cool time constant running / stopped").
* The worked values were computed apart from the code, from the closed forms in plain arithmetic,
  and agreed with an integration by ``scipy.integrate.solve_ivp`` (DOP853, tolerances 1e-12).
  The tests below integrate every case once more.
* 1/2/3/4/5 time constants: 1 - exp(-n), as in any text on first-order systems.
* Duty types S2, S3 and the rest until within 2 K: IEC 60034-1, 4.2.2 and 4.2.3, in the words of
  motor makers' duty guides.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from burrline_service.core.thermal import Thermal, step_celsius, step_rise_kelvin
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
from burrline_service.core.thermal_slope import safe_run_seconds

PRINTED = 6e-7  # the worked values are printed to six decimals


def integrated(rise: float, seconds: float, is_on: bool, motor: Thermal) -> float:
    """The rise after a stretch, by a Runge-Kutta integration of the differential equation."""
    target = motor.rise_kelvin if is_on else 0.0
    tau = motor.heating_time_constant_seconds if is_on else motor.cooling_time_constant_seconds
    found = solve_ivp(
        lambda _, x: (target - x) / tau, (0.0, seconds), [rise], "DOP853", rtol=1e-12, atol=1e-12
    )
    return float(found.y[0, -1])


# --- exact steps ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("time_constants", "reached"),
    [(1, 0.632121), (2, 0.864665), (3, 0.950213), (4, 0.981684), (5, 0.993262)],
)
def test_so_many_time_constants_reach_so_much_of_the_change(
    time_constants: int, reached: float
) -> None:
    motor = Thermal(1.0, 1200.0, 2400.0, 0.0)
    up = step_rise_kelvin(0.0, 1200.0 * time_constants, True, motor)
    down = step_rise_kelvin(1.0, 2400.0 * time_constants, False, motor)
    assert up == pytest.approx(reached, abs=PRINTED)
    assert 1 - down == pytest.approx(reached, abs=PRINTED)


@pytest.mark.parametrize(
    ("time_constants", "kept"), [(0.1, 0.904837), (0.5, 0.606531), (1, 0.367879), (2, 0.135335)]
)
def test_a_long_step_is_exact_where_an_euler_step_is_wrong(
    time_constants: float, kept: float
) -> None:
    motor = Thermal(0.0, 700.0, 700.0, 20.0)
    for is_on in (True, False):
        found = step_rise_kelvin(1.0, 700.0 * time_constants, is_on, motor)
        assert found == pytest.approx(kept, abs=PRINTED)
        assert found - (1 - time_constants) > 0.004  # Euler: 0.9, 0.5, 0 and -1


# --- periodic steady state ------------------------------------------------------------------------

# name: on, off, rise, tau_h, tau_c, ambient; peak, trough, mean rise; a b; cycles to 99 %
CYCLES = {
    "A": (60, 240, 80, 1200, 1200, 25, 17.638607, 14.441270, 16.0, 0.778800783, 19),
    "B": (600, 600, 120, 900, 2700, 22, 99.152937, 79.395465, 89.636207, 0.411112291, 6),
    "C S3 25 %": (150, 450, 160, 1800, 3600, 40, 68.024275, 60.031212, 63.979189, 0.811936346, 23),
    "D S3 60 %": (360, 240, 100, 1500, 1500, 40, 64.720993, 55.151592, 60.0, 0.670320046, 12),
    "E doses": (8, 52, 200, 600, 1500, 21.5, 56.521905, 54.596053, 55.554443, 0.953133787, 96),
    "F near S1": (3600, 60, 70, 900, 900, 30, 69.915872, 65.406787, 68.852459, 0.017134408, 2),
    "G near S2": (3600, 7200, 95, 1200, 2400, 20, 90.494542, 4.505458, 41.221009, 0.002478752, 1),
    "H hardly off": (
        30, 0.001, 80, 1200, 1200, 25, 79.997367, 79.997300, 79.997333, 0.975309099, 185,
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CYCLES)
def test_identical_cycles_settle_where_the_worked_case_says(name: str) -> None:
    on, off, rise, heating, cooling, ambient, peak, trough, mean, kept, count = CYCLES[name]
    cycle = steady_cycle(on, off, Thermal(rise, heating, cooling, ambient))
    assert cycle.peak_celsius - ambient == pytest.approx(peak, abs=PRINTED)
    assert cycle.trough_celsius - ambient == pytest.approx(trough, abs=PRINTED)
    assert cycle.mean_celsius - ambient == pytest.approx(mean, abs=PRINTED)
    assert cycle.kept_fraction == pytest.approx(kept, abs=6e-10)
    assert cycle.settling_count == count


@pytest.mark.parametrize("name", CYCLES)
def test_an_integrator_started_at_the_settled_trough_comes_back_to_it(name: str) -> None:
    on, off, rise, heating, cooling, ambient, *_ = CYCLES[name]
    motor = Thermal(rise, heating, cooling, ambient)
    cycle = steady_cycle(on, off, motor)
    peak = integrated(cycle.trough_celsius - ambient, on, True, motor)
    assert peak == pytest.approx(cycle.peak_celsius - ambient, abs=1e-9)
    assert integrated(peak, off, False, motor) == pytest.approx(
        cycle.trough_celsius - ambient, abs=1e-9
    )


@pytest.mark.parametrize(
    ("name", "printed"),
    [
        (
            "A",
            [
                (3.901646, 3.194398), (6.940251, 5.682197), (9.306719, 7.619697),
                (11.149726, 9.128624), (12.585061, 10.303777), (13.702902, 11.218987),
            ],
        ),
        (
            "B",
            [
                (58.389946, 46.755013), (82.394770, 65.976574), (92.263448, 73.878794),
                (96.320583, 77.127494), (97.988521, 78.463074),
            ],
        ),
    ],
)  # fmt: skip
def test_the_first_cycles_from_cold_agree_with_the_worked_case(
    name: str, printed: list[tuple[float, float]]
) -> None:
    on, off, rise, heating, cooling, ambient, *_ = CYCLES[name]
    motor = Thermal(rise, heating, cooling, ambient)
    for index, extremes in enumerate(printed):
        found = cycle_celsius(index + 1, on, off, motor)
        assert np.subtract(found, ambient) == pytest.approx(extremes, abs=PRINTED)


# on, off; peak, trough, mean at tau_c 1200; the same at tau_c 3000 (rise 120 K, tau_h 1200)
SAME_FRACTION = [
    (15, 45, (30.564822, 29.439866, 30.0), (54.954710, 54.136540, 54.545071)),
    (150, 450, (35.836011, 24.629706, 30.0), (58.646992, 50.477934, 54.507174)),
    (600, 1800, (54.606508, 12.184359, 30.0), (70.775407, 38.842367, 53.949780)),
    (1200, 3600, (77.269711, 3.847032, 30.0), (85.306721, 25.693891, 52.354811)),
    (3600, 10800, (114.026252, 0.014072, 30.0), (114.180880, 3.119847, 43.882629)),
]


@pytest.mark.parametrize(("on", "off", "equal", "slower"), SAME_FRACTION)
def test_the_same_duty_fraction_gets_hotter_in_longer_cycles(
    on: float, off: float, equal: tuple[float, ...], slower: tuple[float, ...]
) -> None:
    for cooling, printed in ((1200.0, equal), (3000.0, slower)):
        cycle = steady_cycle(on, off, Thermal(120.0, 1200.0, cooling, 0.0))
        found = (cycle.peak_celsius, cycle.trough_celsius, cycle.mean_celsius)
        assert found == pytest.approx(printed, abs=PRINTED)


@pytest.mark.parametrize(
    ("duty", "ratio", "effective"),
    [(0.25, 0.4, 0.454545), (0.10, 0.25, 0.307692), (0.5, 0.5, 0.666667)],
)
def test_slower_cooling_at_rest_counts_like_a_higher_duty(
    duty: float, ratio: float, effective: float
) -> None:
    # fast cycles settle at D / (D + (1 - D) r) of the steady rise, r = tau_h / tau_c
    cycle = steady_cycle(1e-2 * duty, 1e-2 * (1 - duty), Thermal(1.0, 1e6 * ratio, 1e6, 0.0))
    assert cycle.peak_celsius == pytest.approx(effective, abs=PRINTED)


# --- loss ratios of short-time and intermittent duty ----------------------------------------------


@pytest.mark.parametrize(
    ("run_minutes", "printed"),
    [
        (10, (2.055148, 3.527726, 6.513882)),
        (30, (1.156518, 1.581977, 2.541494)),
        (60, (1.018657, 1.156518, 1.581977)),
        (90, (1.002485, 1.052396, 1.287217)),
    ],
)
def test_the_loss_ratio_of_a_short_time_rating_follows_from_one_step(
    run_minutes: int, printed: tuple[float, ...]
) -> None:
    for minutes, ratio in zip((15, 30, 60), printed, strict=True):
        motor = Thermal(1.0, 60.0 * minutes, 60.0 * minutes, 0.0)
        found = step_rise_kelvin(0.0, 60.0 * run_minutes, True, motor)
        assert 1 / found == pytest.approx(ratio, abs=PRINTED)


@pytest.mark.parametrize(
    ("duty", "printed"),
    [
        (0.15, (5.113174, 5.812289, 6.217810)),
        (0.25, (3.169544, 3.545327, 3.761731)),
        (0.40, (2.078777, 2.270898, 2.380386)),
        (0.60, (1.475925, 1.563799, 1.613221)),
    ],
)
def test_the_loss_ratio_of_an_intermittent_rating_follows_from_the_settled_peak(
    duty: float, printed: tuple[float, ...]
) -> None:
    for minutes, ratio in zip((15, 30, 60), printed, strict=True):
        motor = Thermal(1.0, 60.0 * minutes, 60.0 * minutes, 0.0)
        cycle = steady_cycle(600.0 * duty, 600.0 * (1 - duty), motor)
        assert 1 / cycle.peak_celsius == pytest.approx(ratio, abs=PRINTED)


# --- longest run ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ambient", "now", "limit", "rise", "heating", "seconds"),
    [
        (25, 25, 90, 120, 1200, 936.190269),
        (25, 60, 90, 120, 1200, 522.381686),
        (40, 40, 120, 80, 1800, math.inf),  # the steady rise is the limit exactly
        (22, 95, 90, 120, 900, 0.0),
        (21.5, 40, 85, 200, 600, 170.958623),
        (25, 90, 90, 120, 1200, 0.0),
    ],
)
def test_the_longest_run_ends_at_the_limit(
    ambient: float, now: float, limit: float, rise: float, heating: float, seconds: float
) -> None:
    motor = Thermal(rise, heating, heating, ambient)
    found = longest_run_seconds(now, limit, motor)
    assert found == pytest.approx(seconds, abs=PRINTED)
    if 0 < found < math.inf:
        reached = integrated(now - ambient, found, True, motor)
        assert ambient + reached == pytest.approx(limit, abs=1e-9)


# --- rest before a run ----------------------------------------------------------------------------

# ambient, now, limit, rise, tau_h, tau_c, run; start allowed, rest, temperature at the run's end
RESTS = {
    "R1": (25, 90, 90, 120, 1200, 1200, 300, 74.378602, 329.844115, 90.0),
    "R2": (25, 90, 90, 120, 1200, 3000, 300, 74.378602, 824.610287, 90.0),
    "R3": (25, 70, 90, 120, 1200, 3000, 300, 74.378602, 0.0, 86.589941),
    "R4": (22, 85, 90, 200, 600, 1500, 60, 76.117439, 227.967373, 90.0),
    "R5": (40, 120, 120, 160, 1800, 3600, 150, 113.047676, 327.291517, 120.0),
    "R6": (25, 90, 90, 120, 1200, 1200, 940, 24.618422, math.inf, None),
    "R7": (25, 90, 90, 120, 1200, 1200, 900, 28.564999, 3483.868167, 90.0),
    "R8": (25, 40, 90, 120, 1200, 1200, 60, 87.180090, 0.0, 45.120910),
    "R9": (40, 130, 120, 70, 1800, 3600, 600, 120.0, 424.018928, 117.165313),
}


@pytest.mark.parametrize("name", RESTS)
def test_the_rest_before_a_run_agrees_with_the_worked_case(name: str) -> None:
    ambient, now, limit, rise, heating, cooling, run, start, rest, end = RESTS[name]
    motor = Thermal(rise, heating, cooling, ambient)
    assert highest_start_celsius(run, limit, motor) == pytest.approx(start, abs=PRINTED)
    found = rest_seconds(now, run, limit, motor)
    assert found == pytest.approx(rest, abs=PRINTED)
    if end is not None:
        rested = integrated(now - ambient, found, False, motor) if found else now - ambient
        assert ambient + integrated(rested, run, True, motor) == pytest.approx(end, abs=PRINTED)


def test_the_rest_grows_with_the_cooling_time_constant_in_proportion() -> None:
    first, second = (
        rest_seconds(90.0, 300.0, 90.0, Thermal(120.0, 1200.0, cooling, 25.0))
        for cooling in (1200.0, 3000.0)
    )
    assert second / first == pytest.approx(2.5, rel=1e-14)


@pytest.mark.parametrize(("cooling", "seconds"), [(2400, 8354.976214), (1200, 4177.488107)])
def test_a_short_time_rated_motor_rests_until_within_2_kelvin(
    cooling: float, seconds: float
) -> None:
    motor = Thermal(120.0, 1200.0, cooling, 21.0)
    assert cooling_seconds(86.0, 23.0, motor) == pytest.approx(seconds, abs=PRINTED)
    assert integrated(65.0, seconds, False, motor) == pytest.approx(2.0, abs=1e-8)


def test_a_cut_out_that_trips_at_120_resets_by_itself_after_a_quarter_of_an_hour() -> None:
    # trip 120, reset 30 K lower, ambient 25, tau_c 2400: 2400 ln(95 / 65)
    motor = Thermal(120.0, 1200.0, 2400.0, 25.0)
    assert cooling_seconds(120.0, 90.0, motor) == pytest.approx(910.775, abs=6e-4)


# --- sustained duty -------------------------------------------------------------------------------

# ambient, limit, rise, tau_h, tau_c, run; rest, duty fraction, supremum for ever shorter runs
SUSTAINED = {
    "D1": (25, 90, 120, 1200, 1200, 300, 329.844115, 0.476308, 0.541667),
    "D2": (25, 90, 120, 1200, 3000, 300, 824.610287, 0.266759, 0.320988),
    "D3": (25, 90, 120, 1200, 3000, 60, 133.057268, 0.310789, 0.320988),
    "D4": (25, 90, 120, 1200, 3000, 10, 21.317795, 0.319307, 0.320988),
    "D5": (40, 120, 160, 1800, 3600, 150, 327.291517, 0.314273, 0.333333),
    "D6": (22, 70, 200, 600, 1500, 20, 170.315066, 0.105089, 0.112150),
}


@pytest.mark.parametrize("name", SUSTAINED)
def test_the_sustained_duty_agrees_with_the_worked_case_and_peaks_at_the_limit(name: str) -> None:
    ambient, limit, rise, heating, cooling, run, rest, duty, supremum = SUSTAINED[name]
    motor = Thermal(rise, heating, cooling, ambient)
    assert sustained_rest_seconds(run, limit, motor) == pytest.approx(rest, abs=PRINTED)
    assert sustained_duty_fraction(run, limit, motor) == pytest.approx(duty, abs=PRINTED)
    assert sustained_duty_fraction(0.0, limit, motor) == pytest.approx(supremum, abs=PRINTED)
    cycle = steady_cycle(run, sustained_rest_seconds(run, limit, motor), motor)
    assert cycle.peak_celsius == pytest.approx(limit, abs=1e-9)


@pytest.mark.parametrize(
    ("ambient", "limit", "rise", "heating", "cooling", "cycle", "duty"),
    [
        (25, 90, 120, 1200, 1200, 600, 0.479382),
        (25, 90, 120, 1200, 3000, 600, 0.290521),
        (40, 120, 160, 1800, 3600, 600, 0.309562),
        (22, 70, 200, 600, 1500, 60, 0.109855),
        (25, 90, 120, 1200, 1200, 7200, 0.129539),
    ],
)
def test_the_largest_duty_of_a_given_cycle_agrees_with_the_worked_case(
    ambient: float,
    limit: float,
    rise: float,
    heating: float,
    cooling: float,
    cycle: float,
    duty: float,
) -> None:
    found = cycle_duty_fraction(cycle, limit, Thermal(rise, heating, cooling, ambient))
    assert found == pytest.approx(duty, abs=PRINTED)
    if heating == cooling:  # closed form
        share = (limit - ambient) / rise
        closed = -heating / cycle * math.log1p(share * math.expm1(-cycle / heating))
        assert found == pytest.approx(closed, abs=1e-12)


# --- only the slope is known ----------------------------------------------------------------------


def test_the_safe_run_of_a_slope_is_shorter_than_the_true_one() -> None:
    # slope 120 K / 1200 s = 0.1 K/s: 65 K / 0.1 = 650 s, the truth being 936.19 s
    safe = safe_run_seconds(25.0, 90.0, 0.1)
    assert safe == pytest.approx(650.0, abs=1e-9)
    assert safe < longest_run_seconds(25.0, 90.0, Thermal(120.0, 1200.0, 2400.0, 25.0))


# --- a history of runs ----------------------------------------------------------------------------


def test_readings_at_the_ends_of_a_days_runs_agree_with_the_worked_history() -> None:
    # rise 120 K, tau_h 1200 s, tau_c 2400 s, ambient 25 degC, from cold
    motor = Thermal(120.0, 1200.0, 2400.0, 25.0)
    history = [
        (0, 60, 30.852469), (600, 300, 55.183469), (2400, 900, 95.947590),
        (4500, 1800, 127.826093), (7200, 120, 100.365520), (9000, 600, 94.915979),
        (10200, 240, 91.332706), (14400, 1500, 114.269263), (18000, 45, 65.259990),
        (19800, 420, 74.092462), (21600, 90, 59.299294), (25200, 1200, 103.777509),
    ]  # fmt: skip
    celsius, rise, clock = 25.0, 0.0, 0.0
    for start, seconds, printed in history:
        celsius = step_celsius(celsius, start - clock, False, motor)
        celsius = step_celsius(celsius, seconds, True, motor)
        rise = integrated(rise, start - clock, False, motor) if start > clock else rise
        rise = integrated(rise, seconds, True, motor)
        clock = start + seconds
        assert celsius == pytest.approx(printed, abs=PRINTED)
        assert 25.0 + rise == pytest.approx(printed, abs=PRINTED)
