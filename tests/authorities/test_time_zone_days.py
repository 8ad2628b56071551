"""Calendar days at the tz database's oddest transitions.

Source: the tz database (IANA), release 2026f, text of ``europe``, ``northamerica``,
``southamerica``, ``australasia`` and ``asia`` (also in its one-file form ``tzdata.zi``); the Rule
or Zone line stands beside each case. Dates lie in the past where a rule may still change.
"""

from __future__ import annotations

import calendar
from datetime import UTC, date, datetime, timedelta

import pytest

from burrline_service.core.calendar import day_bounds, is_time_zone

# zone, a local date, its start in UTC, its length in hours, the line of the tz database
DAYS = [
    ("Europe/Berlin", "2024-03-31", "2024-03-30T23:00", 23, "Rule EU 1981 max Mar lastSun 1:00u"),
    ("Europe/Berlin", "2024-10-27", "2024-10-26T22:00", 25, "Rule EU 1996 max Oct lastSun 1:00u"),
    ("Europe/Berlin", "2024-10-28", "2024-10-27T23:00", 24, "the day after"),
    ("America/New_York", "2024-03-10", "2024-03-10T05:00", 23, "Rule US 2007 max Mar Sun>=8 2:00"),
    ("America/New_York", "2024-11-03", "2024-11-03T04:00", 25, "Rule US 2007 max Nov Sun>=1 2:00"),
    ("America/Sao_Paulo", "2018-11-03", "2018-11-03T03:00", 24, "before the missing midnight"),
    ("America/Sao_Paulo", "2018-11-04", "2018-11-04T03:00", 23, "Rule Brazil 2018 Nov Sun>=1 0:00"),
    ("America/Sao_Paulo", "2018-02-17", "2018-02-17T02:00", 25, "Rule Brazil Feb Sun>=15 0:00"),
    ("America/Sao_Paulo", "2018-02-18", "2018-02-18T03:00", 24, "clock set back at midnight"),
    ("Australia/Lord_Howe", "2024-04-07", "2024-04-06T13:00", 24.5, "Rule LH Apr Sun>=1 2:00 0"),
    ("Australia/Lord_Howe", "2024-10-06", "2024-10-05T13:30", 23.5, "Rule LH Oct Sun>=1 2:00 0:30"),
    ("Asia/Kathmandu", "2024-05-04", "2024-05-03T18:15", 24, "Zone Asia/Kathmandu 5:45 since 1986"),
    ("America/Havana", "2024-03-10", "2024-03-10T05:00", 23, "Rule Cuba Mar Sun>=8 0:00s"),
    ("America/Havana", "2024-11-02", "2024-11-02T04:00", 24, "before the double midnight"),
    (
        "America/Havana",
        "2024-11-03",
        "2024-11-03T04:00",
        25,
        "Rule Cuba 2012-2025 Nov Sun>=1 0:00s",
    ),
    ("America/St_Johns", "2010-11-06", "2010-11-06T02:30", 25, "Rule StJohns Nov Sun>=1 0:01"),
    ("America/St_Johns", "2010-11-07", "2010-11-07T03:30", 24, "Rule StJohns Nov Sun>=1 0:01"),
    ("America/Toronto", "1919-03-30", "1919-03-30T05:00", 23.5, "Rule Toronto 1919 Mar 30 23:30"),
    ("America/Toronto", "1919-03-31", "1919-03-31T04:30", 23.5, "gap from 23:30 to 0:30"),
    ("Pacific/Apia", "2011-12-29", "2011-12-29T10:00", 24, "Zone Pacific/Apia -11 .. Dec 29 24:00"),
    ("Pacific/Apia", "2011-12-31", "2011-12-30T10:00", 24, "Zone Pacific/Apia 13, 30th skipped"),
    ("Pacific/Kwajalein", "1993-08-20", "1993-08-20T12:00", 24, "-12 until 1993 Aug 20 24:00"),
    ("Pacific/Kwajalein", "1993-08-22", "1993-08-21T12:00", 24, "then 12, the 21st skipped"),
]


@pytest.mark.parametrize(("zone", "day", "start", "hours", "line"), DAYS)
def test_a_day_begins_and_lasts_as_the_tz_database_has_it(
    zone: str, day: str, start: str, hours: float, line: str
) -> None:
    begins = datetime.fromisoformat(start).replace(tzinfo=UTC)
    ends = begins + timedelta(hours=hours)
    for at in (begins, begins + (ends - begins) / 2, ends - timedelta(milliseconds=1)):
        assert day_bounds(at, zone) == (begins, ends), line
    assert day_bounds(ends, zone)[0] == ends
    assert day_bounds(begins - timedelta(milliseconds=1), zone)[1] == begins


def test_a_first_midnight_that_the_clock_falls_back_from_begins_no_day() -> None:
    # America/St_Johns, 7 November 2010: 0:00 at 2:30 UTC, back to 23:01 at 2:31, 0:00 at 3:30
    day = datetime(2010, 11, 6, 2, 30, tzinfo=UTC), datetime(2010, 11, 7, 3, 30, tzinfo=UTC)
    for minutes in (29, 30, 31, 89):
        at = datetime(2010, 11, 7, 2, tzinfo=UTC) + timedelta(minutes=minutes, seconds=30)
        assert day_bounds(at, "America/St_Johns") == day


def _sundays(year: int, month: int) -> list[int]:
    return [
        day
        for day in range(1, calendar.monthrange(year, month)[1] + 1)
        if date(year, month, day).weekday() == calendar.SUNDAY
    ]


@pytest.mark.parametrize("year", range(2007, 2025))
def test_european_days_are_short_and_long_on_the_sundays_of_the_rule(year: int) -> None:
    # Rule EU: from the last Sunday in March to the last Sunday in October, at 1:00 UTC
    short, long = date(year, 3, _sundays(year, 3)[-1]), date(year, 10, _sundays(year, 10)[-1])
    assert _odd_days(year, "Europe/Berlin") == {short: 23.0, long: 25.0}


@pytest.mark.parametrize("year", range(2007, 2025))
def test_american_days_are_short_and_long_on_the_sundays_of_the_rule(year: int) -> None:
    # Rule US: from the second Sunday in March to the first Sunday in November, at 2:00 local
    short, long = date(year, 3, _sundays(year, 3)[1]), date(year, 11, _sundays(year, 11)[0])
    assert _odd_days(year, "America/New_York") == {short: 23.0, long: 25.0}


def _odd_days(year: int, zone: str) -> dict[date, float]:
    """Days of a year that do not last 24 h, by walking from end to end."""
    odd: dict[date, float] = {}
    at = datetime(year, 1, 15, tzinfo=UTC)
    while at < datetime(year, 12, 15, tzinfo=UTC):
        start, end = day_bounds(at, zone)
        hours = (end - start).total_seconds() / 3600
        if hours != 24:
            odd[(start + (end - start) / 2).date()] = hours
        at = end
    return odd


@pytest.mark.parametrize("zone", sorted({row[0] for row in DAYS} | {"UTC", "Etc/GMT+12"}))
def test_names_of_the_tz_database_are_known(zone: str) -> None:
    assert is_time_zone(zone)
