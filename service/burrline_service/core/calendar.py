"""Calendar days in a site's time zone, by the tz database (IANA), as spans of UTC."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from typing import Literal
from zoneinfo import ZoneInfo, available_timezones

_QUARTER = timedelta(minutes=15)  # every offset of today's zones is a multiple of it
_NOT_PLACES = frozenset({"Factory", "localtime", "posixrules"})
"""Names a tz installation may carry that mean no place, or another one on every machine."""


def is_time_zone(name: str) -> bool:
    """Tell whether a name is a time zone of the tz database.

    ``name in tz``

    Parameters
    ----------
    name : str
        A name such as ``Europe/Berlin``; upper and lower case count.

    Returns
    -------
    bool
        True when the zone can be used.

    Raises
    ------
    Nothing; any text is answered.

    Valid
    -----
    By the tz release installed beside the service.

    Source
    ------
    IANA tz database (RFC 6557), names of zones and links.

    Examples
    --------
    >>> is_time_zone("Europe/Berlin"), is_time_zone("Europe/Atlantis")
    (True, False)
    """
    return name in _zone_names()


def day_bounds(at: datetime, time_zone: str) -> tuple[datetime, datetime]:
    """Find the start and end in UTC of the local calendar day that contains an instant.

    ``start = B(d) <= at < B(d + 1) = end``, where B(d) is the first instant from which on the
    local date is never again before d.

    Parameters
    ----------
    at : datetime
        An aware instant.
    time_zone : str
        Name of a zone of the tz database.

    Returns
    -------
    tuple of datetime
        Start (inclusive) and end (exclusive), UTC; 23, 24 or 25 h apart as a rule.

    Raises
    ------
    ValueError
        The instant is naive or within two days of the ends of the calendar, or there is no such
        zone.

    Valid
    -----
    Years 1 to 9999. A midnight that does not exist gives way to the first instant after the gap;
    where the clock falls back over midnight, the later midnight parts the days; a date that was
    skipped has no day of its own. Days tile the time line without gap or overlap.

    Source
    ------
    IANA tz database through PEP 495 and PEP 615 semantics; the rule for odd midnights is derived
    here.

    Examples
    --------
    >>> start, end = day_bounds(datetime(2026, 3, 29, 12, tzinfo=UTC), "Europe/Berlin")
    >>> start.isoformat(), (end - start).total_seconds() / 3600
    ('2026-03-28T23:00:00+00:00', 23.0)
    """
    if at.tzinfo is None or at.utcoffset() is None:
        raise ValueError("the instant must be aware (have an offset)")
    if not is_time_zone(time_zone):
        raise ValueError(f"there is no time zone {time_zone!r} in the tz database")
    zone = ZoneInfo(time_zone)
    try:
        at = at.astimezone(UTC)
        day = at.astimezone(zone).date()
        start = _midnight(day, zone)
        while start > at:  # a first midnight that the clock falls back from
            day -= timedelta(days=1)
            start = _midnight(day, zone)
        end = _midnight(day + timedelta(days=1), zone)
    except OverflowError as error:
        raise ValueError(f"{at.isoformat()} is too near an end of the calendar") from error
    return start, end


def buckets(
    low_at: datetime, high_at: datetime, by: Literal["hour", "day", "week"], time_zone: str
) -> list[tuple[datetime, datetime]]:
    """Part a stretch of time into local hours, days or weeks that cover it.

    ``[start_0, start_1), [start_1, start_2), ...`` with starts on the hour, at the first instant
    of a calendar day, or of a Monday, by the clock of the zone

    Parameters
    ----------
    low_at, high_at : datetime
        The stretch [low, high), aware; the first and last bucket may reach beyond it.
    by : str
        ``hour``, ``day`` or ``week``.
    time_zone : str
        Name in the IANA tz database.

    Returns
    -------
    list of tuple of datetime
        Starts and ends, aware UTC, without gaps; empty when ``high_at <= low_at``.

    Raises
    ------
    ValueError
        An instant is naive, the zone does not exist, or ``by`` is another word.

    Valid
    -----
    Years 1970 to 9998. Days have 23 or 25 hours, and hours 30 minutes, where the clock shifts.

    Source
    ------
    IANA tz database; a week begins on Monday (ISO 8601).

    Examples
    --------
    >>> from datetime import UTC
    >>> at = datetime(2026, 3, 29, tzinfo=UTC)
    >>> [str(end - start) for start, end in buckets(at, at + timedelta(1), "day", "Europe/Berlin")]
    ['23:00:00', '1 day, 0:00:00']
    """
    if by not in ("hour", "day", "week"):
        raise ValueError(f"{by!r} is none of hour, day, week")
    start, end = day_bounds(low_at, time_zone)
    zone = ZoneInfo(time_zone)
    high_at = high_at.astimezone(UTC)
    if high_at <= low_at:
        return []
    if by == "hour":
        start = low_at.astimezone(UTC).replace(second=0, microsecond=0)
        start -= timedelta(minutes=start.minute % 15)
        while start.astimezone(zone).minute:
            start -= _QUARTER
        end = _next_hour(start, zone)
    while by == "week" and start.astimezone(zone).weekday():
        start, _ = day_bounds(start - timedelta(hours=1), time_zone)
    if by == "week":
        end = _next_week(start, time_zone)
    found = []
    while start < high_at:
        found.append((start, end))
        start = end
        if by == "hour":
            end = _next_hour(start, zone)
        else:
            end = day_bounds(start, time_zone)[1] if by == "day" else _next_week(start, time_zone)
    return found


def _next_hour(start: datetime, zone: ZoneInfo) -> datetime:
    end = start + _QUARTER
    while end.astimezone(zone).minute:
        end += _QUARTER
    return end


def _next_week(start: datetime, time_zone: str) -> datetime:
    end = day_bounds(start, time_zone)[1]
    zone = ZoneInfo(time_zone)
    while end.astimezone(zone).weekday():
        end = day_bounds(end, time_zone)[1]
    return end


@lru_cache(maxsize=1)
def _zone_names() -> frozenset[str]:
    return frozenset(available_timezones()) - _NOT_PLACES


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    """The first instant (UTC) from which on the local date is never again before ``day``."""
    naive = datetime.combine(day, time())
    first = naive.replace(tzinfo=zone).astimezone(UTC)
    second = naive.replace(tzinfo=zone, fold=1).astimezone(UTC)
    if second > first:  # the clock falls back and shows midnight twice
        before = (second - timedelta(seconds=1)).astimezone(zone).date()
        return second if before < day else first
    before_gap, after_gap = second, first  # differ only where midnight does not exist
    while after_gap - before_gap > timedelta(seconds=1):
        middle = before_gap + timedelta(seconds=int((after_gap - before_gap).total_seconds()) // 2)
        if middle.astimezone(zone).date() < day:
            before_gap = middle
        else:
            after_gap = middle
    return after_gap
