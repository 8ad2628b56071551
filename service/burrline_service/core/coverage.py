"""Known time: over which stretches it is known what a grinder did, and when its site is open.

Intervals are half-open ``[low, high)`` in whole milliseconds since 1970 (UTC).
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from .calendar import is_time_zone

Intervals = list[tuple[int, int]]

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_ONE_DAY, _ONE_MS, _ONE_SECOND = timedelta(days=1), timedelta(milliseconds=1), timedelta(seconds=1)
_CLOCK_TIME = re.compile(r"(?:[01][0-9]|2[0-3]):[0-5][0-9]")


def covered(
    low_ms: int,
    high_ms: int,
    *,
    first_known_ms: int | None,
    watched: Sequence[tuple[int, int]],
    ran: Sequence[tuple[int, int]],
    unknown: Sequence[tuple[int, int]],
    out_of_service: Sequence[tuple[int, int]],
) -> Intervals:
    """Find the parts of a window over which it is known whether the motor ran.

    ``[low, high) & ((base | out_of_service) - unknown | ran | watched)``, where base = all from
    the first known instant on if nothing is watched, else nothing

    Parameters
    ----------
    low_ms, high_ms : int
        The window [low, high).
    first_known_ms : int or None
        When the grinder's first run began, None = it has none.
    watched : sequence of tuple of int
        Stretches in which every run was reported, over the grinder's whole history.
    ran : sequence of tuple of int
        Its runs that touch the window.
    unknown : sequence of tuple of int
        Stretches of which only a tally is known.
    out_of_service : sequence of tuple of int
        Stretches in which it did not run.

    Returns
    -------
    list of tuple of int
        Disjoint intervals in order, those that meet merged.

    Raises
    ------
    ValueError
        The window or an interval is reversed.

    Valid
    -----
    One watched stretch anywhere, also outside the window, says that silence elsewhere tells
    nothing: leave none out. A run in progress is given as ending now. Intervals of length 0
    cover nothing.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> covered(0, 100, first_known_ms=20, watched=[], ran=[(40, 45)], unknown=[(30, 60)],
    ...     out_of_service=[])
    [(20, 30), (40, 45), (60, 100)]
    >>> covered(0, 100, first_known_ms=20, watched=[(50, 70)], ran=[(40, 45)], unknown=[(30, 60)],
    ...     out_of_service=[(80, 200)])
    [(40, 45), (50, 70), (80, 100)]
    """
    if low_ms > high_ms:
        raise ValueError(f"the window is reversed: {low_ms} > {high_ms} ms")
    base = [*out_of_service]
    if not watched and first_known_ms is not None and first_known_ms < high_ms:
        base.append((first_known_ms, high_ms))
    known = _union([*_without(_union(base), _union(unknown)), *ran, *watched])
    return _within(known, low_ms, high_ms)


def length_ms(intervals: Iterable[tuple[int, int]]) -> int:
    """Add up the time that some intervals cover together.

    ``length of the union of [low_i, high_i)``

    Parameters
    ----------
    intervals : iterable of tuple of int
        In any order, overlapping or not.

    Returns
    -------
    int
        Length in ms; what is covered twice counts once.

    Raises
    ------
    ValueError
        An interval is reversed.

    Valid
    -----
    Any number of intervals, none included.

    Source
    ------
    Definition.

    Examples
    --------
    >>> length_ms([(0, 10), (5, 20), (30, 31)])
    21
    """
    return sum(high - low for low, high in _union(intervals))


def open_spans(
    low_at: datetime,
    high_at: datetime,
    time_zone: str,
    opening_hours: Mapping[str, Sequence[Sequence[str]]] | None,
    closed_days: Collection[str],
) -> Intervals:
    """List when a site is open within a window, by the clock on its wall.

    ``union over days d of [instant(d, from), instant(d, to))``, d + 1 for ``to <= from``

    Parameters
    ----------
    low_at, high_at : datetime
        The window [low, high), aware.
    time_zone : str
        Name of a zone of the tz database.
    opening_hours : mapping or None
        For each of ``mon`` to ``sun`` its pairs of local times ``HH:MM`` from and to; a day that
        is left out is closed. None = open around the clock.
    closed_days : collection of str
        Local dates ``YYYY-MM-DD`` on which the site does not open.

    Returns
    -------
    list of tuple of int
        Disjoint intervals in ms in order, those that meet merged.

    Raises
    ------
    ValueError
        A naive instant, a reversed window, one too near an end of the calendar, an unknown zone,
        day name, time or date.

    Valid
    -----
    By the tz release installed. ``to`` at or before ``from`` is on the next day, so 00:00 to 00:00
    is the whole day. Hours past midnight belong to the day they began on, also when the next one
    is a closed day; without opening hours a closed day is shut from midnight to midnight. A local
    time that occurs twice is the first; one that does not occur is the first instant after the gap.

    Source
    ------
    IANA tz database; times that occur twice: RFC 5545 section 3.3.5; in a gap that rule would let
    a later local time come first, so there the instant after the gap is our choice.

    Examples
    --------
    >>> low_at = datetime(2026, 5, 8, 12, tzinfo=UTC)  # a Friday
    >>> spans = open_spans(low_at, low_at + timedelta(days=2), "Europe/Berlin",
    ...     {"fri": [["07:00", "19:00"], ["21:00", "02:00"]], "sat": [["09:00", "12:00"]]},
    ...     {"2026-05-09"})
    >>> [f"{datetime.fromtimestamp(at / 1000, UTC):%a %H:%M}" for span in spans for at in span]
    ['Fri 12:00', 'Fri 17:00', 'Fri 19:00', 'Sat 00:00']
    """
    if low_at.utcoffset() is None or high_at.utcoffset() is None:
        raise ValueError("the instants must be aware (have an offset)")
    if low_at > high_at:
        raise ValueError(f"the window is reversed: {low_at.isoformat()} > {high_at.isoformat()}")
    if not is_time_zone(time_zone):
        raise ValueError(f"there is no time zone {time_zone!r} in the tz database")
    zone = ZoneInfo(time_zone)
    closed = {_date_of(text) for text in closed_days}
    low_ms, high_ms = _to_ms(low_at), _to_ms(high_at)
    try:
        if opening_hours is None:
            shut = _union(
                (_instant_ms(day, time(), zone), _instant_ms(day + _ONE_DAY, time(), zone))
                for day in closed
            )
            return _without([(low_ms, high_ms)] if low_ms < high_ms else [], shut)
        hours = {_weekday_of(name): _pairs_of(spans) for name, spans in opening_hours.items()}
        day = low_at.astimezone(zone).date() - 2 * _ONE_DAY
        last = high_at.astimezone(zone).date() + _ONE_DAY
        opened: Intervals = []
        while day <= last:
            for from_time, to_time in () if day in closed else hours.get(day.weekday(), ()):
                to_day = day if to_time > from_time else day + _ONE_DAY
                low = _instant_ms(day, from_time, zone)
                opened.append((low, _instant_ms(to_day, to_time, zone)))
            day += _ONE_DAY
    except OverflowError as error:
        raise ValueError(f"the window is too near an end of the calendar: {error}") from error
    return _within(_union(opened), low_ms, high_ms)


def _union(intervals: Iterable[tuple[int, int]]) -> Intervals:
    merged: Intervals = []
    for low, high in sorted(intervals):
        if high < low:
            raise ValueError(f"an interval ends at {high} before its start {low} ms")
        if high == low:
            continue
        if merged and low <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(high, merged[-1][1]))
        else:
            merged.append((low, high))
    return merged


def _without(kept: Intervals, removed: Intervals) -> Intervals:
    """The first set of intervals minus the second; both disjoint and in order."""
    left: Intervals = []
    first = 0
    for low, high in kept:
        while first < len(removed) and removed[first][1] <= low:
            first += 1
        at = first
        while at < len(removed) and removed[at][0] < high:
            if removed[at][0] > low:
                left.append((low, removed[at][0]))
            low = removed[at][1]
            at += 1
        if low < high:
            left.append((low, high))
    return left


def _within(intervals: Intervals, low_ms: int, high_ms: int) -> Intervals:
    clipped = ((max(low, low_ms), min(high, high_ms)) for low, high in intervals)
    return [(low, high) for low, high in clipped if low < high]


def _to_ms(at: datetime) -> int:
    return (at - _EPOCH) // _ONE_MS


def _instant_ms(day: date, clock_time: time, zone: ZoneInfo) -> int:
    """The first instant at which the local clock shows a time, or jumps over it."""
    naive = datetime.combine(day, clock_time)
    first = naive.replace(tzinfo=zone).astimezone(UTC)
    before = naive.replace(tzinfo=zone, fold=1).astimezone(UTC)
    while first - before > _ONE_SECOND:  # only in a gap: close in on the jump between the two
        middle = before + (first - before) // _ONE_SECOND // 2 * _ONE_SECOND
        if middle.astimezone(zone).replace(tzinfo=None) < naive:
            before = middle
        else:
            first = middle
    return _to_ms(first)


def _date_of(text: str) -> date:
    if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        raise ValueError(f"{text!r} is no date such as 2026-12-24")
    return date.fromisoformat(text)


def _weekday_of(name: str) -> int:
    if name not in WEEKDAYS:
        raise ValueError(f"{name!r} is no day of the week: {', '.join(WEEKDAYS)}")
    return WEEKDAYS.index(name)


def _pairs_of(spans: Sequence[Sequence[Any]]) -> list[tuple[time, time]]:
    pairs: list[tuple[time, time]] = []
    for span in spans:
        if len(span) != 2 or not all(_CLOCK_TIME.fullmatch(str(text)) for text in span):
            raise ValueError(f"{span!r} is no pair of times such as 07:00 and 19:00")
        pairs.append((time.fromisoformat(span[0]), time.fromisoformat(span[1])))
    return pairs
