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
    for i in range(60_000):
        detector.push(float(i), 300.0 if i % 40 < 10 else 2.0)
    assert len(detector._idle) <= 21
    assert len(detector._clock._spans) <= 64


WEIGHED = [scale.DetectedRun(100.0, 6.0, 18.0), scale.DetectedRun(200.0, 7.0, 18.4)]
METERED = [
    power.DetectedRun(101.5, 6.4, 5.9, 6.9),
    power.DetectedRun(198.4, 7.4, 6.9, 7.9),
    power.DetectedRun(300.0, 5.0, 4.5, 5.5),
]


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


def test_each_run_has_one_partner_the_nearest() -> None:
    long = power.DetectedRun(100.0, 30.0, 29.0, 31.0)
    scales = [scale.DetectedRun(101.0, 5.0, 10.0), scale.DetectedRun(112.0, 6.0, 20.0)]
    assert [(run.grams, run.seconds) for run in joined(scales, [long])] == [
        (20.0, 30.0),
        (10.0, 5.0),
    ]


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
