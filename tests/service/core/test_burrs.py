"""Which burr set sat where when, whatever the order in which the fittings were entered."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline_service.core.burrs import Entry, check_entries, end_of, next_change
from burrline_service.core.errors import FittingsOverlap, Invalid

BEGINNING = datetime(2026, 1, 5, tzinfo=UTC)


def at(hour: int) -> datetime:
    return BEGINNING + timedelta(hours=hour)


hours = st.integers(0, 30)
histories = st.lists(
    st.builds(
        lambda grinder, burr_set, fitted, stay: Entry(
            grinder, burr_set, at(fitted), None if stay is None else at(fitted + stay)
        ),
        st.sampled_from(["bar-1", "bar-2", "lab"]),
        st.sampled_from(["a", "b", "c"]),
        hours,
        st.none() | st.integers(1, 10),
    ),
    max_size=8,
)


def is_in(entries: list[Entry], grinder_id: str, burr_set_id: str, when: datetime) -> bool:
    """By the definition: the last word about both the grinder and the set, if not taken out."""
    begun = [entry for entry in entries if entry.fitted_at <= when]
    of_grinder = [entry for entry in begun if entry.grinder_id == grinder_id]
    of_set = [entry for entry in begun if entry.burr_set_id == burr_set_id]
    if not of_grinder or not of_set:
        return False
    latest = max(of_grinder, key=lambda entry: entry.fitted_at)
    if latest is not max(of_set, key=lambda entry: entry.fitted_at):
        return False
    return latest.removed_at is None or latest.removed_at > when


def are_consistent(entries: list[Entry]) -> bool:
    try:
        check_entries(entries)
    except FittingsOverlap:
        return False
    return True


@given(histories, hours)
def test_a_set_is_where_the_last_word_puts_it(entries: list[Entry], hour: int) -> None:
    if not are_consistent(entries):
        return
    for when in (at(hour), at(hour) + timedelta(minutes=30)):
        staying = {
            (entry.grinder_id, entry.burr_set_id)
            for entry in entries
            if entry.fitted_at <= when and ((end := end_of(entry, entries)) is None or end > when)
        }
        assert staying == {
            (grinder, burr_set)
            for grinder in ("bar-1", "bar-2", "lab")
            for burr_set in "abc"
            if is_in(entries, grinder, burr_set, when)
        }


@given(histories, st.randoms(use_true_random=False))
def test_the_order_of_entering_does_not_matter(entries: list[Entry], random: object) -> None:
    shuffled = list(entries)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    assert are_consistent(shuffled) == are_consistent(entries)
    for entry in entries:
        assert end_of(entry, shuffled) == end_of(entry, entries)


@given(histories)
def test_an_end_lies_after_the_beginning_and_never_after_the_next_change(
    entries: list[Entry],
) -> None:
    for entry in entries:
        end, change = end_of(entry, entries), next_change(entry, entries)
        assert end is None or end > entry.fitted_at
        assert change is None or (end is not None and end <= change)


@pytest.mark.parametrize(
    "entries",
    [
        [Entry("bar-1", "a", at(0)), Entry("bar-1", "b", at(0))],
        [Entry("bar-1", "a", at(0)), Entry("bar-2", "a", at(0))],
        [Entry("bar-1", "a", at(0), at(9)), Entry("bar-1", "b", at(5))],
        [Entry("bar-1", "a", at(0), at(9)), Entry("bar-2", "a", at(5))],
    ],
)
def test_two_in_one_place_or_one_in_two_are_refused(entries: list[Entry]) -> None:
    with pytest.raises(FittingsOverlap):
        check_entries(entries)
    with pytest.raises(FittingsOverlap):
        check_entries(entries[::-1])


@pytest.mark.parametrize("removed", [0, -1])
def test_a_removal_that_is_not_later_is_refused(removed: int) -> None:
    with pytest.raises(Invalid):
        check_entries([Entry("bar-1", "a", at(0), at(removed))])


def test_a_removal_at_the_very_change_is_no_contradiction() -> None:
    entries = [Entry("bar-1", "a", at(0), at(5)), Entry("bar-1", "b", at(5))]
    check_entries(entries)
    assert [end_of(entry, entries) for entry in entries] == [at(5), None]
