"""Periods: what they say at every instant of a small time line, looked up one by one."""

from __future__ import annotations

import random
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline_service.core.periods import Period, spans_of, value_at

FIELDS = ("setting", "coffee_lot")
period_lists = st.lists(
    st.builds(
        lambda begin, length, values: (begin, None if length is None else begin + length, values),
        st.integers(0, 30),
        st.none() | st.integers(1, 20),
        st.dictionaries(st.sampled_from(FIELDS), st.sampled_from([None, 0, 1, 1.0, True, "1"])),
    ),
    max_size=8,
).flatmap(
    lambda found: st.permutations([f"p-{i}" for i in range(len(found))]).map(
        lambda ids: [Period(i, *parts) for i, parts in zip(ids, found, strict=True)]
    )
)


def as_said(value: Any) -> tuple[type, Any]:
    """A value with its type: in Python 1 == 1.0 == True, in an answer they differ."""
    return type(value), value


def looked_up(periods: list[Period], name: str, at: int) -> Any:
    """Write the periods on the time line from the first to the last, the later over the earlier."""
    value = None
    for period in sorted(sorted(periods, key=lambda p: p.period_id), key=lambda p: p.from_ms):
        end = float("inf") if period.to_ms is None else period.to_ms
        if period.from_ms <= at < end and name in period.values and period.values[name] is not None:
            value = period.values[name]
    return value


@given(period_lists, st.sampled_from(FIELDS), st.integers(-5, 60))
def test_the_period_that_began_last_and_says_the_field_holds(
    periods: list[Period], name: str, at: int
) -> None:
    assert as_said(value_at(periods, name, at)) == as_said(looked_up(periods, name, at))


@given(period_lists, st.sampled_from(FIELDS), st.integers(-5, 60), st.integers(0, 50))
def test_spans_say_at_every_instant_what_is_looked_up_there(
    periods: list[Period], name: str, low: int, width: int
) -> None:
    spans = spans_of(periods, name, low, low + width)
    said = {at: value for begin, end, value in spans for at in range(begin, end)}
    assert {at: as_said(value) for at, value in said.items()} == {
        at: as_said(looked_up(periods, name, at))
        for at in range(low, low + width)
        if looked_up(periods, name, at) is not None
    }
    assert sum(end - begin for begin, end, _ in spans) == len(said), "spans overlap"


@given(period_lists, st.sampled_from(FIELDS), st.integers(-5, 60), st.integers(0, 50))
def test_spans_are_in_order_and_as_long_as_can_be(
    periods: list[Period], name: str, low: int, width: int
) -> None:
    spans = spans_of(periods, name, low, low + width)
    assert all(low <= begin < end <= low + width for begin, end, _ in spans)
    for (_, end, value), (begin, _, following) in pairwise(spans):
        assert end < begin or (end == begin and as_said(value) != as_said(following))


@given(period_lists, st.sampled_from(FIELDS), st.randoms(use_true_random=False))
def test_the_order_of_periods_changes_nothing(
    periods: list[Period], name: str, dice: random.Random
) -> None:
    shuffled = periods.copy()
    dice.shuffle(shuffled)
    assert repr(spans_of(iter(shuffled), name, 0, 60)) == repr(spans_of(periods, name, 0, 60))
    for at in range(0, 60, 7):
        assert repr(value_at(iter(shuffled), name, at)) == repr(value_at(periods, name, at))


def test_of_two_that_begin_together_the_greater_id_holds() -> None:
    periods = [Period("b", 0, 10, {"setting": 2}), Period("a", 0, None, {"setting": 1})]
    assert spans_of(periods, "setting", 0, 20) == [(0, 10, 2), (10, 20, 1)]


def test_a_period_that_ends_gives_way_to_the_one_it_hid() -> None:
    periods = [
        Period("a", 0, None, {"coffee_lot": "K-7"}),
        Period("b", 5, 8, {"coffee_lot": "K-8"}),
    ]
    assert spans_of(periods, "coffee_lot", 0, 10) == [(0, 5, "K-7"), (5, 8, "K-8"), (8, 10, "K-7")]


def test_two_periods_that_say_the_same_make_one_span() -> None:
    periods = [Period("a", 0, 5, {"setting": 4.8}), Period("b", 5, 9, {"setting": 4.8})]
    assert spans_of(periods, "setting", -10, 10) == [(0, 9, 4.8)]


def test_the_same_said_again_after_a_silence_is_a_span_of_its_own() -> None:
    periods = [Period("a", 0, 5, {"setting": 4.8}), Period("b", 6, 9, {"setting": 4.8})]
    assert spans_of(periods, "setting", -10, 10) == [(0, 5, 4.8), (6, 9, 4.8)]


def test_a_period_holds_from_its_first_instant_to_just_before_its_last() -> None:
    period = Period("a", 10, 20, {"setting": 4.8})
    assert [value_at([period], "setting", at) for at in (9, 10, 19, 20)] == [None, 4.8, 4.8, None]


def test_a_later_period_that_leaves_a_field_out_or_null_does_not_hide_it() -> None:
    periods = [
        Period("a", 0, None, {"setting": 4.8}),
        Period("b", 5, None, {"coffee_lot": "K-8", "setting": None}),
    ]
    assert value_at(periods, "setting", 7) == 4.8


def test_zero_is_a_value() -> None:
    assert value_at([Period("a", 0, None, {"setting": 0})], "setting", 0) == 0
    assert spans_of([Period("a", 0, None, {"setting": 0})], "setting", 0, 1) == [(0, 1, 0)]


def test_no_period_and_an_empty_window_say_nothing() -> None:
    assert value_at([], "setting", 0) is None
    assert spans_of([], "setting", 0, 10) == []
    assert spans_of([Period("a", 0, None, {"setting": 1})], "setting", 5, 5) == []


@pytest.mark.parametrize("to_ms", [9, 10])
def test_a_period_that_ends_before_it_begins_is_refused(to_ms: int) -> None:
    with pytest.raises(ValueError, match=f"ends at {to_ms}, not after 10"):
        Period("a", 10, to_ms, {})


def test_a_reversed_window_is_refused() -> None:
    with pytest.raises(ValueError, match="reversed: 2 > 1"):
        spans_of([], "setting", 2, 1)
