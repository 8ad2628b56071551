"""What a notebook leaves open, settled by what it shows or by a person's word."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from burrline._notebook_amounts import GRAMS, Amount, mark_of, value_of
from burrline._notebook_cells import Question
from burrline._notebook_columns import Column
from burrline._notebook_words import TOTALS, is_about

FEWEST_READINGS = 4
"""Fewer amounts that only grow may do so by chance."""
LARGEST_GRAMS = 100_000_000
"""More than this the service does not take for a tally."""


@dataclass(frozen=True)
class Settings:
    """What a person told beside the notebook; None is what it must tell itself."""

    is_day_first: bool | None = None
    unit: str | None = None
    year: int | None = None
    decimal_mark: str | None = None
    is_running_total: bool | None = None
    columns: tuple[str, ...] = ()
    counts_repeats: bool = False
    month: tuple[int, int] | None = None
    """Year and month of days that are numbered and no more."""
    is_year_first: bool | None = None
    date_column: str | None = None
    is_serial: bool | None = None
    """Whether dates are days of a spreadsheet, counted."""


class Skipped(Exception):
    """This line says nothing that counts, or (a fault) nothing that can be understood."""

    def __init__(self, reason: str, is_fault: bool = False) -> None:
        super().__init__(reason)
        self.is_fault = is_fault


def grams_of(
    column: Column,
    amount: Amount,
    column_mark: str | None,
    line: int,
    settings: Settings,
    row_unit: str | None = None,
) -> float:
    """A cell's grams; its own unit goes before the column's, and that before a person's."""
    mark = settings.decimal_mark or column_mark
    if mark is None and mark_of(amount.number) is None:
        raise Question(
            "decimal_mark",
            f"Which is the decimal mark in {amount.number!r} (line {line})?",
            (",", "."),
            "--decimal-mark , or --decimal-mark .",
        )
    unit = amount.unit or row_unit or column.unit or settings.unit
    if unit is None:
        raise Question(
            "unit", f"Which unit are the amounts in (line {line})?", tuple(GRAMS), "--unit"
        )
    if amount.is_negative:
        raise Skipped("a negative amount", True)
    try:
        value = value_of(amount.number, mark)
    except ValueError as error:
        raise Skipped(str(error), True) from None
    grams = value * GRAMS[unit]
    if grams > LARGEST_GRAMS:
        raise Skipped("is more than a tally may hold", True)
    return float(grams.quantize(Decimal("0.001")))


def is_meter(
    column: Column,
    shown: Sequence[tuple[date | None, Amount]],
    mark: str | None,
    settings: Settings,
) -> bool:
    """Whether a column goes on counting, by its heading or by a person's word.

    Amounts of days go up and down; those of a running total hardly ever down, in the order of
    their days, but where it begins anew.
    """
    if settings.is_running_total is not None or column.is_meter is not None:
        told = settings.is_running_total
        return bool(column.is_meter) if told is None else told
    try:
        dated = [(day, value_of(one.number, mark or ".")) for day, one in shown]
    except ValueError:
        return False
    if all(day is not None for day, _ in dated):
        dated.sort(key=lambda one: one[0] or date.min)
    values = [value for _, value in dated]
    falls = sum(one > two for one, two in itertools.pairwise(values))
    is_called_total = is_about(column.heading, TOTALS)
    least = 2 if is_called_total else FEWEST_READINGS
    if len(values) == 3 and max(values) < values[0] * Decimal("1.25"):
        least = 3  # hardly more each time
    if len(values) < least or len({*values}) < least or falls > (len(values) - 2) // 6:
        return False
    rises = f"from {values[0]} to {values[-1]}"
    raise Question(
        "is_running_total",
        f"The amounts of {column.heading!r} {'mostly' if falls else 'only'} grow, {rises}: is each "
        "a day's, or a running total?",
        ("day", "total"),
        "--per-day or --running-total",
    )
