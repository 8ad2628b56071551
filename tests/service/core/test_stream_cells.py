"""Whole-number sums of runs: no order, no grouping and no taking back leaves a trace."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from burrline_service.core.grinds import COUNTS_AS_RUN
from burrline_service.core.records import FEEDS, GRAMS_BASES, PURPOSES, TIME_SOURCES
from burrline_service.core.stream_cells import UNSTATED, StreamCell, merge_cells, negate_cell
from burrline_service.core.stream_eligible import (
    DOSE_EDGES_MG,
    EVIDENCE_PURPOSES,
    HOUR_MS,
    REASONS,
    StreamRun,
    dose_class,
    fold_runs,
    reason_left_out,
)

SHOT = StreamRun(
    started_ms=HOUR_MS,
    on_ms=8_000,
    grams_mg=18_000,
    grams_basis=GRAMS_BASES.index("weighed_out"),
    feed=FEEDS.index("hopper"),
    purpose=PURPOSES.index("service"),
    setting_milli=4_800,
)

runs_of_hours = st.lists(
    st.builds(
        StreamRun,
        started_ms=st.integers(0, 3 * HOUR_MS - 1),
        on_ms=st.none() | st.integers(0, 20_000),
        grams_mg=st.none() | st.integers(0, 60_000),
        grams_basis=st.sampled_from([0, 0, 0, 1, 3]),
        feed=st.sampled_from([None, 0, 1]),
        purpose=st.sampled_from([UNSTATED, 0, 1, 4]),
        setting_milli=st.none() | st.integers(4_000, 4_002),
        rpm=st.sampled_from([None, 1_390, 1_412, 900]),
        source_no=st.sampled_from([None, 3]),
        coffee_lot=st.sampled_from([None, "K-7", "K-8"]),
        part=st.sampled_from([None, None, COUNTS_AS_RUN]),
    ),
    max_size=30,
)


@settings(max_examples=30, deadline=None)
@given(runs_of_hours, st.randoms(use_true_random=False))
def test_any_order_and_any_split_give_the_same_cells(runs: list[StreamRun], dice: object) -> None:
    whole = fold_runs(runs)
    shuffled = list(runs)
    dice.shuffle(shuffled)  # type: ignore[attr-defined]
    cut = len(runs) // 3
    first, second = fold_runs(shuffled[:cut]), fold_runs(shuffled[cut:])
    assert fold_runs(shuffled) == whole
    assert merge_cells([*second, *first]) == whole
    assert merge_cells([*whole, *map(negate_cell, first)]) == second
    assert sum(cell.count for cell in whole) == len(runs)


def test_nothing_folds_to_nothing() -> None:
    assert fold_runs([]) == ()
    assert merge_cells([]) == ()


def test_more_cannot_be_taken_away_than_there_was() -> None:
    (cell,) = fold_runs([SHOT])
    with pytest.raises(ValueError, match="more was taken away"):
        merge_cells([negate_cell(cell)])
    with pytest.raises(ValueError, match="more was taken away"):
        merge_cells([cell, negate_cell(fold_runs([SHOT._replace(on_ms=8_001)])[0])])


def test_a_cell_holds_the_sums_of_its_runs() -> None:
    other = SHOT._replace(on_ms=9_000, started_ms=HOUR_MS + 5)
    u = [round(1e6 * math.log(18_000 / on)) for on in (8_000, 9_000)]
    (cell,) = fold_runs([SHOT, other])
    assert cell == StreamCell(
        hour=1, left_out=0, setting_milli=4_800, dose_class=8, rpm=None, source_no=None,
        coffee_lot=None, feed=0, purpose=0, count=2, sum_micro=u[0] + u[1],
        sum_squares_micro=u[0] ** 2 + u[1] ** 2, grams_mg=36_000,
    )  # fmt: skip


def test_an_hour_of_the_largest_sums_fits_into_64_bits() -> None:
    # 20 g/s, a run of 0.25 s each, one after the other
    (cell,) = fold_runs([SHOT._replace(on_ms=250, grams_mg=5_000)])
    assert 4 * 3_600 * cell.sum_squares_micro < 2**63


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({}, ""),
        ({"feed": None, "purpose": UNSTATED, "setting_milli": None}, ""),
        ({"left_out": 1}, "cancelled"),
        ({"time_source": TIME_SOURCES.index("received")}, "clock_unknown"),
        ({"part": COUNTS_AS_RUN}, "two_devices"),
        ({"on_ms": None}, "not_timed"),
        ({"on_ms": 0}, "not_timed"),
        ({"grams_mg": None}, "not_weighed_out"),
        ({"grams_basis": GRAMS_BASES.index("weighed_in")}, "not_weighed_out"),
        ({"grams_basis": GRAMS_BASES.index("target")}, "not_weighed_out"),
        ({"feed": FEEDS.index("single_dose")}, "single_dosed"),
        ({"grams_mg": 4_999}, "dose_too_small"),
        ({"grams_mg": 18_000, "on_ms": 899}, "flow_implausible"),
        ({"grams_mg": 18_000, "on_ms": 180_001}, "flow_implausible"),
    ],
)
def test_what_is_no_evidence_says_why(changes: dict[str, int | None], reason: str) -> None:
    run = SHOT._replace(**changes)  # type: ignore[arg-type]
    assert reason_left_out(run) == reason
    (cell,) = fold_runs([run])
    assert REASONS[cell.left_out] == reason
    if reason:
        assert (cell.count, cell.sum_micro, cell.grams_mg, cell.coffee_lot) == (1, 0, 0, None)


@pytest.mark.parametrize("purpose", PURPOSES)
def test_only_service_like_purposes_are_evidence(purpose: str) -> None:
    expected = "" if purpose in EVIDENCE_PURPOSES else "not_service"
    assert reason_left_out(SHOT._replace(purpose=PURPOSES.index(purpose))) == expected


def test_dose_classes_begin_at_their_edges() -> None:
    for number, edge in enumerate(DOSE_EDGES_MG):
        assert (dose_class(edge - 1), dose_class(edge)) == (number, number + 1)


def test_flickering_motor_speeds_are_one() -> None:
    speeds = [SHOT._replace(rpm=rpm) for rpm in (1_376, 1_400, 1_424)]
    assert [cell.rpm for cell in fold_runs(speeds)] == [1_400]
    assert len(fold_runs([SHOT._replace(rpm=1_450), SHOT._replace(rpm=1_400)])) == 2
