"""One pass over a notebook's rows, with what it has learnt so far."""

from __future__ import annotations

import itertools
import re
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

from burrline._notebook_amounts import UNITS, Amount, amount_in, common_mark, value_of
from burrline._notebook_cells import Question, Row, plain
from burrline._notebook_columns import Column, Layout, days_of_week
from burrline._notebook_dates import Days, days_in, year_in
from burrline._notebook_order import dated, in_order, nearest_year, order_of, year_before
from burrline._notebook_parts import Parts
from burrline._notebook_questions import Settings, Skipped, grams_of, is_meter
from burrline._notebook_rows import is_total
from burrline._notebook_sums import (
    Entry,
    LeftOut,
    added_up,
    differences,
    without_outsized,
    without_overlaps,
)
from burrline._notebook_told import Notebook, place_of, said_of
from burrline._notebook_words import NOTES, is_about

OLDEST = date(1990, 1, 1)
MOST_DAYS = 366
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


class Reading:
    """One pass over the rows, with what it has learnt so far."""

    def __init__(
        self,
        rows: Sequence[Row],
        layout: Layout,
        settings: Settings,
        today: date,
        facts: list[str],
        separator: str,
        names: Collection[str],
        owners: Mapping[str | None, str],
    ) -> None:
        self.separator = separator
        self.layout, self.settings, self.today, self.facts = layout, settings, today, facts
        self.body = [row for row in rows if row.line >= layout.first_line]
        self.left_out = [LeftOut(row.line, row.text, "a title") for row in layout.titles]
        self.dated = dated(self.body, layout)
        self.order = order_of(self.dated, settings, today)
        self.weekdays = {one.line: one.weekday for one in self.dated}
        titled = [year for row in layout.titles if (year := year_in(row.text))]
        self.year = settings.year or (titled[-1] if titled else None)
        self.before: date | None = None
        self.before_days: Days | None = None
        self.values: dict[int, list[Decimal]] = defaultdict(list)
        self.parts = Parts(layout, {plain(one) for one in names})
        self.owners, self.shown = owners, dict[str | None, str | None]()
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
        self.facts += said_of(self.layout, self.settings.unit, self.order, meters)
        entries = [*in_order(told.pop(None, []), self.left_out)]
        for readings in told.values():
            entries += differences([*in_order(readings, self.left_out)], self.left_out)
        entries = [one for one in self._weeks(entries) if self._is_over(one)]
        entries = added_up(entries, self.left_out, counts_repeats=self.settings.counts_repeats)
        entries = without_overlaps(without_outsized(entries, self.left_out), self.left_out)
        return Notebook(
            tuple(sorted(entries, key=lambda one: (one.grinder or "", one.first, one.last))),
            tuple(sorted(self.left_out, key=lambda one: one.line)),
            tuple(self.facts),
        )

    def _entries(self, row: Row) -> list[tuple[int, Entry]]:
        layout = self.layout
        cell = row.cell(layout.date)
        amounts = [(one, text) for one in layout.amounts if (text := row.cell(one.place))]
        days = days_in(cell, is_lenient=layout.is_lenient or bool(amounts))
        self.parts.check_headings(row, days)
        if is_total(row, days):
            raise Skipped("a total")
        if not amounts and (days is None or not row.cell(layout.grinder)) and len(row.filled) < 2:
            titled = year_in(row.text)
            if titled is not None:
                self.year, self.before = titled, None
            if days is None and titled is None:
                self.parts.begin(row)
            raise Skipped("a title" if days is None or not days.is_of_days else "no amount")
        if days is None:
            days = self._carried(row, cell)
        if days.has_zone:
            raise Skipped("tells a time with a zone, perhaps of elsewhere: give local times", True)
        self._check_cells(row)
        if not amounts:
            raise Skipped("no amount")
        self.parts.check(row)
        first, last = self._resolved(days)
        if layout.until is not None:
            last = self._until(first, row.cell(layout.until))
        weekday = self.weekdays.get(row.line)
        if weekday is not None and first == last and first.weekday() != weekday:
            raise Skipped(f"{first} is no {WEEKDAYS[weekday]}, as the line says", True)
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
                row_unit = UNITS.get(plain(row.cell(layout.unit)))
                grams = grams_of(column, amount, mark, row.line, self.settings, row_unit)
            except Skipped as error:
                self._leave(row, str(error), error.is_fault)
                continue
            with suppress(ValueError):
                self.values[column.place].append(value_of(amount.number, mark))
            grinder = self._called(column.grinder or row.cell(layout.grinder) or self.parts.grinder)
            entry = Entry(
                (row.line,), grinder, first, last, grams, "; ".join(noted) or None,
                amount.is_about, (row.text, f"{row.line}" if row.has_ditto else time),
                self.parts.line,
            )  # fmt: skip
            made.append((column.place, entry))
        return made

    def _called(self, name: str | None) -> str | None:
        """One name for all those of a grinder, so that what is told of it is told together."""
        said = None if name is None else plain(name)
        return self.shown.setdefault(self.owners.get(said, said), name)

    def _check_cells(self, row: Row) -> None:
        """A decimal comma in cells that are parted by commas must not pass for a smaller amount."""
        beyond = [one for one in row.cells[self.layout.heading_count :] if one]
        if self._is_cut(row) or (self.layout.heading_count and any(map(amount_in, beyond))):
            raise Skipped(
                "has more cells than there are columns: with a decimal comma, quote the number or "
                "part the cells by semicolons",
                True,
            )

    def _is_cut(self, row: Row) -> bool:
        """Whether "4,2" may stand in two cells: a whole number, then digits of no column."""
        if self.separator != ",":
            return False
        layout = self.layout
        if any(
            one.place - 1 not in (layout.date, layout.time)
            and not layout.headings[one.place - 1]
            and row.cell(one.place - 1).isdigit()
            and re.fullmatch(r"\d{1,3}(?: ?[a-z]+)?", plain(row.cell(one.place)))
            for one in layout.amounts
            if one.place
        ):
            return True
        notes = [n for n, _ in layout.notes if is_about(layout.headings[n], NOTES)]
        return any(
            row.cell(one.place).isdigit()
            and re.fullmatch(r"\d{1,3}", row.cell(one.place + 1)) is not None
            and (len(row.cells) > layout.heading_count or one.place + 1 in notes)
            for one in layout.amounts
        )

    def _carried(self, row: Row, cell: str) -> Days:
        """The days of the line above, where cells were merged; else there are none."""
        if not cell and row.cell(self.layout.grinder) and self.before_days is not None:
            return self.before_days
        if not any(one.isdigit() for one in cell) and self._sums_up(row):
            raise Skipped("the sum of lines above")
        if not any(one.isdigit() for one in row.text):
            if not {plain(one) for one in row.filled} <= {*map(plain, self.layout.headings)}:
                self.parts.begin(row)
            raise Skipped("a title")
        raise Skipped(f"{cell!r} is no date" if cell else "no date", True)

    def _sums_up(self, row: Row) -> bool:
        """Whether the amounts of a row without a date are those of the lines above together."""
        found = [(one.place, amount_in(row.cell(one.place))) for one in self.layout.amounts]
        shown = [(place, amount) for place, amount in found if amount is not None]
        for place, amount in shown:
            try:
                value = value_of(amount.number, self.marks[place])
            except ValueError:
                return False
            above = self.values[place]
            sums = [*itertools.accumulate(reversed(above))][1:]
            if not any(abs(one - value) <= abs(value) / 1000 for one in sums):
                return False
        return bool(shown)

    def _resolved(self, days: Days) -> tuple[date, date]:
        try:
            first, last = days.resolved(self._year_of, self.order)
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

    def _until(self, first: date, cell: str) -> date:
        days = days_in(cell, is_lenient=self.layout.is_lenient)
        last = first if days is None else self._resolved(days)[1]
        if days is None or not 0 <= (last - first).days < MOST_DAYS:
            raise Skipped(f"{cell!r} is no last day of it", True)
        return last

    def _year_of(self, month: int, day: int) -> int:
        """The year that goes on from the line before; a month long past is of the next year."""
        if self.before is not None:
            return nearest_year(self.before, month, day)
        if self.year is None:
            later = year_before(self.dated, self.order)
            if later is None:
                raise Question("year", "Which year does the notebook begin in?", (), "--year YYYY")
            self.year = later
        return self.year

    def _shown(self, column: Column) -> list[tuple[date | None, Amount]]:
        """The column's amounts with their days, where these can be told by themselves."""
        found = []
        for row in self.body:
            days = days_in(row.cell(self.layout.date), is_lenient=self.layout.is_lenient)
            amount = amount_in(row.cell(column.place))
            if amount is None or is_total(row, days):
                continue
            day = None
            if days is not None and days.has_year:
                with suppress(ValueError):
                    day = days.resolved(lambda month, day: 0, self.order)[0]
            found.append((day, amount))
        return found

    def _weeks(self, entries: Sequence[Entry]) -> Sequence[Entry]:
        """Whole weeks, where the heading says so and no two days are of one."""
        place = self.layout.date
        more = timedelta(days=days_of_week(self.layout.headings[place]))
        days = sorted({one.first for one in entries if one.first == one.last})
        steps = [(two - one).days for one, two in itertools.pairwise(days)]
        if not more or not days or min(steps, default=7) < 7:
            return entries
        self.facts.append(f"a day in {place_of(self.layout.headings, place)} stands for its week")
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
