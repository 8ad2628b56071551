"""The two devices joined, against every way to pair them and in hard cases."""

from __future__ import annotations

import random
from itertools import combinations, pairwise

import pytest

from burrline import power, scale
from burrline.joined import chained, joined


def plug_run(started: float, seconds: float, slack: float = 0.1) -> power.DetectedRun:
    return power.DetectedRun(started, seconds, max(0.0, seconds - slack), seconds + slack)


def best_by_trying(rows: list[list[tuple[int, float]]]) -> float:
    """The greatest sum of gains over every set of pairs that rise in both places."""
    pairs = [(i, j, gain) for i, row in enumerate(rows) for j, gain in row]
    best = 0.0
    for count in range(len(rows) + 1):
        for chosen in combinations(pairs, count):
            if all(a[0] < b[0] and a[1] < b[1] for a, b in pairwise(chosen)):
                best = max(best, sum(gain for _, _, gain in chosen))
    return best


def test_chains_are_as_good_as_the_best_of_all() -> None:
    dice = random.Random(5)
    for _ in range(150):
        width = dice.randint(1, 4)
        rows = [
            [(j, dice.choice([0.25, 0.5, 1.0])) for j in range(width) if dice.random() < 0.5]
            for _ in range(dice.randint(0, 4))
        ]
        pairs = chained(rows, width)
        assert all(a < c and b < d for (a, b), (c, d) in pairwise(pairs))
        assert sum(dict(rows[i])[j] for i, j in pairs) == best_by_trying(rows)


def dense(
    dice: random.Random, offset: float, count: int = 60
) -> tuple[list[scale.DetectedRun], list[power.DetectedRun], set[tuple[float, float]]]:
    """Runs two seconds apart; each device misses some; the pairs that both saw."""
    weighed, metered, both, now = [], [], set(), 0.0
    for _ in range(count):
        seconds, grams = dice.uniform(2, 6), dice.uniform(5, 30)
        now += 2.0
        saw = dice.random() > 0.05, dice.random() > 0.05
        if saw[0]:
            weighed.append(scale.DetectedRun(now + 0.4, seconds + dice.uniform(-0.3, 0.3), grams))
        if saw[1]:
            metered.append(plug_run(now + offset, seconds))
        if all(saw):
            both.add((grams, seconds))
        now += seconds
    return weighed, metered, both


@pytest.mark.parametrize("offset", [-2.0, -1.1, 0.0, 0.7, 2.0])
def test_clocks_that_differ_do_not_shift_dense_runs(offset: float) -> None:
    """Nearest first would pair a run with its neighbour's."""
    right = known = 0
    for seed in range(5):
        weighed, metered, both = dense(random.Random(seed), offset)
        told = {(run.grams, run.seconds) for run in joined(weighed, metered)}
        right, known = right + len(both & told), known + len(both)
    assert right >= 0.98 * known


def test_what_each_device_told_counts_once_whatever_the_runs() -> None:
    for seed in range(60):
        dice = random.Random(seed)
        weighed = [
            scale.DetectedRun(dice.uniform(0, 60), dice.uniform(0.5, 15), dice.uniform(1, 30))
            for _ in range(dice.randint(0, 8))
        ]
        metered = [
            plug_run(dice.uniform(0, 60), dice.uniform(0.5, 15)) for _ in range(dice.randint(0, 8))
        ]
        found = joined(weighed, metered)
        assert sum(run.grams or 0.0 for run in found) == pytest.approx(
            sum(run.grams for run in weighed)
        )
        assert sum(run.seconds for run in found if run.has_plug) == pytest.approx(
            sum(run.seconds for run in metered)
        )
        assert len(found) <= len(weighed) + len(metered)
        dice.shuffle(weighed)
        dice.shuffle(metered)
        assert joined(weighed, metered) == found


def test_a_motor_that_paused_while_the_weight_did_not_rest_is_one_run() -> None:
    plugs = [plug_run(100.0, 6.0), plug_run(108.5, 5.0)]
    (run,) = joined([scale.DetectedRun(100.5, 13.0, 36.0)], plugs)
    assert (run.started, run.seconds, run.grams) == (100.0, 11.0, 36.0)


def test_two_cups_under_one_stretch_of_the_motor_are_one_run() -> None:
    cups = [scale.DetectedRun(100.5, 6.0, 18.0), scale.DetectedRun(110.0, 6.0, 17.0)]
    (run,) = joined(cups, [plug_run(100.0, 16.5)])
    assert (run.started, run.seconds, run.grams) == (100.0, 16.5, 35.0)


def test_a_plug_read_too_seldom_joins_no_runs() -> None:
    cups = [scale.DetectedRun(100.5, 6.0, 18.0), scale.DetectedRun(115.0, 6.0, 17.0)]
    found = joined(cups, [power.DetectedRun(95.0, 30.0, 20.0, 40.0)])
    assert [(run.seconds, run.grams) for run in found] == [(6.0, 18.0), (6.0, 17.0)]


def test_one_device_alone_and_none() -> None:
    weighed, metered, _ = dense(random.Random(1), 0.0, 5)
    assert [run.grams for run in joined(weighed, [])] == [run.grams for run in weighed]
    assert [run.seconds for run in joined([], metered)] == [run.seconds for run in metered]
    assert joined([], []) == []


def test_a_lone_pair_is_one_though_its_clocks_differ_by_all_of_it() -> None:
    (run,) = joined([scale.DetectedRun(100.0, 1.5, 8.0)], [plug_run(102.9, 1.5)])
    assert (run.started, run.seconds, run.grams) == (102.9, 1.5, 8.0)
