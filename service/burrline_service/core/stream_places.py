"""Where hours lie in the life of a burr set: day, kilograms, seating."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from .calendar import day_bounds
from .joining import Seating
from .stream_eligible import HOUR_MS
from .stream_sessions import HourPlace

_START = datetime(1970, 1, 1, tzinfo=UTC)


class Stay(NamedTuple):
    """The whole UTC hours [``from_hour``, ``to_hour``) of a burr set in a grinder.

    Hours in which it came or left are not whole. ``before_mg`` went through it before the first of
    them, wherever that was ground; ``to_hour`` is None while it stays.
    """

    from_hour: int
    to_hour: int | None
    before_mg: int


def place_hours(
    hour_mg: Mapping[int, int],
    stays: Sequence[Stay],
    *,
    time_zone: str,
    seatings: Sequence[Seating] = (),
    first_zero_setting: float | None = None,
) -> dict[int, HourPlace]:
    """Place the hours of a burr set's stays: kilograms by adding up, days by the local calendar.

    ``from = before + sum of the hours before in the stay;  day = local date of the hour's middle``

    Parameters
    ----------
    hour_mg : mapping of int to int
        What the grinder ground by UTC hour since 1970, in mg.
    stays : sequence of Stay
        The burr set's stays in this grinder, which do not overlap.
    time_zone : str
        Of the site, a name of the tz database.
    seatings : sequence of joining.Seating
        When the burrs were out, in any order.
    first_zero_setting : float or None
        Where they touched before the first seating.

    Returns
    -------
    dict
        Hour -> ``HourPlace``, in order, without hours in which a seating lies.

    Raises
    ------
    zoneinfo.ZoneInfoNotFoundError
        The time zone does not exist.

    Valid
    -----
    An hour that two local days share, where the offset is no whole number of hours, belongs to the
    day of its middle.

    Source
    ------
    IANA tz database for days; the rest is a definition made here.

    Examples
    --------
    >>> places = place_hours({10: 500, 11: 700, 12: 900}, [Stay(11, None, 40)], time_zone="UTC")
    >>> [(hour, place.from_mg, place.to_mg) for hour, place in places.items()]
    [(11, 40, 740), (12, 740, 1640)]
    """
    zone = ZoneInfo(time_zone)
    seated = sorted((_milliseconds(s.at), _milli(s.zero_setting)) for s in seatings)
    starts_ms = [at_ms for at_ms, _ in seated]
    zeros = [_milli(first_zero_setting), *(zero for _, zero in seated)]
    hours = sorted(hour_mg)
    found: dict[int, HourPlace] = {}
    for stay in sorted(stays):
        first = bisect_left(hours, stay.from_hour)
        last = len(hours) if stay.to_hour is None else bisect_left(hours, stay.to_hour)
        total_mg = stay.before_mg
        for hour in hours[first:last]:
            before_mg, total_mg = total_mg, total_mg + hour_mg[hour]
            seating = bisect_right(starts_ms, hour * HOUR_MS)
            if bisect_left(starts_ms, (hour + 1) * HOUR_MS) > seating:
                continue
            middle = _START + timedelta(hours=hour, minutes=30)
            session = middle.astimezone(zone).toordinal()
            found[hour] = HourPlace(session, before_mg, total_mg, seating, zeros[seating])
    return found


def session_at(at: datetime, time_zone: str) -> int:
    """Number the local day of an instant: the first day that is not closed at it.

    ``date.toordinal of the local date``

    Parameters
    ----------
    at : datetime
        An aware instant.
    time_zone : str
        A name of the tz database.

    Returns
    -------
    int
        The day's number, as in ``HourPlace.session``.

    Raises
    ------
    ValueError
        The instant is naive.

    Valid
    -----
    For the time zones of the installed tz release.

    Source
    ------
    IANA tz database.

    Examples
    --------
    >>> at = datetime(2026, 5, 4, 23, 30, tzinfo=UTC)
    >>> date.fromordinal(session_at(at, "Europe/Lisbon")).isoformat()
    '2026-05-05'
    """
    if at.utcoffset() is None:
        raise ValueError("the instant must be aware (have an offset)")
    return at.astimezone(ZoneInfo(time_zone)).toordinal()


def session_closed_at(session: int, time_zone: str) -> datetime:
    """Give the instant at which a local day closes.

    ``start of the following local day``

    Parameters
    ----------
    session : int
        The day's number (``date.toordinal``).
    time_zone : str
        A name of the tz database.

    Returns
    -------
    datetime
        In UTC.

    Raises
    ------
    ValueError
        There is no such day.

    Valid
    -----
    Also for days of 23 and 25 hours.

    Source
    ------
    ``day_bounds``

    Examples
    --------
    >>> day = date(2026, 3, 29).toordinal()
    >>> session_closed_at(day, "Europe/Berlin").isoformat()
    '2026-03-29T22:00:00+00:00'
    """
    noon = datetime.combine(date.fromordinal(session), time(12), ZoneInfo(time_zone))
    return day_bounds(noon, time_zone)[1]


def _milliseconds(at: datetime) -> int:
    return (at - _START) // timedelta(milliseconds=1)


def _milli(setting: float | None) -> int | None:
    return None if setting is None else round(1000 * setting)
