"""Hours of a burr set by day, kilograms and seating."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from burrline_service.core.joining import Seating
from burrline_service.core.stream_places import (
    Stay,
    place_hours,
    session_at,
    session_closed_at,
)

START = datetime(2026, 10, 24, 0, tzinfo=UTC)
HOUR = int(START.timestamp()) // 3600


def test_kilograms_add_up_within_a_stay_and_go_on_in_the_next() -> None:
    hour_mg = {HOUR + number: 100 + number for number in range(10)}
    stays = [Stay(HOUR + 7, None, 90_000), Stay(HOUR + 1, HOUR + 4, 5_000)]
    found = place_hours(hour_mg, stays, time_zone="UTC")
    assert [(hour - HOUR, place.from_mg, place.to_mg) for hour, place in found.items()] == [
        (1, 5_000, 5_101), (2, 5_101, 5_203), (3, 5_203, 5_306),
        (7, 90_000, 90_107), (8, 90_107, 90_215), (9, 90_215, 90_324),
    ]  # fmt: skip
    assert place_hours({}, stays, time_zone="UTC") == {}


def test_an_hour_in_which_the_burrs_were_out_has_no_place_but_its_grams_count() -> None:
    hour_mg = dict.fromkeys(range(HOUR, HOUR + 5), 100)
    within = Seating(START + timedelta(hours=2, minutes=10), 0.3)
    at_border = Seating(START + timedelta(hours=4), None)
    found = place_hours(
        hour_mg,
        [Stay(HOUR, None, 0)],
        time_zone="UTC",
        seatings=[at_border, within],
        first_zero_setting=0.1,
    )
    assert [(h - HOUR, p.from_mg, p.seating, p.zero_milli) for h, p in found.items()] == [
        (0, 0, 0, 100), (1, 100, 0, 100), (3, 300, 1, 300), (4, 400, 2, None),
    ]  # fmt: skip


def test_days_are_those_of_the_site() -> None:
    hour_mg = dict.fromkeys(range(HOUR, HOUR + 72), 1)
    found = place_hours(hour_mg, [Stay(HOUR, None, 0)], time_zone="Europe/Berlin")
    counts: dict[str, int] = {}
    for place in found.values():
        day = date.fromordinal(place.session).isoformat()
        counts[day] = counts.get(day, 0) + 1
    # summer time ends on 2026-10-25: a day of 25 hours
    assert counts == {"2026-10-24": 22, "2026-10-25": 25, "2026-10-26": 24, "2026-10-27": 1}


def test_an_hour_of_two_days_belongs_to_that_of_its_middle() -> None:
    hour_mg = {HOUR + 18: 1, HOUR + 17: 1}
    found = place_hours(hour_mg, [Stay(HOUR, None, 0)], time_zone="Asia/Kathmandu")
    # 5:45 ahead: 17:30 and 18:30 UTC are 23:15 and, the next day, 0:15
    assert [place.session - START.toordinal() for place in found.values()] == [0, 1]


@pytest.mark.parametrize("time_zone", ["UTC", "Europe/Berlin", "Asia/Kathmandu"])
def test_a_day_closes_where_the_next_one_begins(time_zone: str) -> None:
    for session in range(START.toordinal() - 2, START.toordinal() + 3):
        closed = session_closed_at(session, time_zone)
        assert session_at(closed, time_zone) == session + 1
        assert session_at(closed - timedelta(seconds=1), time_zone) == session


def test_a_naive_instant_is_refused() -> None:
    with pytest.raises(ValueError, match="aware"):
        session_at(START.replace(tzinfo=None), "UTC")
