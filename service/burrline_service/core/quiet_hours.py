"""Quiet hours: when notices and cautions call nobody."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

from .coverage import open_spans

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def quiet_until(
    at: datetime, *, severity: str, quiet_hours: Mapping[str, Any] | None, time_zone: str
) -> datetime | None:
    """Tell until when something of a severity is held back at an instant.

    ``end of the quiet span [low, high) that holds t; never for severity alert``

    Parameters
    ----------
    at : datetime
        The instant t, aware.
    severity : str
        ``notice``, ``caution`` or ``alert``.
    quiet_hours : mapping or None
        For each of ``mon`` to ``sun`` its pairs of local times, as opening hours have it.
    time_zone : str
        Name of the site's time zone.

    Returns
    -------
    datetime or None
        UTC; None = not held back.

    Raises
    ------
    ValueError
        The instant is naive, or the hours or the zone are malformed.

    Valid
    -----
    Spans that meet are one; quiet around the clock is told as quiet for 8 days.

    Source
    ------
    ``open_spans``.

    Examples
    --------
    >>> from datetime import UTC
    >>> night = {"mon": [["22:00", "06:00"]]}
    >>> quiet_until(datetime(2026, 5, 4, 23, tzinfo=UTC), severity="notice",
    ...     quiet_hours=night, time_zone="UTC").isoformat()
    '2026-05-05T06:00:00+00:00'
    """
    if severity == "alert" or not quiet_hours:
        return None
    spans = open_spans(at - timedelta(days=2), at + timedelta(days=8), time_zone, quiet_hours, ())
    at_ms = (at - _EPOCH) // timedelta(milliseconds=1)
    ends = [high for low, high in spans if low <= at_ms < high]
    return _EPOCH + timedelta(milliseconds=ends[0]) if ends else None
