"""Intervals as arrays are the same as intervals as lists, on whatever is generated."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline_service.core.interval_arrays import arrays_until_now, union_arrays
from burrline_service.core.intervals import union_of_intervals, until_now

milliseconds = st.integers(-90_000, 90_000)
spans = st.lists(
    st.tuples(milliseconds, st.integers(0, 20_000)).map(lambda one: (one[0], one[0] + one[1])),
    max_size=30,
)
coarse = st.lists(
    st.tuples(st.integers(-9, 9), st.integers(0, 4)).map(lambda one: (one[0], one[0] + one[1])),
    max_size=12,
)


def columns(runs: list[tuple[int, int]], scale: float) -> tuple[list[float], list[float]]:
    return [low / scale for low, _ in runs], [high / scale for _, high in runs]


@given(st.one_of(spans, coarse), st.sampled_from([1.0, 1000.0]))
def test_a_union_of_arrays_is_that_of_lists(runs: list[tuple[int, int]], scale: float) -> None:
    starts, ends = union_arrays(*columns(runs, scale))
    assert (starts.tolist(), ends.tolist()) == union_of_intervals(*columns(runs, scale))
    assert starts.shape == ends.shape
    assert starts.dtype == ends.dtype == np.float64
    assert (starts < ends).all()
    assert (starts[1:] > ends[:-1]).all()


@given(st.one_of(spans, coarse), milliseconds, st.sampled_from([0, 1_777_896_000]))
def test_arrays_until_now_are_those_of_lists(
    runs: list[tuple[int, int]], now: int, epoch: int
) -> None:
    starts, ends = columns(runs, 1000.0)
    placed = [epoch + one for one in starts], [epoch + one for one in ends], epoch + now / 1000.0
    found = arrays_until_now(*placed)
    assert tuple(one.tolist() for one in found) == until_now(*placed)
    assert (found[1] <= 0).all()


@given(spans, st.randoms())
def test_the_order_of_intervals_does_not_matter(runs: list[tuple[int, int]], dice: object) -> None:
    turned = list(runs)
    dice.shuffle(turned)  # type: ignore[attr-defined]
    one, other = union_arrays(*columns(runs, 1000.0)), union_arrays(*columns(turned, 1000.0))
    assert (one[0].tolist(), one[1].tolist()) == (other[0].tolist(), other[1].tolist())


def test_none_are_none() -> None:
    for found in (union_arrays([], []), arrays_until_now([], [], 5.0), union_arrays([3.0], [3.0])):
        assert [one.shape for one in found] == [(0,), (0,)]


@pytest.mark.parametrize(
    ("starts", "ends", "why"),
    [
        ([0.0], [1.0, 2.0], "equally long"),
        ([[0.0]], [[1.0]], "one-dimensional"),
        (0.0, 1.0, "one-dimensional"),
        ([math.nan], [1.0], "finite"),
        ([0.0], [math.inf], "finite"),
        ([0.0, 5.0], [1.0, 4.0], r"interval 1 ends at 4.0 before its start 5.0"),
    ],
)
def test_malformed_intervals_are_refused(starts: object, ends: object, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        union_arrays(starts, ends)  # type: ignore[arg-type]


@pytest.mark.parametrize("now", [math.nan, math.inf, -math.inf])
def test_a_present_that_is_no_instant_is_refused(now: float) -> None:
    with pytest.raises(ValueError, match="now_seconds must be finite"):
        arrays_until_now([0.0], [1.0], now)
