"""What a change can reach: windows and affected runs, against the parts of the whole history."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline_service.core.grind_windows import LONGEST_RUN_MS, affected, reaches_ms
from burrline_service.core.grinds import Reported, components, parts_of

LONGEST_MS = 6_000
Histories = tuple[list[Reported], list[Reported]]


def reported(key: int, source: str, started_ms: int, on_ms: int | None, grams_mg: int) -> Reported:
    return Reported(b"%d" % key, source, started_ms, on_ms, grams_mg, 0)


@st.composite
def histories(draw: st.DrawFn) -> Histories:
    """The runs of a grinder before and after some came, went or were moved."""
    before: list[Reported] = []
    after: list[Reported] = []
    for key in range(draw(st.integers(1, 14))):
        states = [
            reported(
                key,
                draw(st.sampled_from(["", "plug", "scale"])),
                draw(st.integers(0, 120)) * 500,
                draw(st.none() | st.integers(0, LONGEST_MS)),
                draw(st.integers(17_000, 19_000)),
            )
            for _ in range(2)
        ]
        fate = draw(st.sampled_from(["stays"] * 6 + ["comes", "goes", "moves"]))
        if fate != "comes":
            before.append(states[0])
        if fate != "goes":
            after.append(states[0 if fate == "stays" else 1])
    return before, after


class Shelf:
    """A store of runs that remembers which windows it was asked for."""

    def __init__(self, runs: list[Reported]) -> None:
        self.runs = runs
        self.asked: list[list[tuple[int, int]]] = []

    def __call__(self, windows: list[tuple[int, int]]) -> list[Reported]:
        self.asked.append(windows)
        return [
            run for run in self.runs if any(low <= run.started_ms <= high for low, high in windows)
        ]


@given(histories())
def test_new_parts_of_the_affected_runs_make_the_stored_parts_those_of_the_whole_history(
    history: Histories,
) -> None:
    before, after = history
    touched = [*set(before) ^ set(after)]
    stored = parts_of(before)
    kept = {run.key: stored[run.key] for run in after if run.key in stored}
    renewed = parts_of(affected(touched, Shelf(after), LONGEST_MS))
    assert kept | renewed == parts_of(after)


@given(histories())
def test_affected_runs_are_whole_grinds_that_hold_a_touched_run_or_held_one(
    history: Histories,
) -> None:
    before, after = history
    touched = {*before} ^ {*after}
    found = set(affected([*touched], Shelf(after), LONGEST_MS))
    ever = components({*after, *touched})
    assert found == {
        run for grind in ever if not touched.isdisjoint(grind) for run in grind if run in {*after}
    }


@given(histories())
def test_a_run_that_starts_outside_the_windows_is_linked_to_none_inside(
    history: Histories,
) -> None:
    runs, others = history
    windows = reaches_ms(runs, LONGEST_MS)
    for number, other in enumerate(others):
        if not any(low <= other.started_ms <= high for low, high in windows):
            stranger = Reported(b"x%d" % number, "other", other.started_ms, other.on_ms, None, 0)
            assert [stranger] in components([*runs, stranger])


@given(histories())
def test_windows_are_separate_in_order_and_begin_and_end_as_some_run_asks(
    history: Histories,
) -> None:
    windows = reaches_ms(history[0], LONGEST_MS)
    lows = {run.started_ms - 2_000 - LONGEST_MS for run in history[0]}
    highs = {run.started_ms + (run.on_ms or 0) + 2_000 for run in history[0]}
    assert {low for low, _ in windows} <= lows
    assert {high for _, high in windows} <= highs
    ends = [end for window in windows for end in window]
    assert ends == sorted(ends)
    for at in lows | highs:
        assert sum(low <= at <= high for low, high in windows) == 1


def test_a_chain_of_grinds_is_followed_to_both_of_its_ends() -> None:
    chain = [reported(n, ("plug", "scale")[n % 2], n * 7_000, 6_000, 18_000) for n in range(20)]
    shelf = Shelf([*chain, reported(90, "scale", -60_000, 100, 1), reported(91, "", 300_000, 1, 1)])
    assert affected([chain[10]], shelf, LONGEST_MS) == chain
    assert len(shelf.asked) > 1


def test_grinds_far_apart_are_not_fetched_as_one_long_window() -> None:
    early, late = reported(1, "plug", 0, 6_000, 1), reported(2, "plug", 10**12, 6_000, 1)
    shelf = Shelf([early, late])
    assert affected([late, early], shelf) == [early, late]
    assert shelf.asked == [
        [(-LONGEST_RUN_MS - 2_000, 8_000), (10**12 - LONGEST_RUN_MS - 2_000, 10**12 + 8_000)]
    ]


def test_a_run_that_went_is_not_given_back_but_those_it_had_linked_are() -> None:
    plug, scale = reported(1, "plug", 0, 20_000, 1), reported(2, "scale", 15_000, 1_000, 1)
    assert affected([plug], Shelf([scale])) == [scale]


def test_the_longest_run_that_is_accepted_is_reached() -> None:
    # the contract: over 6 h of motor-on is refused
    assert LONGEST_RUN_MS == 6 * 60 * 60 * 1000
    motor = reported(1, "plug", 0, LONGEST_RUN_MS, 1)
    dose = reported(2, "scale", LONGEST_RUN_MS + 2_000, 100, 1)
    assert affected([dose], Shelf([motor, dose])) == [motor, dose]


def test_nothing_touched_asks_for_nothing() -> None:
    shelf = Shelf([reported(1, "plug", 0, 1, 1)])
    assert affected([], shelf) == []
    assert shelf.asked == []
    assert reaches_ms([]) == []


def test_a_negative_longest_run_is_refused() -> None:
    with pytest.raises(ValueError, match="-1 ms"):
        reaches_ms([], -1)
