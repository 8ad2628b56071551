"""Instants as text: RFC 3339 with offset in, UTC with milliseconds out."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone, tzinfo

EARLIEST = datetime(1900, 1, 1, tzinfo=UTC)
LATEST = datetime(2999, 12, 31, tzinfo=UTC)

_RFC_3339 = re.compile(
    r"([0-9]{4})-([0-9]{2})-([0-9]{2})[Tt]([0-9]{2}):([0-9]{2}):([0-9]{2})(?:\.([0-9]{1,9}))?"
    r"(?:[Zz]|([+-])([0-9]{2}):([0-9]{2}))"
)


def read_instant(text: str) -> datetime | None:
    """The instant in UTC, down to whole milliseconds; None where the text is not RFC 3339.

    A leap second (``:60``) is read as the last millisecond of its minute. Instants before 1900
    or after 2999 are read as the first or last of that span: nothing happened there, and no
    calendar arithmetic can leave the range of years.
    """
    match = _RFC_3339.fullmatch(text)
    if match is None:
        return None
    year, month, day, hour, minute, second = (int(match[n]) for n in range(1, 7))
    milliseconds = int((match[7] or "0").ljust(3, "0")[:3])
    if second == 60:
        second, milliseconds = 59, 999
    offset: tzinfo = UTC
    if match[8]:
        hours, minutes = int(match[9]), int(match[10])
        if hours > 23 or minutes > 59:
            return None
        shift = timedelta(hours=hours, minutes=minutes)
        offset = timezone(-shift if match[8] == "-" else shift)
    try:
        # Year 0 is a leap year as year 4 is; Python's calendar begins with year 1.
        local = datetime(
            year or 4, month, day, hour, minute, second, milliseconds * 1000, tzinfo=offset
        )
    except ValueError:
        return None
    if local.year < EARLIEST.year:
        return EARLIEST
    if local.year > LATEST.year:
        return LATEST
    return min(max(local.astimezone(UTC), EARLIEST), LATEST)


def instant_text(at: datetime) -> str:
    """``YYYY-MM-DDTHH:MM:SS.mmmZ``; raises ValueError for a naive instant."""
    if at.tzinfo is None:
        raise ValueError("a naive instant cannot be answered")
    return at.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
