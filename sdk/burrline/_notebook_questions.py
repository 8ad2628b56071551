"""What a notebook leaves open, settled by what it shows or by a person's word."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from burrline._notebook_amounts import GRAMS, Amount, mark_of, value_of
from burrline._notebook_cells import Question, Row, Unreadable
from burrline._notebook_columns import Column, Layout
from burrline._notebook_dates import days_in

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


class Skipped(Exception):
    """This line says nothing that counts, or (a fault) nothing that can be understood."""

    def __init__(self, reason: str, is_fault: bool = False) -> None:
        super().__init__(reason)
        self.is_fault = is_fault


def day_order(rows: Sequence[Row], layout: Layout, settings: Settings) -> bool | None:
    """Whether the day stands before the month, as the numbers above twelve show."""
    told: dict[bool, list[int]] = {True: [], False: []}
    open_lines = []
    for row in rows:
        days = days_in(row.cell(layout.date), is_lenient=layout.is_lenient)
        for one, two in days.pairs if days is not None else ():
            if (one > 12) != (two > 12):
                told[one > 12].append(row.line)
            elif one != two:
                open_lines.append(row.line)
    if settings.is_day_first is not None:
        return settings.is_day_first
    if told[True] and told[False]:
        lines = sorted([told[True][0], told[False][0]])
        raise Unreadable("the day stands first in one and the month in the other", lines)
    if not told[True] and not told[False]:
        if open_lines:
            raise Question(
                "is_day_first",
                f"Does the day or the month stand first (line {open_lines[0]})?",
                ("day", "month"),
                "--day-first or --month-first",
            )
        return None
    return bool(told[True])


def grams_of(
    column: Column, amount: Amount, column_mark: str | None, line: int, settings: Settings
) -> float:
    """A cell's grams; its own unit goes before the column's, and that before a person's."""
    mark = settings.decimal_mark or column_mark
    if mark is None and mark_of(amount.number) is None:
        raise Question(
            "decimal_mark",
            f"Is {amount.number!r} (line {line}) a thousand times as much, or a decimal?",
            (",", "."),
            "--decimal-mark , or --decimal-mark .",
        )
    unit = amount.unit or column.unit or settings.unit
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


def is_meter(column: Column, shown: Sequence[Amount], mark: str | None, settings: Settings) -> bool:
    """Whether a column goes on counting, by its heading or by a person's word."""
    if settings.is_running_total is not None or column.is_meter is not None:
        told = settings.is_running_total
        return bool(column.is_meter) if told is None else told
    try:
        values = [value_of(one.number, mark or ".") for one in shown]
    except ValueError:
        return False
    is_rising = all(one <= two for one, two in itertools.pairwise(values))
    if len(values) < 6 or len(set(values)) < 4 or not is_rising:
        return False
    raise Question(
        "is_running_total",
        f"The amounts only grow, from {values[0]} to {values[-1]}: is each a day's, or a "
        "running total?",
        ("day", "total"),
        "--per-day or --running-total",
    )
