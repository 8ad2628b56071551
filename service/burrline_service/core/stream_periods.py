"""What periods say of whole hours, for runs that leave it out."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from .periods import Period, spans_of
from .stream_eligible import HOUR_MS

_MEMBERS = ("setting", "coffee_lot", "rpm", "purpose", "feed")


@dataclass(frozen=True)
class Told:
    """What periods say of a whole hour; ``is_changing`` names what they change within it."""

    values: Mapping[str, Any] = field(default_factory=dict)
    is_changing: frozenset[str] = frozenset()


def told_by_periods(periods: Iterable[Period], hours: Collection[int]) -> dict[int, Told]:
    """Look up what periods say of whole hours.

    ``value for all t in [hour, hour + 1), or changing``

    Parameters
    ----------
    periods : iterable of Period
        Those of the grinder that are in force, in any order.
    hours : collection of int
        UTC hours since 1970.

    Returns
    -------
    dict
        Hour -> ``Told``; hours of which no period says anything are not in it.

    Raises
    ------
    Nothing.

    Valid
    -----
    Any number of periods and hours.

    Source
    ------
    Definition made here: after a change within the hour nobody knows which grind was before it.

    Examples
    --------
    >>> told = told_by_periods([Period("p-1", 5_400_000, None, {"setting": 4.8})], [0, 1, 2])
    >>> told[1].is_changing, told[2].values
    (frozenset({'setting'}), {'setting': 4.8})
    """
    if not hours:
        return {}
    periods = list(periods)
    values: dict[int, dict[str, Any]] = {}
    changing: dict[int, set[str]] = {}
    for name in _MEMBERS:
        spans = spans_of(periods, name, min(hours) * HOUR_MS, (max(hours) + 1) * HOUR_MS)
        starts = [low for low, _, _ in spans]
        for hour in hours:
            low, high = hour * HOUR_MS, (hour + 1) * HOUR_MS
            place = bisect_right(starts, low) - 1
            if place >= 0 and spans[place][1] >= high:
                values.setdefault(hour, {})[name] = spans[place][2]
            elif (place >= 0 and spans[place][1] > low) or (
                place + 1 < len(spans) and starts[place + 1] < high
            ):
                changing.setdefault(hour, set()).add(name)
    return {
        hour: Told(values.get(hour, {}), frozenset(changing.get(hour, ())))
        for hour in sorted({*values, *changing})
    }
