"""Tallies: shares that add up to the milligram however time is cut."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline_service.core.tallies import Tally, share_mg

INSTANTS = st.integers(-(10**13), 10**13)
tallies = st.builds(
    lambda grams, begin, length: Tally(grams, begin, begin + length),
    st.integers(0, 10**12),
    INSTANTS,
    st.integers(1, 10**11) | st.integers(1, 50),
)


@given(tallies, st.lists(st.integers(0, 10**6), max_size=30))
def test_any_partition_of_its_time_shares_out_the_whole_tally(
    tally: Tally, cuts: list[int]
) -> None:
    length = tally.to_ms - tally.from_ms
    borders = sorted([0, length, *(cut * length // 10**6 for cut in cuts)])
    shares = [
        share_mg(tally, tally.from_ms + low, tally.from_ms + high)
        for low, high in pairwise(borders)
    ]
    assert sum(shares) == tally.grams_mg
    assert min(shares) >= 0


@given(tallies, INSTANTS, INSTANTS, INSTANTS)
def test_two_windows_that_meet_share_as_one(tally: Tally, a: int, b: int, c: int) -> None:
    low, middle, high = sorted((a, b, c))
    assert share_mg(tally, low, middle) + share_mg(tally, middle, high) == share_mg(
        tally, low, high
    )


@given(tallies, st.integers(0, 10**6), st.integers(0, 10**6))
def test_a_share_is_less_than_a_milligram_off_the_even_one(
    tally: Tally, one: int, other: int
) -> None:
    length = tally.to_ms - tally.from_ms
    low, high = sorted((one * length // 10**6, other * length // 10**6))
    even = Fraction(tally.grams_mg) * Fraction(high - low, length)
    assert abs(share_mg(tally, tally.from_ms + low, tally.from_ms + high) - even) < 1


@given(st.integers(0, 60), st.integers(1, 20), st.integers(-5, 30), st.integers(0, 30))
def test_a_window_gets_each_milligram_that_is_complete_within_it(
    grams: int, length: int, low: int, width: int
) -> None:
    # the i-th milligram is complete at the first whole instant t with grams * t >= i * length
    done = [
        next(t for t in range(length + 1) if grams * t >= i * length) for i in range(1, grams + 1)
    ]
    expected = sum(low < at <= low + width for at in done)
    assert share_mg(Tally(grams, 0, length), low, low + width) == expected


def test_nothing_lies_before_or_after_a_tally() -> None:
    day = Tally(12_000, 100, 200)
    assert share_mg(day, -(10**15), 100) == share_mg(day, 200, 10**15) == 0
    assert share_mg(day, -(10**15), 10**15) == 12_000
    assert share_mg(day, 150, 150) == 0


@pytest.mark.parametrize("to_ms", [99, 100])
def test_a_tally_without_length_is_refused(to_ms: int) -> None:
    with pytest.raises(ValueError, match=f"ends at {to_ms}, not after 100"):
        Tally(1, 100, to_ms)


def test_negative_grams_are_refused() -> None:
    with pytest.raises(ValueError, match="-1 mg"):
        Tally(-1, 0, 1)


def test_a_reversed_window_is_refused() -> None:
    with pytest.raises(ValueError, match="reversed: 2 > 1"):
        share_mg(Tally(1, 0, 10), 2, 1)
