"""Intervals of motor-on time, against a grid of whole seconds that shares no code with them."""

from __future__ import annotations

import math
import random
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline_service.core.intervals import (
    on_time_seconds,
    rolling_maximum_on_seconds,
    union_of_intervals,
    until_now,
    wait_seconds,
)

Runs = list[tuple[int, int]]
run_lists = st.lists(
    st.tuples(st.integers(-60, 60), st.integers(0, 25)).map(lambda pair: (pair[0], sum(pair))),
    max_size=8,
)


def columns(runs: Runs) -> tuple[list[float], list[float]]:
    return [float(start) for start, _ in runs], [float(end) for _, end in runs]


def seconds_on(runs: Runs) -> set[int]:
    """Every whole second in which the motor runs, counted one by one."""
    return {second for start, end in runs for second in range(start, end)}


# --- properties -----------------------------------------------------------------------------------


@given(run_lists)
def test_a_union_covers_the_same_seconds_in_ascending_separate_pieces(runs: Runs) -> None:
    starts, ends = union_of_intervals(*columns(runs))
    pieces = [(int(start), int(end)) for start, end in zip(starts, ends, strict=True)]
    assert seconds_on(pieces) == seconds_on(runs)
    assert all(end > start for start, end in pieces)
    assert all(left[1] < right[0] for left, right in pairwise(pieces))


@given(run_lists, st.randoms(use_true_random=False))
def test_the_order_of_runs_and_repeating_them_changes_nothing(
    runs: Runs, dice: random.Random
) -> None:
    shuffled = runs + runs[: len(runs) // 2]
    dice.shuffle(shuffled)
    assert union_of_intervals(*columns(runs)) == union_of_intervals(*columns(shuffled))


@given(run_lists, st.integers(-80, 80), st.integers(0, 80))
def test_on_time_counts_each_second_of_the_window_once(runs: Runs, low: int, width: int) -> None:
    expected = len(seconds_on(runs) & set(range(low, low + width)))
    assert on_time_seconds(*columns(runs), low, low + width) == expected


@given(run_lists, st.integers(1, 50))
def test_the_rolling_maximum_is_the_best_of_all_windows_on_the_grid(runs: Runs, cycle: int) -> None:
    on = seconds_on(runs)
    expected = max(len(on & set(range(t - cycle, t))) for t in range(-60, 140))
    assert rolling_maximum_on_seconds(*columns(runs), cycle) == pytest.approx(expected, abs=1e-9)


@given(run_lists, st.integers(1, 50), st.integers(-80, 80), st.integers(0, 60))
def test_the_rolling_maximum_of_a_period_looks_at_windows_that_end_in_it(
    runs: Runs, cycle: int, low: int, width: int
) -> None:
    on = seconds_on(runs)
    expected = max(len(on & set(range(t - cycle, t))) for t in range(low, low + width + 1))
    found = rolling_maximum_on_seconds(*columns(runs), cycle, low, low + width)
    assert found == pytest.approx(expected, abs=1e-9)


@given(run_lists, st.integers(1, 50), st.integers(-80, 80))
def test_no_fixed_window_holds_more_than_the_rolling_maximum(
    runs: Runs, cycle: int, low: int
) -> None:
    fixed = on_time_seconds(*columns(runs), low, low + cycle)
    assert rolling_maximum_on_seconds(*columns(runs), cycle) >= fixed - 1e-9


def keeps_limit(on: set[int], begin: int, run: int, limit: int, cycle: int) -> bool:
    """Whether the trailing on-time stays within the limit from the run's start to its end."""
    with_run = on | set(range(begin, begin + run))
    return all(
        len(with_run & set(range(t - cycle, t))) <= limit for t in range(begin, begin + run + 1)
    )


@given(run_lists, st.integers(0, 30), st.integers(0, 40), st.integers(1, 40))
def test_the_wait_is_the_shortest_that_keeps_the_limit_at_every_instant_of_the_run(
    runs: Runs, run: int, limit: int, cycle: int
) -> None:
    now = 30
    on = {second for second in seconds_on(runs) if second < now}
    expected = next(
        (w for w in range(cycle + 1) if keeps_limit(on, now + w, run, limit, cycle)), math.inf
    )
    assert wait_seconds(*columns(runs), now, run, limit, cycle) == pytest.approx(expected)


@given(run_lists, st.integers(1_600_000_000, 1_900_000_000), st.integers(0, 999))
def test_a_shift_of_the_clock_to_posix_times_with_milliseconds_changes_no_wait(
    runs: Runs, seconds: int, milliseconds: int
) -> None:
    shift = seconds + milliseconds / 1000
    starts, ends = columns(runs)
    near = wait_seconds(starts, ends, 30.0, 5.0, 12.0, 40.0)
    far = wait_seconds(
        [start + shift for start in starts],
        [end + shift for end in ends],
        30.0 + shift,
        5.0,
        12.0,
        40.0,
    )
    assert far == pytest.approx(near, abs=1e-9)


@given(run_lists)
def test_on_the_clock_of_now_no_run_lies_in_the_future(runs: Runs) -> None:
    starts, ends = until_now(*columns(runs), 10.0)
    pieces = [(round(start) + 10, round(end) + 10) for start, end in zip(starts, ends, strict=True)]
    assert seconds_on(pieces) == {second for second in seconds_on(runs) if second < 10}


@given(run_lists, st.integers(1_600_000_000_000, 1_900_000_000_000))
def test_posix_times_come_out_as_exact_milliseconds_before_now(runs: Runs, now: int) -> None:
    starts, ends = until_now(
        [(now + start) / 1000 for start, _ in runs],
        [(now + end) / 1000 for _, end in runs],
        now / 1000,
    )
    assert {1000 * at for at in (*starts, *ends)} <= set(range(-60, 1))


# --- refusals -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("starts", "ends", "said"),
    [
        ([0.0, 1.0], [2.0], "equally long"),
        ([math.nan], [1.0], "finite"),
        ([0.0], [math.inf], "finite"),
        ([0.0, 5.0], [1.0, 4.0], "interval 1 ends at 4.0 before its start 5.0"),
    ],
)
def test_malformed_intervals_are_refused_with_what_is_wrong(
    starts: Any, ends: Any, said: str
) -> None:
    with pytest.raises(ValueError, match=said):
        union_of_intervals(starts, ends)


@pytest.mark.parametrize("cycle", [0.0, -1.0, math.nan, math.inf])
def test_a_cycle_that_is_not_positive_and_finite_is_refused(cycle: float) -> None:
    with pytest.raises(ValueError, match="cycle_seconds"):
        rolling_maximum_on_seconds([0.0], [1.0], cycle)
    with pytest.raises(ValueError, match="cycle_seconds"):
        wait_seconds([0.0], [1.0], 2.0, 1.0, 1.0, cycle)


@pytest.mark.parametrize(("low", "high"), [(2.0, 1.0), (math.nan, 1.0), (0.0, math.nan)])
def test_a_reversed_window_or_one_without_borders_is_refused(low: float, high: float) -> None:
    with pytest.raises(ValueError, match="window"):
        on_time_seconds([0.0], [1.0], low, high)
    with pytest.raises(ValueError, match="window"):
        rolling_maximum_on_seconds([0.0], [1.0], 10.0, low, high)


@pytest.mark.parametrize(
    ("run", "limit", "now", "said"),
    [
        (-1.0, 1.0, 0.0, "run_seconds"),
        (math.inf, 1.0, 0.0, "run_seconds"),
        (1.0, math.nan, 0.0, "limit_on_seconds"),
        (1.0, 1.0, math.nan, "now_seconds"),
    ],
)
def test_a_wait_for_impossible_numbers_is_refused(
    run: float, limit: float, now: float, said: str
) -> None:
    with pytest.raises(ValueError, match=said):
        wait_seconds([], [], now, run, limit, 600.0)


# --- shapes ---------------------------------------------------------------------------------------


def test_no_run_at_all_gives_no_intervals_zero_on_time_and_no_wait() -> None:
    assert union_of_intervals([], []) == ([], [])
    assert on_time_seconds([], [], 0.0, 600.0) == 0.0
    assert rolling_maximum_on_seconds([], [], 600.0) == 0.0
    assert wait_seconds([], [], 0.0, 100.0, 150.0, 600.0) == 0.0


def test_one_run_and_many_are_taken_as_lists_tuples_or_arrays() -> None:
    for kind in (list, tuple, np.asarray):
        starts, ends = union_of_intervals(kind([3, 0]), kind([4, 1]))
        assert (starts, ends) == ([0.0, 3.0], [1.0, 4.0])


def test_a_period_before_all_runs_has_no_on_time() -> None:
    assert rolling_maximum_on_seconds([100.0], [200.0], 60.0, 0.0, 50.0) == 0.0


def test_a_run_longer_than_its_limit_never_comes_to_be_allowed() -> None:
    assert wait_seconds([], [], 0.0, 151.0, 150.0, 600.0) == math.inf


def test_a_limit_of_the_whole_cycle_asks_for_no_wait_whatever_the_run() -> None:
    assert wait_seconds([-900.0], [0.0], 0.0, 5000.0, 600.0, 600.0) == 0.0
