"""A notebook of kilograms, read as people keep them: pure, no question asked twice.

``read_notebook`` gives the days and their grams, and every line that was left out with the
reason. What only a person can tell (which of two numbers is the month, which unit) is raised as a
``Question``; the answer goes into ``Settings``.
"""

from __future__ import annotations

import itertools
import re
from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from burrline._notebook_amounts import Amount, amount_in, common_mark
from burrline._notebook_cells import (
    SEPARATORS,
    Question,
    Row,
    Unreadable,
    best_split,
    plain,
    text_of,
)
from burrline._notebook_columns import Column, Layout, days_of_week, is_total, layout_of, score_rows
from burrline._notebook_dates import Days, days_in, year_in
from burrline._notebook_questions import Settings, Skipped, day_order, grams_of, is_meter
from burrline._notebook_sums import Entry, LeftOut, added_up, differences, without_overlaps

__all__ = ["Entry", "LeftOut", "Notebook", "Question", "Settings", "Unreadable", "read_notebook"]

OLDEST = date(1990, 1, 1)
MOST_DAYS = 366


@dataclass(frozen=True)
class Notebook:
    """What a notebook says: grams of days, lines left out, and how it was understood."""

    entries: tuple[Entry, ...]
    left_out: tuple[LeftOut, ...]
    facts: tuple[str, ...]


def read_notebook(
    content: bytes,
    settings: Settings = Settings(),  # noqa: B008 (frozen)
    *,
    today: date,
    known_names: Collection[str] = (),
) -> Notebook:
    """Read a notebook; ``known_names`` are grinders that columns or cells may name.

    ``Unreadable``: it makes no sense. ``Question``: somebody has to say more. Days from ``today``
    on are left out: they are not over.

    >>> notebook = read_notebook(
    ...     b"Datum;kg\\n1.3.2026;12,5\\n2.3.2026;closed\\nSumme;12,5\\n", today=date(2026, 4, 1)
    ... )
    >>> [(str(one.first), one.grams) for one in notebook.entries]
    [('2026-03-01', 12500.0)]
    >>> [(one.line, one.reason) for one in notebook.left_out]
    [(3, "'closed' is no amount"), (4, 'a total')]
    """
    text, encoding = text_of(content)
    is_lenient = False
    try:
        separator, rows = best_split(text, score_rows)
    except Unreadable:
        is_lenient = True
        separator, rows = best_split(text, lambda found: score_rows(found, is_lenient=True))
    layout = layout_of(
        rows, columns=settings.columns, known_names=known_names, is_lenient=is_lenient
    )
    facts = [f"{encoding}, cells parted by {SEPARATORS[separator]}", *layout.facts]
    return _Reading(rows, layout, settings, today, facts, separator).notebook()


class _Reading:
    """One pass over the rows, with what it has learnt so far."""

    def __init__(
        self,
        rows: Sequence[Row],
        layout: Layout,
        settings: Settings,
        today: date,
        facts: list[str],
        separator: str,
    ) -> None:
        self.separator = separator
        self.layout, self.settings, self.today, self.facts = layout, settings, today, facts
        self.body = [row for row in rows if row.line >= layout.first_line]
        self.left_out = [LeftOut(row.line, row.text, "a title") for row in layout.titles]
        self.is_day_first = day_order(self.body, layout, settings)
        titled = [year for row in layout.titles if (year := year_in(row.text))]
        self.year = settings.year or (titled[-1] if titled else None)
        self.before: date | None = None
        self.before_days: Days | None = None
        self.marks = {
            column.place: common_mark(
                amount.number
                for row in self.body
                if (amount := amount_in(row.cell(column.place))) is not None
            )
            for column in layout.amounts
        }

    def notebook(self) -> Notebook:
        told: dict[str | None, list[Entry]] = defaultdict(list)
        meters = {
            column.place: is_meter(
                column, self._shown(column), self.marks[column.place], self.settings
            )
            for column in self.layout.amounts
        }
        for row in self.body:
            try:
                for place, entry in self._entries(row):
                    key = f"{place}/{entry.grinder}" if meters[place] else None
                    told[key].append(entry)
            except Skipped as error:
                self._leave(row, str(error), error.is_fault)
        self._say(meters)
        entries = told.pop(None, [])
        for readings in told.values():
            entries += differences(readings, self.left_out)
        entries = [one for one in self._weeks(entries) if self._is_over(one)]
        entries = added_up(entries, self.left_out, counts_repeats=self.settings.counts_repeats)
        entries = without_overlaps(entries, self.left_out)
        return Notebook(
            tuple(sorted(entries, key=lambda one: (one.grinder or "", one.first, one.last))),
            tuple(sorted(self.left_out, key=lambda one: one.line)),
            tuple(self.facts),
        )

    def _entries(self, row: Row) -> list[tuple[int, Entry]]:
        layout = self.layout
        cell = row.cell(layout.date)
        if is_total(row):
            raise Skipped("a total")
        if layout.headings and row.cells[: len(layout.headings)] == layout.headings:
            raise Skipped("the headings again")
        amounts = [(one, text) for one in layout.amounts if (text := row.cell(one.place))]
        days = days_in(cell, is_lenient=layout.is_lenient or bool(amounts))
        if not amounts and (days is None or not row.cell(layout.grinder)) and len(row.filled) < 2:
            titled = year_in(row.text)
            if titled is not None:
                self.year, self.before = titled, None
            raise Skipped("no amount" if days is not None else "a title")
        if days is None:
            days = self._carried(row, cell)
        self._check_cells(row)
        if not amounts:
            raise Skipped("no amount")
        first, last = self._resolved(days)
        noted = [f"{label}: {row.cell(n)}" if label else row.cell(n) for n, label in layout.notes
                 if row.cell(n)]  # fmt: skip
        time = row.cell(layout.time) or (cell if ":" in cell else "")
        made: list[tuple[int, Entry]] = []
        for column, text in amounts:
            amount = amount_in(text)
            if amount is None:
                is_fault = any(one.isdigit() for one in text)
                self._leave(row, f"{text!r} is no amount", is_fault)
                continue
            try:
                mark = self.marks[column.place]
                grams = grams_of(column, amount, mark, row.line, self.settings)
            except Skipped as error:
                self._leave(row, str(error), error.is_fault)
                continue
            grinder = column.grinder or row.cell(layout.grinder) or None
            entry = Entry(
                (row.line,), grinder, first, last, grams, "; ".join(noted) or None,
                amount.is_about, (row.text, time),
            )  # fmt: skip
            made.append((column.place, entry))
        return made

    def _check_cells(self, row: Row) -> None:
        """A decimal comma in cells that are parted by commas must not pass for a smaller amount."""
        beyond = [one for one in row.cells[self.layout.heading_count :] if one]
        cut = any(
            row.cell(one.place) and re.fullmatch(r"\d{1,3}", row.cell(one.place + 1))
            for one in self.layout.amounts
        )
        is_cut = self.separator == "," and cut and (beyond or not self.layout.heading_count)
        if is_cut or (self.layout.heading_count and any(map(amount_in, beyond))):
            raise Skipped(
                "has more cells than there are columns: with a decimal comma, quote the number or "
                "part the cells by semicolons",
                True,
            )

    def _carried(self, row: Row, cell: str) -> Days:
        """The days of the line above, where cells were merged; else there are none."""
        if cell or self.layout.grinder is None or self.before_days is None:
            raise Skipped(f"{cell!r} is no date" if cell else "no date", bool(cell))
        return self.before_days

    def _resolved(self, days: Days) -> tuple[date, date]:
        try:
            first, last = days.resolved(self._year_of, bool(self.is_day_first))
        except Question:
            raise
        except ValueError as error:
            detail = str(error) if "begins" in str(error) else "there is no such day"
            raise Skipped(detail, True) from None
        if first < OLDEST:
            raise Skipped(f"{first} is too long ago", True)
        if (last - first).days >= MOST_DAYS:
            raise Skipped("spans more than a year", True)
        self.before, self.before_days = last, days
        return first, last

    def _year_of(self, month: int, day: int) -> int:
        """The year that goes on from the line before; a month long past is of the next year."""
        if self.before is not None:
            year = self.before.year
            behind = (self.before.month - month) * 31 + self.before.day - day
            return year + (1 if behind > 186 else -1 if behind < -186 else 0)
        if self.year is None:
            later = self._later_year()
            if later is None:
                raise Question("year", "Which year does the notebook begin in?", (), "--year YYYY")
            self.year = later
        return self.year

    def _later_year(self) -> int | None:
        for row in self.body:
            days = days_in(row.cell(self.layout.date), is_lenient=self.layout.is_lenient)
            if days is not None and days.has_year:
                return days.last.year
        return None

    def _shown(self, column: Column) -> list[Amount]:
        found = (amount_in(row.cell(column.place)) for row in self.body if not is_total(row))
        return [one for one in found if one is not None]

    def _weeks(self, entries: Sequence[Entry]) -> Sequence[Entry]:
        """Whole weeks, where the heading says so and no two days are of one."""
        place = self.layout.date
        more = timedelta(days=days_of_week(self.layout.headings[place]))
        days = sorted({one.first for one in entries if one.first == one.last})
        steps = [(two - one).days for one, two in itertools.pairwise(days)]
        if not more or not days or min(steps, default=7) < 7:
            return entries
        self.facts.append(f"a day in {_place(self.layout.headings, place)} stands for its week")
        return [
            replace(
                one, first=min(one.first, one.first + more), last=max(one.last, one.last + more)
            )
            if one.first == one.last
            else one
            for one in entries
        ]

    def _is_over(self, entry: Entry) -> bool:
        if entry.last < self.today:
            return True
        is_near = entry.first <= self.today
        reason = "the day is not over yet" if is_near else f"{entry.last} lies in the future"
        self.left_out.append(LeftOut(entry.lines[-1], entry.identity[0], reason, not is_near))
        return False

    def _leave(self, row: Row, reason: str, is_fault: bool = False) -> None:
        self.left_out.append(LeftOut(row.line, row.text, reason, is_fault))

    def _say(self, meters: dict[int, bool]) -> None:
        layout, headings = self.layout, self.layout.headings
        order = {True: ", the day first", False: ", the month first", None: ""}[self.is_day_first]
        self.facts.append(f"dates in {_place(headings, layout.date)}{order}")
        for column in layout.amounts:
            told = column.unit or ("their own unit" if self.settings.unit is None else
                                   self.settings.unit)  # fmt: skip
            kind = "running totals" if meters[column.place] else "amounts"
            of = f" of {column.grinder}" if column.grinder else ""
            self.facts.append(f"{kind}{of} in {_place(headings, column.place)}, {told}")
        if layout.grinder is not None:
            self.facts.append(f"grinders in {_place(headings, layout.grinder)}")
        if layout.notes:
            told = ", ".join(_place(headings, n) for n, _ in layout.notes)
            self.facts.append(f"notes in {told}")


def _place(headings: Sequence[str], place: int) -> str:
    named = place < len(headings) and plain(headings[place])
    return f"column {headings[place]!r}" if named else f"column {place + 1}"
