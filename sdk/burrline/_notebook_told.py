"""What is told of a notebook: its days, what was left out, and how it was understood."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from burrline._notebook_cells import plain
from burrline._notebook_columns import Layout
from burrline._notebook_sums import Entry, LeftOut


@dataclass(frozen=True)
class Notebook:
    """What a notebook says: grams of days, lines left out, and how it was understood."""

    entries: tuple[Entry, ...]
    left_out: tuple[LeftOut, ...]
    facts: tuple[str, ...]


def said_of(
    layout: Layout, unit: str | None, order: str | None, meters: Mapping[int, bool]
) -> Iterator[str]:
    """Where days, amounts, grinders and notes were found."""
    headings = layout.headings
    until = "" if layout.until is None else f" to {place_of(headings, layout.until)}"
    first = f", the {order} first" if order else ""
    yield f"dates in {place_of(headings, layout.date)}{until}{first}"
    for column in layout.amounts:
        told = column.unit or unit or "their own unit"
        kind = "running totals" if meters[column.place] else "amounts"
        of = f" of {column.grinder}" if column.grinder else ""
        yield f"{kind}{of} in {place_of(headings, column.place)}, {told}"
    if layout.unit is not None:
        yield f"units in {place_of(headings, layout.unit)}"
    if layout.grinder is not None:
        yield f"grinders in {place_of(headings, layout.grinder)}"
    if layout.notes:
        yield f"notes in {', '.join(place_of(headings, n) for n, _ in layout.notes)}"


def place_of(headings: Sequence[str], place: int) -> str:
    named = place < len(headings) and plain(headings[place])
    return f"column {headings[place]!r}" if named else f"column {place + 1}"
