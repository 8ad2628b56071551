"""What the lines of a notebook stand under: titles, and headings that come again or change."""

from __future__ import annotations

import re
from collections.abc import Collection

from burrline._notebook_amounts import UNITS, amount_in, unit_in
from burrline._notebook_cells import Row, plain
from burrline._notebook_columns import Layout
from burrline._notebook_dates import Days
from burrline._notebook_questions import Skipped
from burrline._notebook_words import AMOUNTS, DATES, STORED, is_about, words_of


class Parts:
    """The part of the page that is being read: its title, whose it is, what is wrong with it."""

    def __init__(self, layout: Layout, names: Collection[str]) -> None:
        self._layout, self._names = layout, names
        self.line = 0
        self.grinder: str | None = None
        self._title_doubt = self._heading_doubt = ""
        for row in layout.titles:
            self.grinder = self._grinder_titled(row) or self.grinder
            self._title_doubt = _doubt_of(row) or self._title_doubt

    def begin(self, row: Row) -> None:
        """A title amid the lines: what follows may be another grinder's, by its name or not."""
        self.line, self.grinder = row.line, self._grinder_titled(row)
        self._title_doubt = _doubt_of(row)

    def check_headings(self, row: Row, days: Days | None) -> None:
        """Headings again, and others: what stands below these is not what the first ones say.

        ``Skipped``: the row is one of headings or of units.
        """
        headings = self._layout.headings
        if headings and row.cells[: len(headings)] == headings:
            self._heading_doubt = ""
            raise Skipped("the headings again")
        if days is not None or not row.filled:
            return
        units = [(column, row.cell(column.place)) for column in self._layout.amounts]
        if all(plain(one).strip("()[]") in UNITS for one in row.filled):
            is_other = any(said and unit_in(said) != column.unit for column, said in units)
            self._heading_doubt = self._under_headings(row) if is_other else ""
            raise Skipped("units")
        is_worded = len(row.filled) > 1 and not any(map(amount_in, row.filled))
        if is_worded and is_about(row.cell(self._layout.date), DATES):
            self._heading_doubt = "" if self._are_alike(row) else self._under_headings(row)
            raise Skipped("headings")

    def check(self, row: Row) -> None:
        """``Skipped``: what stands here is not coffee ground, or nobody knows in which column."""
        if doubt := self._title_doubt or self._heading_doubt:
            raise Skipped(doubt, True)
        for n, label in self._layout.notes:  # a column that tells what each line is
            if label and plain(row.cell(n)) in STORED | {"in"}:
                raise Skipped(f"{row.cell(n)!r} ({label}) tells of no coffee ground", True)

    def _are_alike(self, row: Row) -> bool:
        """Whether headings say the same of each column that counts, and tell no other amounts."""
        layout = self._layout
        amounts = [one.place for one in layout.amounts]
        told = {layout.date, layout.until, layout.grinder, layout.unit, *amounts} - {None}
        return all(
            plain(cell) == plain(layout.headings[n])
            if n in told
            else unit_in(cell) is None and not is_about(cell, AMOUNTS)
            for n, cell in enumerate(row.cells)
        ) and len(row.cells) > max(amounts)

    def _under_headings(self, row: Row) -> str:
        return f"stands under other headings, in line {row.line}: put it into a file of its own"

    def _grinder_titled(self, row: Row) -> str | None:
        """The grinder that a title names, alone or behind a word such as "grinder"."""
        for cell in row.filled:
            after = re.split(r"[:=] *", cell)[-1]
            for said in (cell, after, after.partition(" ")[2]):
                if plain(said) in self._names:
                    return said
        return None


def _doubt_of(title: Row) -> str:
    if not STORED & {*words_of(title.text)}:
        return ""
    return (
        f"stands under {title.text!r}, which tells of no coffee ground: mend the title if it does"
    )
