"""A table of particle sizes as text (CSV), read into the ``distribution`` of a grind sample.

Three tables are understood, by the names in their first line::

    aperture_micrometres,retained_grams      sieves, in any order of rows, and one row "pan"
    edge_micrometres,volume_fraction         classes between edges; one value stays empty: the
    edge_micrometres,count                   first one where values stand beside the upper edge
                                             of their class, the last one where beside the lower
    diameter_micrometres                     single particles

A class table may instead name both edges, ``lower_edge_micrometres,upper_edge_micrometres``.
Anything that can be read in two ways is refused with a question, never guessed.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

from ._grind_cells import GrindTableRefused, Row, number_of, rows_of, unknown_columns

__all__ = ["GrindTableRefused", "read_grind_table"]

_PAN = "pan"
_TABLES = (
    frozenset({"aperture_micrometres", "retained_grams"}),
    frozenset({"edge_micrometres", "volume_fraction"}),
    frozenset({"edge_micrometres", "count"}),
    frozenset({"lower_edge_micrometres", "upper_edge_micrometres", "volume_fraction"}),
    frozenset({"lower_edge_micrometres", "upper_edge_micrometres", "count"}),
    frozenset({"diameter_micrometres"}),
)
_SUM_SLACK = 0.01


def read_grind_table(text: str, *, decimal_mark: str = ".") -> dict[str, Any]:
    """The ``distribution`` object that a table of sieves, classes or particles describes.

    Columns are parted by comma, semicolon or tab; ``decimal_mark`` is ``.`` or ``,``. Raises
    ``GrindTableRefused`` for anything that is not plainly one of the tables above.

    >>> read_grind_table("aperture_micrometres,retained_grams\\n400,9.5\\n200,12\\npan,3.5\\n")
    {'kind': 'sieve', 'aperture_micrometres': [400.0, 200.0], 'retained_grams': [9.5, 12.0, 3.5]}
    """
    if decimal_mark not in (".", ","):
        raise ValueError(f"decimal_mark must be '.' or ',', not {decimal_mark!r}")
    names, rows = rows_of(text, decimal_mark)
    columns = dict(zip(names, range(len(names)), strict=True))
    wanted = frozenset(names)
    if wanted not in _TABLES:
        raise unknown_columns(names, _TABLES)
    if "aperture_micrometres" in wanted:
        return _sieves(rows, columns, decimal_mark)
    if "diameter_micrometres" in wanted:
        return {
            "kind": "particles",
            "diameter_micrometres": [
                number_of(cells[0], number, decimal_mark) for number, cells in rows
            ],
        }
    quantity = "count" if "count" in wanted else "volume_fraction"
    if "edge_micrometres" in wanted:
        edges, values = _beside_one_edge(rows, columns, quantity, decimal_mark)
    else:
        edges, values = _between_two_edges(rows, columns, quantity, decimal_mark)
    if quantity == "volume_fraction":
        _check_fractions(values)
        return {"kind": "classes", "edge_micrometres": edges, "volume_fraction": values}
    for value in values:
        if value != math.floor(value):
            raise GrindTableRefused(
                "count_not_whole",
                f"{value:g} is no count of particles; shares by number are not taken.",
            )
    counts = [int(value) for value in values]
    return {"kind": "classes", "edge_micrometres": edges, "count": counts}


def _sieves(rows: list[Row], columns: dict[str, int], decimal_mark: str) -> dict[str, Any]:
    at, of = columns["aperture_micrometres"], columns["retained_grams"]
    pans: list[tuple[int, float]] = []
    sieves: list[tuple[float, float, int]] = []
    for number, cells in rows:
        mass = number_of(cells[of], number, decimal_mark)
        if cells[at].lower() == _PAN:
            pans.append((number, mass))
            continue
        aperture = number_of(cells[at], number, decimal_mark)
        if aperture == 0:
            raise GrindTableRefused(
                "aperture_zero", "No sieve has aperture 0; write pan for the pan.", number
            )
        sieves.append((aperture, mass, number))
    if len(pans) != 1:
        raise GrindTableRefused(
            "pan_missing" if not pans else "pan_repeated",
            "Add a row pan with what lay in it (0 if it was empty)."
            if not pans
            else "There are several rows pan.",
            pans[1][0] if pans else None,
        )
    if not sieves:
        raise GrindTableRefused("no_sieves", "There is no sieve, only the pan.")
    sieves.sort(reverse=True)
    for before, after in pairwise(sieves):
        if before[0] == after[0]:
            raise GrindTableRefused(
                "aperture_repeated", f"The aperture {after[0]:g} is there twice.",
                max(before[2], after[2]),
            )  # fmt: skip
    masses = [mass for _, mass, _ in sieves]
    return {
        "kind": "sieve",
        "aperture_micrometres": [aperture for aperture, _, _ in sieves],
        "retained_grams": [*masses, pans[0][1]],
    }


def _beside_one_edge(
    rows: list[Row], columns: dict[str, int], quantity: str, decimal_mark: str
) -> tuple[list[float], list[float]]:
    at, of = columns["edge_micrometres"], columns[quantity]
    pairs = [
        (number_of(cells[at], number, decimal_mark), cells[of], number) for number, cells in rows
    ]
    _check_order([(edge, number) for edge, _, number in pairs])
    empty = [index for index, (_, cell, _) in enumerate(pairs) if not cell]
    if not empty:
        raise GrindTableRefused(
            "which_edge",
            f"{len(pairs)} values stand beside {len(pairs)} edges, so one class has no second "
            "edge. Do they stand beside the upper edge? Then add the lowest edge as first row "
            "with an empty value. Beside the lower? Then add the highest edge as last row.",
        )
    if len(pairs) < 2 or empty not in ([0], [len(pairs) - 1]):
        raise GrindTableRefused(
            "which_edge",
            "Exactly one value may be empty, the first or the last.",
            pairs[empty[-1]][2],
        )
    values = [
        number_of(cell, number, decimal_mark)
        for index, (_, cell, number) in enumerate(pairs)
        if index != empty[0]
    ]
    edges = [edge for edge, _, _ in pairs]
    return (edges, values) if edges[0] < edges[-1] else (edges[::-1], values[::-1])


def _between_two_edges(
    rows: list[Row], columns: dict[str, int], quantity: str, decimal_mark: str
) -> tuple[list[float], list[float]]:
    names = ("lower_edge_micrometres", "upper_edge_micrometres", quantity)
    classes = sorted(
        (*(number_of(cells[columns[name]], number, decimal_mark) for name in names), number)
        for number, cells in rows
    )
    for low, high, _, number in classes:
        if not low < high:
            raise GrindTableRefused(
                "edges_not_ordered", f"The lower edge {low:g} is not below {high:g}.", int(number)
            )
    for before, after in pairwise(classes):
        if before[1] != after[0]:
            raise GrindTableRefused(
                "classes_not_joined",
                f"One class ends at {before[1]:g}, the next begins at {after[0]:g}.",
                int(after[3]),
            )
    return [classes[0][0], *(one[1] for one in classes)], [one[2] for one in classes]


def _check_order(edges: list[tuple[float, int]]) -> None:
    is_rising = edges[0][0] < edges[-1][0]
    for (before, _), (after, number) in pairwise(edges):
        if before == after or (before < after) != is_rising:
            raise GrindTableRefused(
                "edges_not_ordered",
                f"The edges neither only rise nor only fall: {after:g} after {before:g}.",
                number,
            )


def _check_fractions(values: list[float]) -> None:
    total = math.fsum(values)
    for whole in (1.0, 100.0):
        is_run = all(a <= b for a, b in pairwise(values)) or all(
            a >= b for a, b in pairwise(values)
        )
        ends = abs(max(values) - whole) <= _SUM_SLACK * whole
        if is_run and ends and total > 1.2 * whole:
            raise GrindTableRefused(
                "cumulative",
                f"The values run to {whole:g} by themselves: a cumulative column. Give what each "
                "class holds.",
            )
    if abs(total - 100) <= 100 * _SUM_SLACK:
        raise GrindTableRefused(
            "percent_for_fraction", f"The values sum to {total:g}: percent? Divide them by 100."
        )
    if abs(total - 1) > _SUM_SLACK:
        raise GrindTableRefused(
            "fractions_do_not_sum", f"Volume fractions must sum to 1, these sum to {total:g}."
        )
