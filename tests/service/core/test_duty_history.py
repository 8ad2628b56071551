"""Duty over a past period, against counting seconds one by one."""

from __future__ import annotations

import math
import random
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline_service.core.duty_history import DutyPeak, duty_history, duty_peak
from burrline_service.core.intervals import on_time_seconds, rolling_maximum_on_seconds

Runs = list[tuple[int, int]]
spans = st.lists(
    st.tuples(st.integers(-60, 90), st.integers(0, 30)).map(lambda pair: (pair[0], sum(pair))),
    max_size=6,
)


def columns(runs: Runs) -> tuple[list[float], list[float]]:
    return [float(start) for start, _ in runs], [float(end) for _, end in runs]


def seconds_in(runs: Runs) -> set[int]:
    return {second for start, end in runs for second in range(start, end)}


def peak(runs: Runs, known: Runs, maybe: Runs = [], **asked: Any) -> DutyPeak:  # noqa: B006
    period = {"cycle_seconds": 25.0, "low_seconds": 0.0, "high_seconds": 80.0} | asked
    possible_starts, possible_ends = columns(maybe)
    return duty_peak(
        *columns(runs),
        *columns(known),
        possible_starts_seconds=possible_starts,
        possible_ends_seconds=possible_ends,
        **period,
    )


@given(spans, spans, spans)
def test_the_peak_and_its_bounds_are_those_that_counting_finds(
    runs: Runs, known: Runs, maybe: Runs
) -> None:
    found = peak(runs, known, maybe)
    on = seconds_in(runs)
    sure = on | seconds_in(known)
    possible = on | seconds_in(maybe) | (set(range(-200, 200)) - sure)
    lows = [sum(s in on for s in range(end - 25, end)) for end in range(81)]
    highs = [sum(s in possible for s in range(end - 25, end)) for end in range(81)]
    assert found.on_seconds == max(lows)
    assert found.at_seconds == lows.index(max(lows))
    assert found.low_fraction == pytest.approx(max(lows) / 25)
    assert found.high_fraction == pytest.approx(max(highs) / 25)
    assert found.coverage_fraction == pytest.approx(len(sure & set(range(80))) / 80)


@given(spans)
def test_the_peak_is_the_rolling_maximum(runs: Runs) -> None:
    found = peak(runs, [(-200, 200)])
    assert found.on_seconds == pytest.approx(
        rolling_maximum_on_seconds(*columns(runs), 25.0, 0.0, 80.0)
    )
    assert found.high_fraction == found.low_fraction
    assert found.coverage_fraction == 1.0


@given(spans, spans, st.randoms(use_true_random=False))
def test_order_and_repetition_change_nothing(runs: Runs, known: Runs, dice: random.Random) -> None:
    shuffled, mixed = runs + runs[:2], known + known[:2]
    dice.shuffle(shuffled)
    dice.shuffle(mixed)
    assert peak(shuffled, mixed) == peak(runs, known)


@given(spans, spans)
def test_hours_share_out_the_whole(runs: Runs, known: Runs) -> None:
    edges = [-40.0, -3.0, 0.0, 17.0, 80.0]
    found = duty_history(*columns(runs), *columns(known), edges)
    on, sure = seconds_in(runs), seconds_in(runs) | seconds_in(known)
    for index in range(4):
        hour = set(range(int(edges[index]), int(edges[index + 1])))
        assert found.on_seconds[index] == pytest.approx(len(on & hour))
        assert found.covered_seconds[index] == pytest.approx(len(sure & hour))
        assert found.low_fraction[index] == pytest.approx(len(on & hour) / len(hour))
        assert found.high_fraction[index] == pytest.approx(
            len((on & hour) | (hour - sure)) / len(hour)
        )
    whole = on_time_seconds(*columns(runs), -40.0, 80.0)
    assert found.on_seconds.sum() == pytest.approx(whole)


def test_posix_seconds_keep_their_milliseconds() -> None:
    posix = 1_777_896_000.0
    found = duty_peak(
        [posix + 0.125], [posix + 8.25], [posix], [posix + 3600],
        cycle_seconds=600.0, low_seconds=posix, high_seconds=posix + 3600,
    )  # fmt: skip
    assert found.on_seconds == pytest.approx(8.125, abs=1e-5)
    assert found.at_seconds == posix + 8.25


def test_nothing_asked_is_nothing_answered() -> None:
    assert duty_history([], [], [], [], []).on_seconds.shape == (0,)
    assert duty_history([], [], [], [], [0.0]).on_seconds.shape == (0,)
    empty = duty_history([], [], [], [], [0.0, 3600.0])
    assert (empty.on_seconds[0], empty.low_fraction[0], empty.high_fraction[0]) == (0.0, 0.0, 1.0)
    nothing = peak([], [])
    assert (nothing.on_seconds, nothing.high_fraction, nothing.coverage_fraction) == (0, 1, 0)


@pytest.mark.parametrize(
    "edges", [[0.0, 0.0], [1.0, 0.0], [0.0, math.nan], [0.0, math.inf], [[0.0, 1.0]]]
)
def test_edges_that_do_not_ascend_are_refused(edges: Any) -> None:
    with pytest.raises(ValueError, match="edges"):
        duty_history([], [], [], [], np.asarray(edges))


@pytest.mark.parametrize(
    ("asked", "why"),
    [
        ({"cycle_seconds": 0.0}, "cycle_seconds"),
        ({"cycle_seconds": math.nan}, "cycle_seconds"),
        ({"low_seconds": 80.0}, "empty"),
        ({"high_seconds": math.inf}, "finite"),
    ],
)
def test_a_period_without_sense_is_refused(asked: dict[str, float], why: str) -> None:
    with pytest.raises(ValueError, match=why):
        peak([], [], **asked)
