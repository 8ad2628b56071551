"""What no device knows, told for a stretch of time: setting, lot, speed, purpose, feed.

A period says a field where its value is not None. Where several do, the one that began last holds.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any


@dataclass(frozen=True)
class Period:
    """What holds for one grinder over [from, to); ``to_ms`` None = until further notice."""

    period_id: str
    from_ms: int
    to_ms: int | None
    values: Mapping[str, Any]

    def __post_init__(self) -> None:
        if self.to_ms is not None and self.to_ms <= self.from_ms:
            raise ValueError(f"the period ends at {self.to_ms}, not after {self.from_ms} ms")


def value_at(periods: Iterable[Period], name: str, at_ms: int) -> Any:
    """Look up what the periods of a grinder say of a field at an instant.

    ``value of the period with the greatest (from, period_id) among from <= t < to that says it``

    Parameters
    ----------
    periods : iterable of Period
        Those of the grinder that are in force, in any order.
    name : str
        The field.
    at_ms : int
        The instant t in ms.

    Returns
    -------
    object
        The value, None where no period says the field.

    Raises
    ------
    Nothing; a period that ends before it begins is refused by ``Period``.

    Valid
    -----
    Each field is looked up by itself, so a later period that leaves it out does not hide it.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> spring = Period("p-1", 0, None, {"setting": 4.8, "coffee_lot": "K-7"})
    >>> trial = Period("p-2", 1_000, 2_000, {"setting": 5.2})
    >>> [value_at([trial, spring], "setting", at_ms) for at_ms in (-1, 999, 1_000, 2_000)]
    [None, 4.8, 5.2, 4.8]
    >>> value_at([trial, spring], "coffee_lot", 1_500)
    'K-7'
    """
    latest: Period | None = None
    for period in periods:
        if (
            period.from_ms <= at_ms
            and (period.to_ms is None or at_ms < period.to_ms)
            and period.values.get(name) is not None
            and (latest is None or _rank(period) > _rank(latest))
        ):
            latest = period
    return None if latest is None else latest.values[name]


def spans_of(
    periods: Iterable[Period], name: str, low_ms: int, high_ms: int
) -> list[tuple[int, int, Any]]:
    """Cut a window into the stretches over which the periods say one value of a field.

    ``value_at(t) = value for t in [low, high)`` of each span, no value between spans

    Parameters
    ----------
    periods : iterable of Period
        Those of the grinder that are in force, in any order.
    name : str
        The field.
    low_ms, high_ms : int
        The window [low, high) in ms.

    Returns
    -------
    list of tuple
        Low and high end in ms and the value: disjoint, in order, as long as can be (what two
        periods say alike is one span), only where some period says the field.

    Raises
    ------
    ValueError
        The window is reversed.

    Valid
    -----
    Any number of periods, in O(n log n). A number and the same one of another type differ.

    Source
    ------
    Derived here (sweep over borders), see the test against ``value_at`` at every instant.

    Examples
    --------
    >>> spring = Period("p-1", 0, None, {"setting": 4.8})
    >>> trial = Period("p-2", 1_000, 2_000, {"setting": 5.2})
    >>> spans_of([trial, spring], "setting", -500, 3_000)
    [(0, 1000, 4.8), (1000, 2000, 5.2), (2000, 3000, 4.8)]
    """
    if low_ms > high_ms:
        raise ValueError(f"the window is reversed: {low_ms} > {high_ms} ms")
    saying = sorted(
        (
            period
            for period in periods
            if period.values.get(name) is not None
            and period.from_ms < high_ms
            and (period.to_ms is None or period.to_ms > low_ms)
        ),
        key=_rank,
    )
    borders = {low_ms, high_ms}
    for period in saying:
        borders.add(max(period.from_ms, low_ms))
        borders.add(high_ms if period.to_ms is None else min(period.to_ms, high_ms))
    spans: list[tuple[int, int, Any]] = []
    begun: list[int] = []  # minus the rank of each period that has begun; the latest is first
    following = 0
    for low, high in pairwise(sorted(borders)):
        while following < len(saying) and saying[following].from_ms <= low:
            heapq.heappush(begun, -following)
            following += 1
        while begun and _has_ended(saying[-begun[0]], low):
            heapq.heappop(begun)
        if not begun:
            continue
        value = saying[-begun[0]].values[name]
        if spans and spans[-1][1] == low and _is_same(spans[-1][2], value):
            spans[-1] = (spans[-1][0], high, value)
        else:
            spans.append((low, high, value))
    return spans


def _rank(period: Period) -> tuple[int, str]:
    return period.from_ms, period.period_id


def _has_ended(period: Period, at_ms: int) -> bool:
    return period.to_ms is not None and period.to_ms <= at_ms


def _is_same(one: Any, other: Any) -> bool:
    return type(one) is type(other) and bool(one == other)
