"""The plug's run detector, and the two devices joined."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from itertools import permutations

import pytest

from burrline import power, scale
from burrline.joined import JoinedRun, joined


def watts(
    *runs: tuple[float, float], interval: float = 1.0, idle: float = 2.0, until: float = 120.0
) -> list[tuple[float, float]]:
    """Readings of a plug of a 300 W motor that runs from and to the given seconds."""
    count = round(until / interval)
    at = [i * interval for i in range(count)]
    return [(t, idle + (300.0 if any(a <= t < b for a, b in runs) else 0.0)) for t in at]


def runs_of(samples: list[tuple[float, float]]) -> list[power.DetectedRun]:
    detector = power.RunDetector()
    found = [run for t, w in samples for run in detector.push(t, w)]
    return found + detector.finish()


def test_a_run_is_timed_and_never_weighed() -> None:
    (run,) = runs_of(watts((30.0, 42.0), interval=0.1))
    assert (run.started, run.seconds) == pytest.approx((30.0, 12.0), abs=0.11)
    assert run.grams is None


@pytest.mark.parametrize("interval", [1.0, 2.0, 5.0, 10.0])
def test_the_bounds_hold_whatever_the_interval(interval: float) -> None:
    for shift in (0.0, 0.3, 0.7):
        (run,) = runs_of(watts((41.0 + shift * interval, 66.5), interval=interval))
        true = 66.5 - 41.0 - shift * interval
        assert run.low_seconds <= true <= run.high_seconds
        assert run.high_seconds - run.low_seconds == pytest.approx(2 * interval)
        assert abs(run.seconds - true) <= interval


def test_two_stretches_less_than_two_seconds_apart_are_one() -> None:
    (run,) = runs_of(watts((30.0, 36.0), (37.5, 40.0), interval=0.1))
    assert run.seconds == pytest.approx(10.0, abs=0.2)
    assert len(runs_of(watts((30.0, 36.0), (38.5, 40.5), interval=0.1))) == 2


def test_standby_a_heater_and_a_peak_are_no_runs() -> None:
    quiet = [(float(t), 25.0 + (20.0 if t // 30 % 2 else 0.0)) for t in range(600)]
    assert runs_of(quiet) == []
    peak = [(t, 1500.0 if t == 30.0 else w) for t, w in watts((30.0, 42.0))]
    (run,) = runs_of(peak)
    assert run.seconds == pytest.approx(12.0, abs=1.0)


def test_doubled_lost_and_senseless_readings() -> None:
    spoilt = []
    for t, w in watts((30.0, 60.0)):
        if t in (33.0, 34.0, 70.0):
            continue
        spoilt += [(t, w), (t, w), (t + 0.1, math.nan), (t + 0.2, -math.inf)]
    (run,) = runs_of(spoilt)
    assert run.seconds == pytest.approx(30.0, abs=1.0)


@pytest.mark.parametrize("jump_seconds", [-3600.0, -5.0])
def test_time_that_goes_back_is_a_clock_that_was_set(jump_seconds: float) -> None:
    jumped = [(t + (jump_seconds if t >= 40 else 0), w) for t, w in watts((30.0, 60.0))]
    (run,) = runs_of(jumped)
    assert (run.started, run.seconds) == pytest.approx((29.5, 30.0), abs=1.0)


def test_a_long_silence_ends_what_was_open() -> None:
    runs = runs_of([*watts((30.0, 200.0), until=50.0), *((t + 1e4, w) for t, w in watts())])
    assert [run.seconds for run in runs] == pytest.approx([19.5], abs=1.0)


def test_finish_begins_anew() -> None:
    detector = power.RunDetector()
    for t, w in watts((30.0, 200.0), until=50.0):
        assert detector.push(t, w) == []
    assert len(detector.finish()) == 1
    assert detector.finish() == []
    with pytest.raises(TypeError, match="watts"):
        detector.push(0.0, "300")  # type: ignore[arg-type]


def test_many_readings_leave_nothing_behind() -> None:
    detector = power.RunDetector()
    for i in range(20_000):
        detector.push(float(i), 300.0 if i % 40 < 10 else 2.0)
    assert len(detector._levels._idle) <= 21
    assert len(detector._clock._clock._spans) <= 64


def on_change(
    *steps: tuple[float, float], until: float, life_seconds: float = 1e9
) -> list[tuple[float, float]]:
    """A plug that tells what is drawn from an instant on, and else only a sign of life."""
    told, ends = [], [t for t, _ in steps[1:]] + [until]
    for (since, drawn), end in zip(steps, ends, strict=True):
        t = since
        while t < end:
            told.append((t, drawn))
            t += life_seconds
    return told


def test_a_plug_that_tells_changes_at_once_has_no_middles() -> None:
    """Half of the silence before a change would be 20 s."""
    steps = [(0.0, 2.0)]
    for start, seconds in ((40.0, 7.0), (90.0, 12.0), (131.0, 5.0)):
        steps += [(start, 900.0), (start + 1, 310.0), (start + 2, 345.0), (start + seconds, 2.0)]
    for life in (1e9, 10.0):
        runs = runs_of(on_change(*steps, until=200.0, life_seconds=life))
        assert [run.started for run in runs] == pytest.approx([40.0, 90.0, 131.0], abs=1.0)
        assert [run.seconds for run in runs] == pytest.approx([7.0, 12.0, 5.0], abs=0.5)


def test_a_peak_at_the_start_does_not_hide_the_run() -> None:
    """A plug read each 5 s, once within the inrush of five times the load."""
    readings = [(t, 1500.0 if t == 40.0 else w) for t, w in watts((40.0, 61.0), interval=5.0)]
    (run,) = runs_of(readings)
    assert run.seconds == pytest.approx(21.0, abs=5.0)


def test_a_peak_that_a_register_holds_is_still_one() -> None:
    readings = watts((40.0, 61.0), interval=0.25)
    (run,) = runs_of([(t, 1500.0 if 40.0 <= t < 41.0 else w + t % 0.7) for t, w in readings])
    assert run.seconds == pytest.approx(21.0, abs=0.5)


def test_means_of_a_second_are_taken_by_their_parts() -> None:
    """Energy over the interval: the motor on for 0.3 of one reading and 0.4 of another."""
    readings = []
    for t in range(400):
        share = {20: 0.3, 27: 0.4}.get(t % 40, 1.0 if 20 < t % 40 < 27 else 0.0)
        readings.append((float(t), 2.0 + 300.0 * share))
    runs = runs_of(readings)
    assert len(runs) == 10
    assert [run.seconds for run in runs] == pytest.approx([6.7] * 10, abs=0.05)
    assert all(run.low_seconds <= 6.7 <= run.high_seconds for run in runs)


def test_repeated_readings_are_no_news_of_their_instant() -> None:
    """A register of half a second, asked ten times a second; a steady motor is none."""
    load = [300.0 + 7.3 * (i * 7 % 11) for i in range(400)]
    readings, still = [], []
    for i in range(2000):
        t, place = i / 10, i // 5
        is_on = 20 <= place % 100 < 60 + place // 100
        readings.append((t, load[place] if is_on else 2.0))
        still.append((t, 300.0 if is_on else 2.0))
    for told in (readings, still):
        runs = runs_of(told)
        seconds = [run.seconds for run in runs]
        assert seconds == pytest.approx([20.0, 20.5, 21.0, 21.5], abs=0.3)


def test_small_motors_are_found_where_idle_power_is_still() -> None:
    small = [(t, w if w < 10 else 47.0 + t % 3) for t, w in watts((60.0, 72.0))]
    (run,) = runs_of(small)
    assert run.seconds == pytest.approx(12.0, abs=1.0)
    restless = [(t, w + (0.0 if t // 6 % 2 else 25.0)) for t, w in small]
    assert all(run.seconds > 5 for run in runs_of(restless))


def test_the_caller_may_say_what_a_motor_draws_at_least() -> None:
    readings = watts((60.0, 72.0), (90.0, 93.0))
    lamp = [(t, w + (70.0 if t >= 20 else 0.0)) for t, w in readings]
    detector = power.RunDetector(least_watts=150.0)
    found = [run for t, w in lamp for run in detector.push(t, w)]
    assert [run.seconds for run in found] == pytest.approx([12.0, 3.0], abs=1.0)
    with pytest.raises(ValueError, match="least_watts"):
        power.RunDetector(least_watts=0.0)


def test_a_lamp_is_told_from_the_motor_on_top_of_it() -> None:
    readings = watts((60.0, 72.0), (90.0, 97.0), until=160.0)
    runs = runs_of([(t, w + (45.0 if 30 <= t < 110 else 0.0)) for t, w in readings])
    assert [run.started for run in runs] == pytest.approx([59.5, 89.5], abs=0.5)
    assert [run.seconds for run in runs] == pytest.approx([12.0, 7.0], abs=1.0)
    after = runs_of([(t, w + (45.0 if t >= 65 else 0.0)) for t, w in readings])
    assert [run.seconds for run in after] == pytest.approx([12.0, 7.0], abs=1.0)


def test_a_motor_that_stalls_after_a_while_has_all_of_its_run() -> None:
    readings = watts((30.0, 50.0))
    (run,) = runs_of([(t, w + (1500.0 if 42 <= t < 50 else 0.0)) for t, w in readings])
    assert (run.started, run.seconds) == pytest.approx((29.5, 20.0), abs=1.0)


def test_what_is_drawn_for_half_an_hour_is_idle_power() -> None:
    readings = watts((2500.0, 2512.0), until=2600.0)
    (run,) = runs_of([(t, w + (120.0 if t >= 100 else 0.0)) for t, w in readings])
    assert (run.started, run.seconds) == pytest.approx((2499.5, 12.0), abs=1.0)


def test_a_high_idle_power_from_the_first_reading_on_is_none_the_less() -> None:
    (run,) = runs_of([(t, w + 110.0) for t, w in watts((30.0, 42.0))])
    assert run.seconds == pytest.approx(12.0, abs=1.0)


def test_a_soft_start_is_part_of_the_run() -> None:
    ramp = [(t, 2.0 + min(300.0, 20.0 + 300.0 * (t - 30.0)) if 30 <= t < 36 else 2.0)
            for t in (i / 5 for i in range(300))]  # fmt: skip
    (run,) = runs_of([(t, 14.0 if t == 30.0 else w) for t, w in ramp])
    assert run.seconds == pytest.approx(6.0, abs=0.25)


def test_a_disturbance_of_a_moment_is_no_run() -> None:
    readings = watts((40.0, 46.0), interval=0.2)
    (run,) = runs_of([(t, 120.0 if t == 20.0 else w) for t, w in readings])
    assert (run.started, run.seconds) == pytest.approx((40.0, 6.0), abs=0.3)


def test_a_heater_that_was_on_before_is_no_soft_start() -> None:
    readings = watts((40.0, 46.0), interval=0.2)
    (run,) = runs_of([(t, w + (10.0 if t >= 39 else 0.0)) for t, w in readings])
    assert (run.started, run.seconds) == pytest.approx((40.0, 6.0), abs=0.3)


def test_a_late_reading_is_no_clock_that_was_set() -> None:
    late = watts((30.0, 60.0))
    late[40], late[41] = late[41], late[40]
    late[50], late[51] = late[51], late[50]
    (run,) = runs_of(late)
    assert (run.started, run.seconds) == pytest.approx((29.5, 30.0), abs=0.1)


WEIGHED = [scale.DetectedRun(100.0, 6.0, 18.0), scale.DetectedRun(200.0, 7.0, 18.4)]
METERED = [
    power.DetectedRun(101.5, 6.4, 5.9, 6.9),
    power.DetectedRun(198.4, 7.4, 6.9, 7.9),
    power.DetectedRun(300.0, 5.0, 4.5, 5.5),
]


@pytest.mark.parametrize("detector", [power.RunDetector, scale.RunDetector])
def test_what_nobody_can_have_measured_is_left_out(
    detector: type[power.RunDetector] | type[scale.RunDetector],
) -> None:
    def told(spoilt: bool) -> list[object]:
        made, found = detector(), list[object]()
        for t, w in watts((30.0, 42.0), interval=0.1):
            if spoilt:
                for wild in ((t, 1e300), (1e308, w), (-1e308, w), (t, -1e308)):
                    found += made.push(*wild)
            found += made.push(t, w)
        return found + made.finish()

    assert told(True) == told(False)


def test_a_kettle_does_not_hide_the_motor_for_good() -> None:
    grinds = [(200.0 + 40 * n, 210.0 + 40 * n) for n in range(8)]
    readings = [(t, w + (2200.0 if 20 <= t < 140 else 0.0)) for t, w in watts(*grinds, until=540.0)]
    found = [run.started for run in runs_of(readings)]
    assert found[0] == pytest.approx(20.0, abs=1)
    assert found[1:] == pytest.approx([begin for begin, _ in grinds[2:]], abs=1)


def test_a_run_that_is_open_at_the_end_ends_with_its_last_reading() -> None:
    readings = [*watts((30.0, 42.0), until=43.0), (43.5, 300.0), (44.0, 300.0)]
    run = runs_of(readings)[-1]
    assert run.started + run.seconds <= 44.0


def test_grams_of_the_scale_and_seconds_of_the_plug() -> None:
    found = joined(WEIGHED, METERED)
    assert [(run.grams, run.seconds) for run in found] == [(18.0, 6.4), (18.4, 7.4), (None, 5.0)]
    assert [run.has_scale for run in found] == [True, True, False]


def test_no_order_matters() -> None:
    expected = joined(WEIGHED, METERED)
    for one in permutations(WEIGHED):
        for other in permutations(METERED):
            assert joined(one, other) == expected


def test_a_plug_that_knows_less_than_the_scale_leaves_it_the_seconds() -> None:
    (run,) = joined(WEIGHED[:1], [power.DetectedRun(98.0, 10.0, 0.0, 20.0)])
    assert (run.started, run.seconds, run.grams) == (100.0, 6.0, 18.0)
    assert run.has_plug


def test_what_lies_apart_stays_apart() -> None:
    far = power.DetectedRun(109.0, 6.0, 5.5, 6.5)
    assert [run.grams for run in joined(WEIGHED[:1], [far])] == [18.0, None]


def test_a_run_is_what_the_client_takes_and_has_an_id_of_its_own() -> None:
    run = JoinedRun(1_767_254_400.25, 6.4, 18.0, True, True)
    line = run.as_run("bar-1", setting=5.0)
    assert datetime.fromisoformat(line["started_at"].replace("Z", "+00:00")) == datetime(
        2026, 1, 1, 8, 0, 0, 250_000, tzinfo=UTC
    )
    assert {name: line[name] for name in line if name not in ("run_id", "started_at")} == {
        "grinder_id": "bar-1", "seconds": 6.4, "grams": 18.0, "grams_basis": "weighed_out",
        "setting": 5.0,
    }  # fmt: skip
    assert line["run_id"] == run.as_run("bar-1")["run_id"]
    others = [
        run.as_run("bar-2"),
        JoinedRun(1_767_254_401.25, 6.4, 18.0, True, True).as_run("bar-1"),
    ]
    assert len({line["run_id"], *(other["run_id"] for other in others)}) == 3
    assert "grams" not in JoinedRun(0.0, 5.0, None, False, True).as_run("bar-1")
