"""Runs as columns are the same runs."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline_service.core.errors import NotFound
from burrline_service.core.records import Run, RunOutcome
from burrline_service.core.run_columns import MEMBERS, RunColumns, RunOutcomes

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)


@st.composite
def runs(draw: st.DrawFn) -> list[Run]:
    return [
        Run(
            f"run-{number:08}",
            draw(st.sampled_from(["bar-1", "bar-2"])),
            started_at=draw(st.none() | st.just(NOON + timedelta(seconds=number))),
            grams=draw(st.none() | st.floats(0, 100)),
            source=draw(st.none() | st.sampled_from(["plug", "scale"])),
        )
        for number in range(draw(st.integers(0, 6)))
    ]


@given(runs())
def test_columns_give_the_runs_they_were_made_of(sent: list[Run]) -> None:
    columns = RunColumns.of(sent)
    assert list(columns) == sent
    assert [vars(run) for run in columns] == [vars(run) for run in sent]
    assert RunColumns.of(columns) is columns
    for name in MEMBERS:
        assert list(columns.column(name)) == [getattr(run, name) for run in sent]


@given(runs(), st.data())
def test_groups_are_put_together_in_the_order_of_their_places(
    sent: list[Run], data: st.DataObject
) -> None:
    picked: list[bool] = [data.draw(st.booleans()) for _ in sent]
    groups = []
    for wanted in (True, False):
        places = [place for place, is_in in enumerate(picked) if is_in is wanted]
        groups.append((places, RunColumns.of([sent[place] for place in places])))
    assert list(RunColumns.joined(len(sent), groups)) == sent


def test_a_member_that_one_group_leaves_out_is_left_out_of_its_runs() -> None:
    with_grams = RunColumns(1, {"run_id": ["run-00000001"], "grinder_id": ["b"], "grams": [18.0]})
    without = RunColumns(1, {"run_id": ["run-00000000"], "grinder_id": ["b"]})
    made = RunColumns.joined(2, [([1], with_grams), ([0], without)])
    assert list(made) == [Run("run-00000000", "b"), Run("run-00000001", "b", grams=18.0)]
    assert made.is_left_out("seconds")
    assert not made.is_left_out("grams")


def test_runs_are_taken_by_place_and_by_slice() -> None:
    sent = RunColumns.of([Run(f"run-0000000{n}", "b", grams=float(n)) for n in range(5)])
    assert list(sent.taken([3, 1])) == [sent[3], sent[1]]
    assert list(sent[1:4:2]) == [sent[1], sent[3]]
    assert sent[-1] == sent[4]
    for beyond in (5, -6):
        with pytest.raises(IndexError):
            sent[beyond]


def test_outcomes_are_those_of_plain_acceptance_but_for_the_others() -> None:
    others: dict[int, Any] = {1: RunOutcome("b", "duplicate"), 2: NotFound("grinder", "x")}
    outcomes = RunOutcomes(["a", "b", "c", "d"], others)
    assert list(outcomes) == [
        RunOutcome("a", "accepted"), others[1], others[2], RunOutcome("d", "accepted")
    ]  # fmt: skip
    assert outcomes[-3] is others[1]
    assert outcomes[2:] == [others[2], RunOutcome("d", "accepted")]
    with pytest.raises(IndexError):
        outcomes[4]
