"""What ordinary runs tell about the flow, kept as whole numbers by the hour.

A ``StreamCell`` is a memo of facts: sums over the runs of one grinder in one UTC hour that are
alike. ``stream_eligible.fold_runs`` makes the cells of whole hours from their runs; whoever stores
them replaces all cells of an hour at once. Sums of whole numbers do not know in which order they
came, so cells can be added, and taken away again, bit for bit. No cell holds kilograms through the
burrs, a day or what a period says: all that is looked up when cells are read
(``stream_sessions``), as a fact that comes late would shift it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields, replace
from operator import attrgetter
from typing import Any

MICRO = 1_000_000
"""Logarithms are kept in millionths: far below what a run scatters by (5 % and more)."""
UNSTATED = 9
"""The purpose of a run that names none: what a period says, else service."""

CellKey = tuple[
    int, int, int | None, int, int | None, int | None, str | None, int | None, int
]  # hour, left_out, setting_milli, dose_class, rpm, source_no, coffee_lot, feed, purpose


@dataclass(frozen=True, slots=True)
class StreamCell:
    """Runs of one hour that are alike, as sums; all members but the last four are the key.

    ``hour`` counts UTC hours since 1970 (by the start of a run). ``left_out`` is 0 for evidence,
    else the number of a reason in ``stream_eligible.REASONS``: such a cell holds only ``count``
    and its other key members are empty. ``setting_milli``, ``rpm`` (to the nearest 50), the lot,
    ``feed`` (index in ``records.FEEDS``) and ``purpose`` (index in ``records.PURPOSES``, or
    ``UNSTATED``) are what the run itself says, None where it says nothing. With u = round(ln(grams
    / seconds) 10^6), ``sum_micro`` is the sum of u and ``sum_squares_micro`` that of u^2: up to
    10^13 a run, so 64 bits hold the runs of any hour.
    """

    hour: int
    left_out: int
    setting_milli: int | None
    dose_class: int
    rpm: int | None
    source_no: int | None
    coffee_lot: str | None
    feed: int | None
    purpose: int
    count: int
    sum_micro: int
    sum_squares_micro: int
    grams_mg: int


CellRow = tuple[Any, ...]
"""The members of a cell, in their order."""
row_of: Callable[[StreamCell], CellRow] = attrgetter(*(one.name for one in fields(StreamCell)))


def merge_cells(cells: Iterable[StreamCell]) -> tuple[StreamCell, ...]:
    """Add cells with the same key, so that each key stands once.

    ``n = n_a + n_b;  sum u = sum u_a + sum u_b;  sum u^2 = sum u_a^2 + sum u_b^2``

    Parameters
    ----------
    cells : iterable of StreamCell
        In any order; several may have one key.

    Returns
    -------
    tuple of StreamCell
        In the order of their keys (nothing before a value), without those that came to nothing.

    Raises
    ------
    ValueError
        More was taken away than there was.

    Valid
    -----
    Exact: any order and any grouping give the same cells.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> one = StreamCell(7, 0, 4800, 2, None, None, None, 0, 0, 1, 5, 25, 18_000)
    >>> two = StreamCell(7, 0, 4800, 2, None, None, None, 0, 0, 1, 7, 49, 18_200)
    >>> [(cell.count, cell.sum_micro, cell.grams_mg) for cell in merge_cells([two, one])]
    [(2, 12, 36200)]
    """
    sums: dict[CellKey, list[int]] = {}
    for cell in cells:
        found = sums.setdefault(_key(cell), [0, 0, 0, 0])
        found[0] += cell.count
        found[1] += cell.sum_micro
        found[2] += cell.sum_squares_micro
        found[3] += cell.grams_mg
    merged = []
    for key in sorted(sums, key=_in_order):
        count, total, squares, grams_mg = sums[key]
        if count < 0 or (count == 0 and (total or squares or grams_mg)):
            raise ValueError(f"more was taken away than there was in {key}")
        if count:
            merged.append(StreamCell(*key, count, total, squares, grams_mg))
    return tuple(merged)


def negate_cell(cell: StreamCell) -> StreamCell:
    """Turn a cell into what takes it away again when both are merged.

    ``n -> -n;  sum u -> -sum u;  sum u^2 -> -sum u^2``

    Parameters
    ----------
    cell : StreamCell
        A cell that was added before.

    Returns
    -------
    StreamCell
        With the same key; only good for merging.

    Raises
    ------
    Nothing.

    Valid
    -----
    Exact.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> one = StreamCell(7, 0, 4800, 2, None, None, None, 0, 0, 1, 5, 25, 18_000)
    >>> merge_cells([one, negate_cell(one)])
    ()
    """
    return replace(
        cell,
        count=-cell.count,
        sum_micro=-cell.sum_micro,
        sum_squares_micro=-cell.sum_squares_micro,
        grams_mg=-cell.grams_mg,
    )


def _key(cell: StreamCell) -> CellKey:
    return (
        cell.hour,
        cell.left_out,
        cell.setting_milli,
        cell.dose_class,
        cell.rpm,
        cell.source_no,
        cell.coffee_lot,
        cell.feed,
        cell.purpose,
    )


def _in_order(key: CellKey) -> tuple[tuple[bool, int | str], ...]:
    return tuple((member is not None, 0 if member is None else member) for member in key)
