"""Cells of hours become evidence by day, half kilogram and setting."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from burrline_service.core.periods import Period
from burrline_service.core.records import FEEDS, PURPOSES
from burrline_service.core.stream_cells import UNSTATED, StreamCell
from burrline_service.core.stream_eligible import HOUR_MS, REASONS
from burrline_service.core.stream_periods import Told, told_by_periods
from burrline_service.core.stream_sessions import HourPlace, read_sessions

CELL = StreamCell(
    hour=7, left_out=0, setting_milli=4_800, dose_class=2, rpm=None, source_no=None,
    coffee_lot=None, feed=0, purpose=0, count=2, sum_micro=10, sum_squares_micro=52,
    grams_mg=36_000,
)  # fmt: skip
PLACE = HourPlace(session=100, from_mg=600_000, to_mg=700_000)
BARE = replace(CELL, setting_milli=None, feed=None, purpose=UNSTATED)


def left_out(cell: StreamCell, told: Told | None = None) -> dict[str, int]:
    found = read_sessions([cell], {7: PLACE}, None if told is None else {7: told})
    return dict(found.left_out)


def test_cells_of_one_day_and_half_kilogram_are_added() -> None:
    later = replace(CELL, hour=8, count=3, sum_micro=20, sum_squares_micro=140)
    far = replace(CELL, hour=9)
    places = {7: PLACE, 8: HourPlace(100, 700_000, 900_000), 9: HourPlace(101, 900_000, 1_300_000)}
    found = read_sessions([far, later, CELL], places)
    assert [(c.session, c.bin, c.grinds_count, c.sum_micro) for c in found.cells] == [
        (100, 1, 5, 30),
        (101, 2, 2, 10),
    ]
    assert found.cells[0].sum_twice_place_mg == 2 * 1_300_000 + 3 * 1_600_000
    assert [(close.session, close.to_mg) for close in found.closes] == [
        (100, 900_000),
        (101, 1_300_000),
    ]
    assert found == read_sessions([CELL, far, later], dict(reversed(places.items())))


def test_a_day_without_evidence_has_its_close_all_the_same() -> None:
    found = read_sessions([], {7: PLACE})
    assert found.cells == ()
    assert found.closes[0].to_mg == 700_000


def test_settings_count_from_where_the_burrs_touch() -> None:
    found = read_sessions([CELL], {7: PLACE._replace(seating=2, zero_milli=-300)})
    assert (found.cells[0].setting_milli, found.cells[0].seating) == (5_100, 2)


def test_hours_without_a_place_and_reasons_are_counted() -> None:
    cancelled = replace(CELL, left_out=REASONS.index("cancelled"), count=4)
    found = read_sessions([CELL, cancelled, replace(CELL, hour=70, count=5)], {7: PLACE})
    assert found.left_out == {"burrs_out": 5, "cancelled": 4}


def test_periods_fill_in_what_runs_leave_out() -> None:
    told = Told({"setting": 4.8, "feed": "hopper", "coffee_lot": "K-7", "rpm": 1_412})
    (cell,) = read_sessions([BARE], {7: PLACE}, {7: told}).cells
    assert (cell.setting_milli, cell.coffee_lot, cell.rpm) == (4_800, "K-7", 1_400)
    own = replace(CELL, setting_milli=5_000, coffee_lot="own", rpm=900)
    (cell,) = read_sessions([own], {7: PLACE}, {7: told}).cells
    assert (cell.setting_milli, cell.coffee_lot, cell.rpm) == (5_000, "own", 900)


@pytest.mark.parametrize(
    ("values", "reason"),
    [
        ({"setting": 4.8}, "feed_unrecorded"),
        ({"setting": 4.8, "feed": "single_dose"}, "single_dosed"),
        ({"feed": "hopper"}, "setting_unrecorded"),
        ({"setting": 4.8, "feed": "hopper", "purpose": "cleaning"}, "not_service"),
    ],
)
def test_what_nobody_told_is_left_out(values: dict[str, Any], reason: str) -> None:
    assert left_out(BARE, Told(values)) == {reason: 2}


@pytest.mark.parametrize("feed", FEEDS)
@pytest.mark.parametrize("purpose", PURPOSES)
def test_what_a_run_says_itself_goes_before_a_period(feed: str, purpose: str) -> None:
    cell = replace(CELL, feed=FEEDS.index(feed), purpose=PURPOSES.index(purpose))
    told = Told({"feed": "hopper", "purpose": "service"})
    is_evidence = feed == "hopper" and purpose in ("service", "break_in", "dial_in")
    assert (left_out(cell, told) == {}) is is_evidence


def test_in_the_hour_of_a_change_only_what_runs_say_themselves_counts() -> None:
    told = Told({"feed": "hopper"}, frozenset({"setting"}))
    assert left_out(BARE, told) == {"changed_in_hour": 2}
    assert left_out(CELL, told) == {}


def test_a_period_holds_for_the_hours_it_covers_whole() -> None:
    periods = [
        Period("a", 0, 2 * HOUR_MS, {"setting": 4.8, "feed": "hopper"}),
        Period("b", 2 * HOUR_MS, 3 * HOUR_MS + 1, {"setting": 5.0}),
        Period("c", 5 * HOUR_MS + 1, None, {"setting": 5.2}),
    ]
    told = told_by_periods(periods, range(8))
    assert {hour: told[hour].values.get("setting") for hour in told} == {
        0: 4.8, 1: 4.8, 2: 5.0, 3: None, 5: None, 6: 5.2, 7: 5.2,
    }  # fmt: skip
    changing = {hour for hour in told if "setting" in told[hour].is_changing}
    assert changing == {3, 5}
    assert told[1].values["feed"] == "hopper"
    assert told_by_periods(periods, []) == {}
