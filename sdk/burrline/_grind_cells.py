"""The cells of a table of particle sizes: split, named, read as numbers, refused when unclear."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,4})?")

Row = tuple[int, list[str]]


class GrindTableRefused(ValueError):
    """A table that cannot be read in one way only; ``str()`` is a sentence for a person.

    ``code`` names the trouble for programs; ``line_number`` is where, None for the whole.
    """

    def __init__(self, code: str, detail: str, line_number: int | None = None) -> None:
        super().__init__(detail if line_number is None else f"Line {line_number}: {detail}")
        self.code, self.line_number = code, line_number


def rows_of(text: str, decimal_mark: str) -> tuple[list[str], list[Row]]:
    """The column names, and every other line that is not empty, split, with its number."""
    lines = [
        (number, line)
        for number, line in enumerate(text.removeprefix("\ufeff").splitlines(), start=1)
        if line.strip(" \t,;")
    ]
    if not lines:
        raise GrindTableRefused("empty_table", "The table is empty.")
    first_number, first = lines[0]
    found = [mark for mark in ("\t", ";", ",") if mark in first]
    if len(found) > 1:
        raise GrindTableRefused(
            "which_separator",
            "The names are parted by several of tab, semicolon and comma; use one.",
            first_number,
        )
    mark = found[0] if found else None
    if mark == "," and decimal_mark == ",":
        raise GrindTableRefused(
            "which_separator",
            "Commas cannot both part the columns and mark decimals; part columns by semicolons.",
            first_number,
        )
    names = [name.strip().strip('"') for name in (first.split(mark) if mark else [first])]
    if len(set(names)) != len(names):
        raise GrindTableRefused("name_repeated", "A column name is there twice.", first_number)
    rows = []
    for number, line in lines[1:]:
        cells = [cell.strip().strip('"').strip() for cell in (line.split(mark) if mark else [line])]
        if len(cells) != len(names):
            raise GrindTableRefused(
                "cell_count",
                f"{len(cells)} cells stand under {len(names)} column names"
                + (" (decimal commas?)." if len(cells) > len(names) and mark == "," else "."),
                number,
            )
        rows.append((number, cells))
    if not rows:
        raise GrindTableRefused("empty_table", "The table has names and no rows.", first_number)
    return names, rows


def unknown_columns(names: list[str], tables: Sequence[frozenset[str]]) -> GrindTableRefused:
    """The refusal of columns that make no table, with a question where one can be guessed."""
    joined = " ".join(names).lower()
    shown = ascii(", ".join(names)[:120])
    known = "; ".join(", ".join(sorted(table)) for table in tables)
    for code, pattern, asked in (
        (
            "cumulative",
            r"cum|passing|finer|undersize|oversize|coarser",
            "Cumulative columns are not taken: give what each sieve or class holds.",
        ),
        (
            "percent_for_fraction",
            r"percent|%",
            "Percent are not taken: divide by 100 and name the column volume_fraction, or give "
            "retained_grams.",
        ),
        (
            "which_edge",
            r"(upper|lower)_edge_micrometres(?!.*(upper|lower)_edge)",
            "Name both edges, or use edge_micrometres with one more edge than values.",
        ),
        (
            "which_unit",
            r"aperture|edge|size|diameter|micron|[uµμ]m\b|mm\b|millimet|retained|mass|weight",
            "Say the unit with our own names: sizes in micrometres (1 mm is 1000 micrometres), "
            "masses in grams.",
        ),
    ):
        if re.search(pattern, joined):
            return GrindTableRefused(
                code, f"The columns {shown} are not known. {asked} Known tables: {known}.", 1
            )
    return GrindTableRefused(
        "unknown_columns", f"The columns {shown} are not known. Known tables: {known}.", 1
    )


def number_of(cell: str, line_number: int, decimal_mark: str) -> float:
    """A cell as a number that is finite and not negative."""
    if decimal_mark == ",":
        if "." in cell:
            raise GrindTableRefused(
                "which_decimal_mark", f"{cell[:40]!r} has a point; decimals are commas here.",
                line_number,
            )  # fmt: skip
        cell = cell.replace(",", ".", 1)
    elif "," in cell:
        raise GrindTableRefused(
            "which_decimal_mark",
            f"{cell[:40]!r} has a comma; if it marks decimals, say that the decimal mark is ','.",
            line_number,
        )
    if not cell:
        raise GrindTableRefused("empty_cell", "A number is missing.", line_number)
    if not (cell.isascii() and _NUMBER.fullmatch(cell)):
        raise GrindTableRefused("not_a_number", f"{cell[:40]!a} is no number.", line_number)
    value = float(cell)
    if not 0 <= value < math.inf:
        raise GrindTableRefused(
            "out_of_range", f"{cell[:40]} is negative or too large.", line_number
        )
    return value
