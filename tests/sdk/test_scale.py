"""The scale's run detector, one trap at a time; how often it goes well is a simulation's matter."""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from burrline.scale import DetectedRun, RunDetector
from scale_traps import Sample, drawn, runs_of

# 18 g in 6 s into a cup of 60 g that was put down at 3 s and goes at 20 s
CUP = [(0.0, 0.0), (3.0, 0.0), (3.1, 60.0), (8.0, 60.0)]
RUN = [*CUP, (14.0, 78.0), (20.0, 78.0), (20.1, 0.0), (24.0, 0.0)]
PLAIN = drawn(RUN)


def is_the_run(runs: list[DetectedRun], started: float = 8.0) -> bool:
    (run,) = runs
    assert run.grams == pytest.approx(18.0, abs=0.3)
    assert run.seconds == pytest.approx(6.0, abs=0.5)
    assert run.started == pytest.approx(started, abs=0.3)
    return True


@pytest.mark.parametrize("lag_seconds", [0.0, 0.3, 0.8])
@pytest.mark.parametrize("step_grams", [0.01, 0.1])
def test_a_run_is_found_weighed_and_timed(lag_seconds: float, step_grams: float) -> None:
    assert is_the_run(runs_of(drawn(RUN, lag_seconds, step_grams)))


TRAPS = {
    "a paper cup": [(0.0, 0.0), (4.0, 0.0), (4.05, 2.0), (9.0, 2.0), (9.1, 0.0), (14.0, 0.0)],
    "a steel cup": [(0.0, 0.0), (4.0, 0.0), (4.2, 520.0), (9.0, 520.0), (9.1, 0.0), (14.0, 0.0)],
    "a tap": [(0.0, 60.0), (5.0, 60.0), (5.02, 260.0), (5.08, 60.0), (12.0, 60.0)],
    "a hand that presses": [
        (0.0, 60.0), (5.0, 60.0), (6.5, 72.0), (7.5, 72.0), (7.7, 60.0), (13.0, 60.0),
    ],
    "drift": [(0.0, 0.0), (120.0, 1.2)],
    "a cup that is taken": [(0.0, 60.0), (5.0, 60.0), (5.1, 0.0), (10.0, 0.0)],
    "nothing": [(0.0, 0.0), (30.0, 0.0)],
}  # fmt: skip


@pytest.mark.parametrize("trap", TRAPS)
def test_what_is_no_run_is_none(trap: str) -> None:
    assert runs_of(drawn(TRAPS[trap])) == []


def averaged(corners: list[tuple[float, float]], seconds: float) -> list[Sample]:
    """What a scale says that shows the mean of the last seconds, ten times a second."""
    samples, span = drawn(corners, step_grams=0.001), round(10 * seconds)
    means = [sum(g for _, g in samples[max(0, i - span) : i]) / min(i, span) for i in range(1, 901)]
    return [(t, round(mean, 2)) for (t, _), mean in zip(samples, means, strict=False)]


def test_a_paper_cup_on_a_scale_that_averages_is_no_run_but_a_short_run_is() -> None:
    jars = [(0.0, 0.0), (5.0, 0.0), (5.1, 150.0), (10.0, 150.0), (10.1, 0.0)]
    jars += [(15.0, 0.0), (15.1, 150.0), (20.0, 150.0), (20.1, 0.0)]
    cup = [(25.0, 0.0), (25.1, 7.0), (40.0, 7.0)]
    (run,) = runs_of(averaged([*jars, *cup, (41.2, 15.0), (60.0, 15.0), (91.0, 15.0)], 0.7))
    assert run.grams == pytest.approx(8.0, abs=0.3)
    assert run.started > 39


@pytest.mark.parametrize("left_grams", [1.4, -1.2])
@pytest.mark.parametrize("lag_seconds", [0.0, 0.3])
def test_what_a_spoon_gives_or_takes_after_a_run_is_no_grounds(
    left_grams: float, lag_seconds: float
) -> None:
    after = 78.0 + left_grams
    spoon = [(16.0, 78.0), (16.2, 84.0), (16.4, 84.0), (16.6, after)]
    steps = [*CUP, (14.0, 78.0), *spoon, (21.0, after), (21.1, 0.0), (25.0, 0.0)]
    assert is_the_run(runs_of(drawn(steps, lag_seconds)))


def test_a_scale_that_is_zeroed_as_the_cup_goes_does_not_undo_the_run() -> None:
    ground = [round(0.6 * i, 1) for i in range(1, 31)]
    lifted = [18.5, 23.2, -13.8, -112.0, -116.0, -116.1]
    shown = [0.0] * 40 + ground + [18.0] * 7 + lifted + [0.0] * 40  # five times a second
    assert is_the_run(runs_of((i / 5, grams) for i, grams in enumerate(shown)), 7.8)


def test_what_a_hand_adds_and_takes_away_is_no_flow() -> None:
    wiped = [(0.0, 0.0), (5.0, 0.0), (5.5, 55.0), (5.8, 33.0), (6.2, 46.0), (6.6, 40.0)]
    wiped += [(7.1, 62.0), (7.4, 20.0), (7.6, 12.0), (14.0, 12.0)]
    assert runs_of(drawn(wiped)) == []


def test_a_table_that_shakes_is_no_run() -> None:
    dice = random.Random(5)
    assert (
        runs_of([(t, round(g + dice.gauss(0, 0.3), 1)) for t, g in drawn([(0, 9), (60, 9)])]) == []
    )


def test_shaking_while_it_grinds_is_no_more_than_that() -> None:
    dice = random.Random(6)
    noise = lambda t: dice.gauss(0, 0.4) if 8 <= t < 14 else 0.0  # noqa: E731
    assert is_the_run(runs_of([(t, round(g + noise(t), 1)) for t, g in PLAIN]))


@pytest.mark.parametrize("at", [5.0, 11.0, 16.0])
def test_a_tare_changes_nothing_before_during_and_after(at: float) -> None:
    zero = next(grams for t, grams in PLAIN if t >= at)
    assert is_the_run(runs_of([(t, grams - zero if t >= at else grams) for t, grams in PLAIN]))


def test_pulses_less_than_two_seconds_apart_are_one_run() -> None:
    pulses = [*CUP, (13.0, 75.0), (14.5, 75.0), (15.5, 78.0), (22.0, 78.0)]
    (run,) = runs_of(drawn(pulses))
    assert (run.grams, run.seconds) == pytest.approx((18.0, 7.5), abs=0.4)


def test_runs_further_apart_are_two() -> None:
    two = [*CUP, (13.0, 75.0), (17.0, 75.0), (19.0, 81.0), (25.0, 81.0)]
    assert [run.grams for run in runs_of(drawn(two))] == pytest.approx([15.0, 6.0], abs=0.3)


def test_the_cup_may_go_at_once() -> None:
    at_once = [*CUP, (14.0, 78.0), (14.3, 78.0), (14.4, 0.0), (20.0, 0.0)]
    assert is_the_run(runs_of(drawn(at_once)))


def test_grounds_that_drop_late_are_weighed_and_not_timed() -> None:
    late = [*CUP, (14.0, 77.4), (15.0, 77.4), (15.02, 78.0), (22.0, 78.0)]
    assert is_the_run(runs_of(drawn(late)))


def test_lost_and_doubled_samples_and_no_numbers() -> None:
    dice, spoilt = random.Random(7), []
    for t, grams in PLAIN:
        if dice.random() < 0.1:
            continue
        spoilt += [(t, grams)] * dice.choice([1, 1, 2])
        spoilt += [(t + 0.001, dice.choice([math.nan, math.inf])), (math.nan, grams)]
    assert is_the_run(runs_of(spoilt))


@pytest.mark.parametrize("jump_seconds", [-3600.0, -2.0, 2.0, 3600.0])
@pytest.mark.parametrize("at", [6.0, 11.0, 17.0])
def test_a_clock_that_is_set_moves_no_run(jump_seconds: float, at: float) -> None:
    jumped = [(t + jump_seconds if t >= at else t, grams) for t, grams in PLAIN]
    assert is_the_run(runs_of(jumped), 8.0 + (jump_seconds if at < 8 else 0.0))


def test_a_display_that_repeats_itself() -> None:
    shown = [(t / 20, PLAIN[t // 20 * 10 + t % 20 // 5 * 2][1]) for t in range(20 * 23)]
    assert is_the_run(runs_of(shown))


def test_runs_are_told_when_they_are_over_and_not_before() -> None:
    detector, told_at = RunDetector(), []
    for t, grams in PLAIN:
        told_at += [t for _ in detector.push(t, grams)]
    (at,) = told_at
    assert 16.0 <= at <= 17.5
    assert detector.finish() == []


def test_finish_tells_what_is_open_and_begins_anew() -> None:
    detector = RunDetector()
    for t, grams in PLAIN:
        if t > 12:
            break
        detector.push(t, grams)
    (run,) = detector.finish()
    assert run.grams == pytest.approx(12.0, abs=0.5)
    assert detector.finish() == []
    again = [run for t, grams in PLAIN for run in detector.push(t, grams)]
    assert is_the_run(again)


@pytest.mark.parametrize("wrong", ["1", None, True, 1j, [1.0]])
def test_what_is_no_number_is_refused(wrong: object) -> None:
    with pytest.raises(TypeError, match="grams"):
        RunDetector().push(0.0, wrong)  # type: ignore[arg-type]
    with pytest.raises(TypeError, match="t_seconds"):
        RunDetector().push(wrong, 0.0)  # type: ignore[arg-type]


def held_count(thing: object, seen: set[int] | None = None) -> int:
    """How many values an object holds, its containers walked."""
    seen = set() if seen is None else seen
    if id(thing) in seen:
        return 0
    seen.add(id(thing))
    if isinstance(thing, dict):
        return 1 + sum(held_count(value, seen) for value in thing.values())
    if isinstance(thing, (list, tuple, set)) or hasattr(thing, "maxlen"):
        return 1 + sum(held_count(value, seen) for value in thing)  # type: ignore[attr-defined]
    return 1 + (held_count(vars(thing), seen) if hasattr(thing, "__dict__") else 0)


@pytest.mark.parametrize(
    "weight",
    [lambda i: 5.0, lambda i: i * 0.2, lambda i: (i * 7919 % 1000) / 10],
    ids=["still", "an endless run", "chaos"],
)
def test_memory_stays_bounded(weight: Callable[[int], float]) -> None:
    detector, most = RunDetector(), 0
    for i in range(6_000):
        detector.push(i / 10, weight(i))
        if i % 1500 == 1499:
            most = max(most, held_count(detector))
    assert most < 6_000


@settings(max_examples=12, deadline=None)
@given(
    st.sampled_from([0.0, 40.0, 250.5, -30.0]),
    st.sampled_from([0.0, 1e5, 1.7e9, -500.0]),
)
def test_neither_the_cups_weight_nor_the_clocks_zero_matters(grams: float, seconds: float) -> None:
    moved: list[Sample] = [(t + seconds, round(g + grams, 1)) for t, g in PLAIN]
    assert is_the_run(runs_of(moved), 8.0 + seconds)
