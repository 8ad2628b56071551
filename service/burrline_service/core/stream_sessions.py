"""The cells of ordinary runs as they are read: by day, kilograms through the burrs and setting.

Kilograms, days, seatings and periods are looked up here, each time anew: a run, a tally or a burr
set that comes late shifts them for every later hour and touches no cell.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from .periods import Period, spans_of
from .records import FEEDS, PURPOSES
from .stream_cells import UNSTATED, StreamCell
from .stream_eligible import EVIDENCE_PURPOSES, HOUR_MS, REASONS, RPM_STEP

BIN_MG = 500_000
"""Grinds within half a kilogram of one day and setting are one cell of the fit (our choice)."""
_HOPPER = "hopper"
_MEMBERS = ("setting", "coffee_lot", "rpm", "purpose", "feed")


class HourPlace(NamedTuple):
    """Where an hour lies in the life of a burr set.

    ``session`` numbers the local calendar day of the hour's middle (``date.toordinal``).
    ``from_mg`` and ``to_mg`` count all that went through the burrs before the hour and by its end.
    ``seating`` counts how often the burrs had been out, ``zero_milli`` is where they touch since.
    """

    session: int
    from_mg: int
    to_mg: int
    seating: int = 0
    zero_milli: int | None = None


@dataclass(frozen=True)
class Told:
    """What periods say of a whole hour; ``is_changing`` names what they change within it."""

    values: Mapping[str, Any] = field(default_factory=dict)
    is_changing: frozenset[str] = frozenset()


class SessionCell(NamedTuple):
    """Grinds of one day that are alike, within half a kilogram: what the fit reads.

    ``setting_milli`` counts from where the burrs touch. ``sum_twice_place_mg`` is the sum, over the
    grinds, of twice the milligrams through the burrs at the middle of their hours.
    """

    session: int
    bin: int
    setting_milli: int
    seating: int
    dose_class: int
    rpm: int | None
    source_no: int | None
    coffee_lot: str | None
    grinds_count: int
    sum_micro: int
    sum_squares_micro: int
    sum_twice_place_mg: int


class Close(NamedTuple):
    """The end of a day: what had gone through the burrs by then."""

    session: int
    to_mg: int


@dataclass(frozen=True)
class Sessions:
    """All evidence on the flow of one burr set, in order, and how many grinds were left out why.

    Beside the reasons of ``stream_eligible.REASONS``: ``burrs_out`` (a burr set or seating changed
    within the hour), ``changed_in_hour``, ``feed_unrecorded`` and ``setting_unrecorded``.
    """

    cells: tuple[SessionCell, ...] = ()
    closes: tuple[Close, ...] = ()
    left_out: Mapping[str, int] = field(default_factory=dict)


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


def read_sessions(
    cells: Iterable[StreamCell],
    places: Mapping[int, HourPlace],
    told: Mapping[int, Told] | None = None,
) -> Sessions:
    """Bin the cells of hours by day, half kilogram and setting, each with what periods add.

    ``bin = floor((from + to) / 2 / 0.5 kg);  setting = (own or the period's) - zero``

    Parameters
    ----------
    cells : iterable of StreamCell
        Of one grinder, in any order and grouping.
    places : mapping of int to HourPlace
        For every hour in which the burr set ground anything, but not for hours in which it, or
        another one, came, left or was seated anew.
    told : mapping of int to Told or None
        What periods say of these hours (``told_by_periods``).

    Returns
    -------
    Sessions
        Of all days, closed or not.

    Raises
    ------
    Nothing.

    Valid
    -----
    Exact: depends on the sums of the cells only. What a run says itself goes before a period.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> cell = StreamCell(7, 0, 4800, 2, None, None, None, 0, 0, 2, 10, 52, 36_000)
    >>> found = read_sessions([cell], {7: HourPlace(739_000, 600_000, 700_000, 1, 300)})
    >>> [(c.session, c.bin, c.setting_milli, c.grinds_count) for c in found.cells], found.closes
    ([(739000, 1, 4500, 2)], (Close(session=739000, to_mg=700000),))
    """
    sums: dict[tuple[Any, ...], list[int]] = {}
    left_out: Counter[str] = Counter()
    nothing = Told()
    completed: dict[tuple[Any, ...], tuple[int, int | None, str | None] | str] = {}
    for cell in cells:
        place = places.get(cell.hour)
        if place is None or cell.left_out:
            left_out["burrs_out" if place is None else REASONS[cell.left_out]] += cell.count
            continue
        periods = told.get(cell.hour, nothing) if told else nothing
        own = (cell.setting_milli, cell.rpm, cell.coffee_lot, cell.feed, cell.purpose)
        if periods is nothing:
            found = completed.get(own)
            if found is None:
                found = completed[own] = _completed(cell, nothing)
        else:
            found = _completed(cell, periods)
        if isinstance(found, str):
            left_out[found] += cell.count
            continue
        setting_milli, rpm, coffee_lot = found
        twice = place.from_mg + place.to_mg
        key = (
            place.session,
            twice // (2 * BIN_MG),
            setting_milli - (place.zero_milli or 0),
            place.seating,
            cell.dose_class,
            rpm,
            cell.source_no,
            coffee_lot,
        )
        total = sums.setdefault(key, [0, 0, 0, 0])
        total[0] += cell.count
        total[1] += cell.sum_micro
        total[2] += cell.sum_squares_micro
        total[3] += cell.count * twice
    ends: dict[int, int] = {}
    for place in places.values():
        ends[place.session] = max(place.to_mg, ends.get(place.session, 0))
    return Sessions(
        cells=tuple(
            SessionCell(*key, *sums[key]) for key in sorted(sums, key=_in_order) if sums[key][0]
        ),
        closes=tuple(Close(session, ends[session]) for session in sorted(ends)),
        left_out={reason: left_out[reason] for reason in sorted(left_out) if left_out[reason]},
    )


def _completed(cell: StreamCell, told: Told) -> tuple[int, int | None, str | None] | str:
    """Setting, rpm and lot of a cell with what periods add, or why it is left out."""
    values, changing = told.values, told.is_changing
    purpose: str | None = None if cell.purpose == UNSTATED else PURPOSES[cell.purpose]
    feed: str | None = None if cell.feed is None else FEEDS[cell.feed]
    own = {
        "setting": cell.setting_milli,
        "coffee_lot": cell.coffee_lot,
        "rpm": cell.rpm,
        "purpose": purpose,
        "feed": feed,
    }
    if any(own[name] is None for name in changing):
        return "changed_in_hour"
    if (purpose or values.get("purpose") or "service") not in EVIDENCE_PURPOSES:
        return "not_service"
    feed = feed or values.get("feed")
    if feed != _HOPPER:
        return "feed_unrecorded" if feed is None else "single_dosed"
    setting_milli = cell.setting_milli
    if setting_milli is None:
        if values.get("setting") is None:
            return "setting_unrecorded"
        setting_milli = round(1000 * values["setting"])
    rpm = cell.rpm
    if rpm is None and values.get("rpm") is not None:
        rpm = round(values["rpm"] / RPM_STEP) * RPM_STEP
    return setting_milli, rpm, cell.coffee_lot or values.get("coffee_lot")


def _in_order(key: tuple[Any, ...]) -> tuple[Any, ...]:
    rpm, source_no, lot = key[5:]  # what may be unrecorded
    return (*key[:5], rpm is not None, rpm or 0, source_no is not None, source_no or 0,
            lot is not None, lot or "")  # fmt: skip
