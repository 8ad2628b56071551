"""Opening hours on the days on which clocks change.

Sources: the tz database (IANA), release 2026f, whose Rule line stands beside each case; RFC 5545
section 3.3.5 for local times that occur twice, and its two examples of New York in 2007.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from burrline_service.core.coverage import open_spans

# zone, local day, hours, opens and closes in UTC, the line of the tz database
DAYS = [
    ("Europe/Berlin", "2024-03-30", ("07:00", "19:00"), "30T06:00", "30T18:00", "the day before"),
    (
        "Europe/Berlin",
        "2024-03-31",
        ("07:00", "19:00"),
        "31T05:00",
        "31T17:00",
        "Rule EU Mar lastSun 1:00u",
    ),
    ("Europe/Berlin", "2024-03-31", ("00:00", "00:00"), "30T23:00", "31T22:00", "a day of 23 h"),
    (
        "Europe/Berlin",
        "2024-03-30",
        ("20:00", "04:00"),
        "30T19:00",
        "31T02:00",
        "a night of 7 h for 8",
    ),
    (
        "Europe/Berlin",
        "2024-03-31",
        ("02:30", "03:15"),
        "31T01:00",
        "31T01:15",
        "2:00 to 3:00 do not occur",
    ),
    (
        "Europe/Berlin",
        "2024-10-27",
        ("07:00", "19:00"),
        "27T06:00",
        "27T18:00",
        "Rule EU Oct lastSun 1:00u",
    ),
    ("Europe/Berlin", "2024-10-27", ("00:00", "00:00"), "26T22:00", "27T23:00", "a day of 25 h"),
    (
        "Europe/Berlin",
        "2024-10-26",
        ("20:00", "04:00"),
        "26T18:00",
        "27T03:00",
        "a night of 9 h for 8",
    ),
    (
        "America/New_York",
        "2024-03-10",
        ("06:00", "18:00"),
        "10T10:00",
        "10T22:00",
        "Rule US Mar Sun>=8 2:00",
    ),
    (
        "America/New_York",
        "2024-11-03",
        ("06:00", "18:00"),
        "03T11:00",
        "03T23:00",
        "Rule US Nov Sun>=1 2:00",
    ),
    (
        "Australia/Lord_Howe",
        "2024-10-06",
        ("01:00", "05:00"),
        "05T14:30",
        "05T18:00",
        "Rule LH Oct Sun>=1 2:00 0:30",
    ),
    (
        "Australia/Lord_Howe",
        "2024-04-07",
        ("01:00", "05:00"),
        "06T14:00",
        "06T18:30",
        "Rule LH Apr Sun>=1 2:00 0",
    ),
    (
        "America/Sao_Paulo",
        "2018-11-04",
        ("00:00", "06:00"),
        "04T03:00",
        "04T08:00",
        "Rule Brazil 2018 Nov Sun>=1 0:00",
    ),
    (
        "Asia/Kathmandu",
        "2024-05-04",
        ("07:00", "19:00"),
        "04T01:15",
        "04T13:15",
        "Zone 5:45 since 1986",
    ),
]
WEEK = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def opened(zone: str, day: str, hours: tuple[str, str]) -> list[tuple[datetime, datetime]]:
    """What a site that opens only on this day of the week is open within two days of it."""
    noon = datetime.fromisoformat(day).replace(hour=12, tzinfo=UTC)
    week = {WEEK[noon.weekday()]: [list(hours)]}
    around = timedelta(days=2)
    return [
        (datetime.fromtimestamp(low / 1000, UTC), datetime.fromtimestamp(high / 1000, UTC))
        for low, high in open_spans(noon - around, noon + around, zone, week, ())
    ]


@pytest.mark.parametrize(("zone", "day", "hours", "opens", "closes", "line"), DAYS)
def test_a_site_opens_and_closes_by_the_clock_on_its_wall(
    zone: str, day: str, hours: tuple[str, str], opens: str, closes: str, line: str
) -> None:
    low, high = (
        datetime.fromisoformat(f"{day[:8]}{text}").replace(tzinfo=UTC) for text in (opens, closes)
    )
    assert opened(zone, day, hours) == [(low, high)], line


def test_a_time_that_occurs_twice_is_the_first() -> None:
    # RFC 5545 3.3.5: New York 2007-11-04 01:30 "indicates 1:30 A.M. EDT (UTC-04:00)"
    ((low, _),) = opened("America/New_York", "2007-11-04", ("01:30", "09:00"))
    assert low == datetime(2007, 11, 4, 5, 30, tzinfo=UTC)
    ((_, high),) = opened("America/New_York", "2007-11-04", ("00:00", "01:30"))
    assert high == datetime(2007, 11, 4, 5, 30, tzinfo=UTC)


def test_a_time_that_does_not_occur_is_the_end_of_the_gap_half_an_hour_before_that_of_the_rfc() -> (
    None
):
    # RFC 5545 3.3.5: New York 2007-03-11 02:30 "indicates 3:30 A.M. EDT"; the gap ends at 3:00
    rfc = datetime(2007, 3, 11, 7, 30, tzinfo=UTC)
    ((low, _),) = opened("America/New_York", "2007-03-11", ("02:30", "09:00"))
    assert low == rfc - timedelta(minutes=30)


def test_hours_of_a_date_that_was_skipped_are_none() -> None:
    # Zone Pacific/Apia: -11 until the end of 29 December 2011, then +13: there is no 30th, a Friday
    assert opened("Pacific/Apia", "2011-12-30", ("07:00", "19:00")) == []
    assert opened("Pacific/Apia", "2011-12-30", ("00:00", "00:00")) == []
