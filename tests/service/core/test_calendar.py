"""Days of the calendar in a time zone: they tile the time line and hold the right date."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline_service.core.calendar import day_bounds, is_time_zone

ZONES = (
    "UTC", "Europe/Berlin", "America/New_York", "America/Sao_Paulo", "America/Havana",
    "America/St_Johns", "Asia/Kathmandu", "Australia/Lord_Howe", "Pacific/Apia",
    "Africa/Casablanca",
)  # fmt: skip
instants = st.integers(0, 130 * 365 * 86400).map(
    lambda seconds: datetime(1970, 1, 2, tzinfo=UTC) + timedelta(seconds=seconds)
)


@given(instants, st.sampled_from(ZONES))
def test_a_day_holds_its_instant_and_its_neighbours_begin_where_it_ends(
    at: datetime, zone: str
) -> None:
    start, end = day_bounds(at, zone)
    assert start <= at < end
    assert (
        day_bounds(start, zone) == day_bounds(end - timedelta(microseconds=1), zone) == (start, end)
    )
    assert day_bounds(end, zone)[0] == end
    assert day_bounds(start - timedelta(microseconds=1), zone)[1] == start


@given(instants, st.sampled_from(ZONES))
def test_a_day_is_of_one_date_but_for_a_clock_set_back_over_midnight(
    at: datetime, zone: str
) -> None:
    start, end = day_bounds(at, zone)
    dates = {
        (start + (end - start) * part / 24).astimezone(ZoneInfo(zone)).date() for part in range(24)
    }
    assert len(dates) == 1
    assert timedelta(hours=22.5) <= end - start <= timedelta(hours=25.5)


@given(instants, st.sampled_from(ZONES), st.integers(-23 * 60, 23 * 60))
def test_the_offset_an_instant_is_written_with_does_not_matter(
    at: datetime, zone: str, minutes: int
) -> None:
    elsewhere = at.astimezone(timezone(timedelta(minutes=minutes)))
    assert day_bounds(elsewhere, zone) == day_bounds(at, zone)


def test_bounds_are_given_in_utc() -> None:
    start, end = day_bounds(datetime(2026, 5, 4, 12, tzinfo=UTC), "Asia/Kathmandu")
    assert start.tzinfo is UTC
    assert end.tzinfo is UTC


@pytest.mark.parametrize(
    "name",
    ["", "Europe", "Europe/", "europe/berlin", "../etc/passwd", "/etc/localtime", "localtime",
     "posixrules", "Factory", "Mars/Olympus", "Europe/Berlin\0", "UTC+1", "Z" * 5000],
)  # fmt: skip
def test_what_is_no_place_of_the_tz_database_is_no_time_zone(name: str) -> None:
    assert not is_time_zone(name)
    with pytest.raises(ValueError, match="no time zone"):
        day_bounds(datetime(2026, 5, 4, tzinfo=UTC), name)


@given(st.text(max_size=30))
def test_any_text_is_answered(name: str) -> None:
    assert is_time_zone(name) in (True, False)


def test_a_naive_instant_is_refused() -> None:
    with pytest.raises(ValueError, match="aware"):
        day_bounds(datetime(2026, 5, 4), "UTC")  # noqa: DTZ001 (that is the point)


@pytest.mark.parametrize("at", [datetime.min.replace(tzinfo=UTC), datetime.max.replace(tzinfo=UTC)])
@pytest.mark.parametrize("zone", ["Pacific/Apia", "America/New_York"])
def test_the_ends_of_the_calendar_are_refused_in_words(at: datetime, zone: str) -> None:
    with pytest.raises(ValueError, match="end of the calendar"):
        day_bounds(at, zone)
