"""The detectors' bars, on few scenes; ``detectors.py`` beside this prints the full table."""

from __future__ import annotations

from itertools import pairwise

import pytest

from simulations.bar_scenes import make_bar_scene
from simulations.detectors import (
    COUNTER,
    Score,
    Told,
    broken_bars,
    detected,
    judged,
    pooled,
    score_of,
    told_of,
)
from simulations.scale_scenes import TrueRun


@pytest.mark.parametrize("family", ["plain", "vibration"])
def test_scale_scenes_are_told_nearly_always(family: str) -> None:
    score = score_of(("scale", family, 2001))
    assert score.found == score.true_runs == 2
    assert score.weighed + score.timed >= 3
    assert score.false == 0


@pytest.mark.parametrize("family", ["quick", "each_second", "each_ten", "stalled", "idle"])
def test_plug_scenes_are_told(family: str) -> None:
    score = score_of(("plug", family, 2001))
    assert score.found == score.true_runs
    assert score.timed >= score.true_runs - 1
    assert score.false == 0


def test_runs_at_a_counter_are_told_nearly_always() -> None:
    scene = make_bar_scene(2001)
    assert 600 < scene.lasted_seconds < 1200
    assert all(5 <= (run.grams or 0) <= 105 for run in scene.truths)
    assert all(b.started - a.started - a.seconds >= 3 for a, b in pairwise(scene.truths))
    score = judged(COUNTER, 2001, scene.truths, told_of(detected(scene)))
    assert score.found == score.true_runs > 10
    assert score.weighed + score.timed >= 2 * score.true_runs - 2
    assert score.false <= 1


def test_plug_scenes_that_are_built_otherwise_are_told() -> None:
    score = score_of(("plug built otherwise", "plug built otherwise", 2001))
    assert (score.found, score.false) == (score.true_runs, 0)
    assert score.timed >= score.true_runs - 1


def test_both_devices_make_one_run_of_a_grind() -> None:
    score = score_of(("joined", "plain", 2001))
    assert (score.found, score.false) == (score.true_runs, 0)


def test_what_goes_wrong_is_counted() -> None:
    truths = [TrueRun(10.0, 5.0, 18.0), TrueRun(30.0, 5.0, 18.0)]
    told = [Told(10.1, 5.9, 18.1), Told(60.0, 5.0, 18.0)]
    score = judged("made up", 1, truths, told)
    assert (score.found, score.weighed, score.timed, score.false) == (1, 1, 0, 1)
    broken = broken_bars({"made up": score})
    assert [line.split(": ")[1].split(" ")[0] for line in broken[:3]] == [
        "found",
        "grams",
        "seconds",
    ]
    assert broken_bars({"still": Score(false=6, hours=1.0)}) != []
    assert broken_bars({"still": Score(false=2, hours=1.0)}) == []


def test_few_runs_may_miss_a_bar_by_chance_and_many_may_not() -> None:
    assert broken_bars({"plain": Score(80, found=80, weighed=76, timed=80)}) == []
    assert broken_bars({"plain": Score(80, found=80, weighed=72, timed=80)}) != []
    many = pooled({name: Score(80, found=80, weighed=78, timed=80) for name in ("plain", "short")})
    assert broken_bars(many) == ["all ordinary scale scenes: grams 97.5% < 98%"]
    assert broken_bars({"plug stale": Score(80, found=80, weighed=80, timed=60)}) == []
