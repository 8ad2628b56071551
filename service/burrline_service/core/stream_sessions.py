"""The cells of ordinary runs as they are read: by day, kilograms through the burrs and setting.

Kilograms, days, seatings and periods are looked up here, each time anew: a run, a tally or a burr
set that comes late shifts them for every later hour and touches no cell.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from .records import FEEDS, PURPOSES
from .stream_cells import UNSTATED, CellRow, StreamCell, row_of
from .stream_eligible import EVIDENCE_PURPOSES, REASONS, RPM_STEP
from .stream_periods import Told

BIN_MG = 500_000
"""Grinds within half a kilogram of one day and setting are one cell of the fit (our choice)."""
_HOPPER = "hopper"


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
    return read_rows(map(row_of, cells), places, told)


def read_rows(
    rows: Iterable[CellRow],
    places: Mapping[int, HourPlace],
    told: Mapping[int, Told] | None = None,
) -> Sessions:
    """Bin cells that are given as plain rows: quicker, and there are tens of thousands.

    ``read_sessions``

    Parameters
    ----------
    rows : iterable of tuple
        The members of each cell in their order (``row_of``); quickest in the order of hours.
    places : mapping of int to HourPlace
        As for ``read_sessions``.
    told : mapping of int to Told or None
        As for ``read_sessions``.

    Returns
    -------
    Sessions
        The same as ``read_sessions`` gives.

    Raises
    ------
    Nothing.

    Valid
    -----
    As ``read_sessions``.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> row = (7, 0, 4800, 2, None, None, None, 0, 0, 2, 10, 52, 36_000)
    >>> read_rows([row], {7: HourPlace(739_000, 600_000, 700_000)}).cells[0].grinds_count
    2
    """
    sums: dict[tuple[Any, ...], list[int]] = {}
    left_out: Counter[str] = Counter()
    nothing, last_hour = Told(), None
    periods, place = nothing, None
    # of each way to be alike: why it is left out, or the setting and what it is sorted by
    alike: dict[tuple[Any, ...], tuple[int, tuple[Any, ...]] | str] = {}
    names: dict[tuple[Any, ...], tuple[Any, ...]] = {}
    session = bin_number = zero_milli = seating = twice_mg = 0
    for row in rows:
        hour, reason, *_ = row
        if hour != last_hour:
            last_hour, place = hour, places.get(hour)
            if place is not None:
                periods = told.get(hour, nothing) if told else nothing
                session, from_mg, to_mg, seating, zero = place
                twice_mg, zero_milli = from_mg + to_mg, zero or 0
                bin_number = twice_mg // (2 * BIN_MG)
        count = row[9]
        if place is None or reason:
            left_out["burrs_out" if place is None else REASONS[reason]] += count
            continue
        own = row[2:9]
        found = alike.get(own) if periods is nothing else None
        if found is None:
            found = _alike(StreamCell(*row), periods, names)
            if periods is nothing:
                alike[own] = found
        if isinstance(found, str):
            left_out[found] += count
            continue
        key = (session, bin_number, found[0] - zero_milli, seating, row[3], found[1])
        total = sums.get(key)
        if total is None:
            sums[key] = [count, row[10], row[11], count * twice_mg]
        else:
            total[0] += count
            total[1] += row[10]
            total[2] += row[11]
            total[3] += count * twice_mg
    ends: dict[int, int] = {}
    for place in places.values():
        if place.to_mg > ends.get(place.session, -1):
            ends[place.session] = place.to_mg
    return Sessions(
        cells=tuple(
            SessionCell(*key[:5], *names[key[5]], *sums[key])
            for key in sorted(sums)
            if sums[key][0]
        ),
        closes=tuple(Close(session, ends[session]) for session in sorted(ends)),
        left_out={reason: left_out[reason] for reason in sorted(left_out) if left_out[reason]},
    )


def _alike(
    cell: StreamCell, told: Told, names: dict[tuple[Any, ...], tuple[Any, ...]]
) -> tuple[int, tuple[Any, ...]] | str:
    """Setting and what stands for rpm, source and lot; or why the cell is left out."""
    found = _completed(cell, told)
    if isinstance(found, str):
        return found
    setting_milli, rpm, lot = found
    sorted_by = _in_order((rpm, cell.source_no, lot))
    names[sorted_by] = (rpm, cell.source_no, lot)
    return setting_milli, sorted_by


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


def _in_order(members: tuple[int | None, int | None, str | None]) -> tuple[Any, ...]:
    rpm, source_no, lot = members  # what may be unrecorded
    return (rpm is not None, rpm or 0, source_no is not None, source_no or 0,
            lot is not None, lot or "")  # fmt: skip
