"""What a row of a notebook is by itself: an entry, one with a fault, a total."""

from __future__ import annotations

import re
from collections.abc import Sequence

from burrline._notebook_amounts import amount_in
from burrline._notebook_cells import Row
from burrline._notebook_dates import Days, days_in
from burrline._notebook_words import begins_with_total, is_total_alone


def score_rows(rows: Sequence[Row], *, is_lenient: bool = False) -> int:
    """How many rows have a date in one cell and an amount in another."""
    return sum(is_entry(row, is_lenient) for row in rows)


def is_total(row: Row, days: Days | None) -> bool:
    """Whether a row calls itself a sum, a mean or something carried over.

    In a row of a day only a cell that says nothing else: "Allerheiligen" is no total.
    """
    if days is not None:
        return any(is_total_alone(cell) for cell in row.filled[:3])
    return any(
        (begins_with_total(cell) or is_total_alone(cell)) and amount_in(cell) is None
        for cell in row.filled[:2]
    )


def is_entry(row: Row, is_lenient: bool) -> bool:
    days = [n for n, one in enumerate(row.cells) if days_in(one, is_lenient=is_lenient)]
    return any(
        amount_in(one) is not None
        for n, one in enumerate(row.cells)
        if one and n != (days[0] if days else None)
    ) and bool(days)


def is_faulty_entry(row: Row, is_lenient: bool) -> bool:
    """Whether a row is an entry but for its amount, or but for its date: no headings."""
    dated = [one for one in row.filled if days_in(one, is_lenient=is_lenient)]
    if dated and len(row.filled) > len(dated):
        return True
    others = [one for one in row.filled if amount_in(one) is None]
    return len(others) < len(row.filled) and any(re.search(r"\d\D+\d", one) for one in others)
