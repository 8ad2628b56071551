"""Dates that a line does not spell out: numbered days under a month, weeks, a spreadsheet's days.

Each is written out into the line's own cell before anything else is read, so that the rest knows
whole dates only.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from burrline._notebook_amounts import amount_in
from burrline._notebook_cells import (
    SEPARATORS,
    Question,
    Row,
    Unreadable,
    best_split,
    plain,
    rows_of,
)
from burrline._notebook_dates import MONTHS, When, days_in, year_in
from burrline._notebook_questions import Settings
from burrline._notebook_rows import score_rows
from burrline._notebook_words import (
    DATES,
    DAY_WORDS,
    MONTH_WORDS,
    WEEK_NUMBERS,
    YEAR_WORDS,
    begins_with_total,
    is_about,
    words_of,
)

SERIAL_ZERO = date(1899, 12, 30)
"""Day 0 of a spreadsheet, from March 1900 on (ECMA-376 part 1, 18.17.4.1)."""
FIRST_SERIAL = 32874
"""1990-01-01."""
MOSTLY = 0.5
_NUMBER = re.compile(r"(\d{1,2})(?:\.|st|nd|rd|th)?")
_SERIAL = re.compile(r"(\d{5})(?:[.,]\d+)?")

Split = tuple[str, list[Row], bool, list[str]]


def spelled_out(text: str, settings: Settings, today: date) -> Split:
    """The separator, the rows with whole dates, whether dates are loose, and what is to be told."""
    tables = {one: rows_of(text, one) for one in SEPARATORS if one in text}
    if any(any(map(_has_day, rows)) for rows in tables.values()):
        return *best_split(text, score_rows), False, []
    for separator, rows in tables.items():
        for spell in (_numbered, _weeks, _serials):
            found = spell(rows, settings, today)
            if found is not None and any(map(_has_day, found[0])):
                spelled, told = found
                return separator, spelled, False, [told]
    try:
        return *best_split(text, score_rows), False, []
    except Unreadable:
        split = best_split(text, lambda found: score_rows(found, is_lenient=True))
        return *split, True, []


def _has_day(row: Row) -> bool:
    """Whether a row tells a whole day or a week, and an amount beside it."""
    dated = [n for n, one in enumerate(row.cells) if (days := days_in(one)) and days.is_of_days]
    return bool(dated) and any(
        amount_in(one) is not None for n, one in enumerate(row.cells) if n != dated[0]
    )


def _column(rows: Sequence[Row], words: frozenset[str]) -> int | None:
    """The column whose heading is one of these words alone."""
    for row in rows:
        for n, cell in enumerate(row.cells):
            said = words_of(cell)
            if said and {*said} <= words:
                return n
    return None


def _holding(rows: Sequence[Row], place: int | None, pattern: re.Pattern[str]) -> list[Row]:
    """The rows whose cell there is such a number, where most rows of a table have one."""
    if place is None:
        return []
    table = [row for row in rows if len(row.filled) > 1 and any(map(amount_in, row.filled))]
    numbered = [row for row in rows if pattern.fullmatch(plain(row.cell(place)))]
    beside = [
        row
        for row in numbered
        if any(amount_in(one) is not None for n, one in enumerate(row.cells) if n != place)
    ]
    return numbered if beside and len(beside) >= MOSTLY * len(table) else []


def _first_column(rows: Sequence[Row]) -> int | None:
    return min((n for row in rows for n, one in enumerate(row.cells) if one), default=None)


def _with(row: Row, **cells: tuple[int | None, str]) -> Row:
    changed = list(row.cells)
    for place, text in cells.values():
        if place is not None and place < len(changed):
            changed[place] = text
    return replace(row, cells=tuple(changed))


# --- days by their numbers ----------------------------------------------------------------------


@dataclass
class _Page:
    """A month, as a title or a column names it, and the numbers of the days below it."""

    when: When | None
    numbers: list[int]
    is_told_by_row: bool = False
    is_broken: bool = False

    def goes_on(self, number: int) -> bool:
        """Whether a day may follow: numbers go one way, forward or back, under one title."""
        days = [*self.numbers, number]
        is_one_way = days in (sorted(days), sorted(days, reverse=True))
        self.is_broken = self.is_broken or not is_one_way
        return self.is_told_by_row or not self.is_broken


def _numbered(rows: Sequence[Row], settings: Settings, today: date) -> tuple[list[Row], str] | None:
    month_place, year_place = _column(rows, MONTH_WORDS), _column(rows, YEAR_WORDS)
    headed = _column(rows, DAY_WORDS)
    place = _first_column(rows) if headed is None else headed
    holding = {id(row) for row in _holding(rows, place, _NUMBER)}
    if not holding or place is None or place in (month_place, year_place):
        return None
    others = [row for row in rows if id(row) not in holding and row.cell(place)]
    if headed is None and not all(_may_head(row, place) for row in others):
        return None
    given = None if settings.month is None else When(*settings.month)
    page, pages, spelled = _Page(given, []), list[str](), list[Row]()
    for row in rows:
        found = _NUMBER.fullmatch(plain(row.cell(place)))
        titled = None
        if month_place is not None or year_place is not None:
            titled = _month_told(row, month_place, year_place, page.when)
        elif id(row) not in holding:
            titled = _month_titled(row)
        if titled is not None and (titled != page.when or id(row) not in holding):
            is_told_by_row = month_place is not None
            page = _Page(titled, [], is_told_by_row)
            pages.append(f"{titled.year or 'no year'}-{titled.month:02} from line {row.line} on")
        elif id(row) not in holding and len(row.filled) == 1:
            page = replace(page, numbers=[], is_broken=False)  # another part of the page
        if id(row) not in holding or found is None or not 1 <= int(found[1]) <= 31:
            has_heading = titled is not None and len(row.filled) > 1
            spelled.append(_with(row, title=(place, "")) if has_heading else row)
            continue
        if page.when is None:
            raise Question(
                "month",
                f"Which month do the days belong to that are numbered from line {row.line} on?",
                (),
                "--month YYYY-MM",
            )
        number = int(found[1])
        if page.goes_on(number):
            page.numbers.append(number)
            year, month = page.when.year, page.when.month or 0
            day = f"{number}.{month}." if year is None else f"{year}-{month:02}-{number:02}"
            cells = {"day": (place, day), "month": (month_place, ""), "year": (year_place, "")}
            row = _with(row, **cells)
        spelled.append(row)
    told = ", ".join(pages) or f"{settings.month and '{}-{:02}'.format(*settings.month)}"
    return spelled, f"numbered days, of {told}"


def _may_head(row: Row, place: int) -> bool:
    """Whether a row says nothing that makes other things than days of the numbers below it."""
    is_title = len(row.filled) == 1 or _month_titled(row) is not None
    return is_title or begins_with_total(row.cell(place))


def _month_told(
    row: Row, month_place: int | None, year_place: int | None, before: When | None
) -> When | None:
    """The month of a row by its columns of months and years; merged cells go on from above."""
    year_text = row.cell(year_place)
    year = int(year_text) if re.fullmatch(r"(?:19|20)\d\d", year_text) else None
    text = row.cell(month_place)
    month = None
    if number := re.fullmatch(r"0?([1-9]|1[0-2])", text):
        month = int(number[1])
    elif (days := days_in(text, is_lenient=True)) is not None and not days.is_of_days:
        month, year = days.last.month, days.last.year or year
    if before is not None and not text:
        month = month or before.month
    if before is not None and not year_text:
        year = year or (before.year if month == before.month or year_place is not None else None)
    return None if month is None else When(year, month)


def _month_titled(row: Row) -> When | None:
    """The month that a title names, with its year if it has one."""
    for cell in row.filled[:3]:
        days = days_in(cell, is_lenient=True)
        if days is not None and not days.is_of_days:
            return When(days.last.year or year_in(row.text), days.last.month)
        words = [one for one in words_of(cell) if one in MONTHS]
        is_plain = len(words) == 1 and (
            len(words[0]) > 3 or year_in(cell) is not None or len(words_of(cell)) == 1
        )
        if is_plain:
            return When(year_in(row.text), MONTHS[words[0]])
    return None


# --- weeks by their numbers, and days of spreadsheets --------------------------------------------


def _weeks(rows: Sequence[Row], settings: Settings, today: date) -> tuple[list[Row], str] | None:
    place, year_place = _column(rows, WEEK_NUMBERS), _column(rows, YEAR_WORDS)
    holding = {id(row) for row in _holding(rows, place, re.compile(r"\d{1,2}\.?"))}
    if not holding:
        return None

    def made() -> Iterator[Row]:
        for row in rows:
            number = row.cell(place).rstrip(".")
            year = row.cell(year_place) or ""
            week = f"{year} W{number}".strip()
            cells = {"week": (place, week), "year": (year_place, "")}
            yield _with(row, **cells) if id(row) in holding else row

    return [*made()], "weeks by their numbers (ISO 8601)"


def _serials(rows: Sequence[Row], settings: Settings, today: date) -> tuple[list[Row], str] | None:
    headed = next(
        (n for row in rows for n, one in enumerate(row.cells) if is_about(one, DATES)), None
    )
    place = _first_column(rows) if headed is None else headed
    last = (today - SERIAL_ZERO).days
    holding = {
        id(row): SERIAL_ZERO + timedelta(days=int(row.cell(place)[:5]))
        for row in _holding(rows, place, _SERIAL)
        if FIRST_SERIAL <= int(row.cell(place)[:5]) <= last
    }
    if not holding or settings.is_serial is False:
        return None
    example = next(row for row in rows if id(row) in holding)
    shown = f"{example.cell(place)} in line {example.line} is {holding[id(example)]}"
    if settings.is_serial is None:
        raise Question(
            "is_serial",
            f"Are the dates a spreadsheet's numbers of days, so that {shown}?",
            ("yes", "no"),
            "--serial-dates",
        )
    made = [
        _with(row, day=(place, str(holding[id(row)]))) if id(row) in holding else row
        for row in rows
    ]
    return made, f"a spreadsheet's numbers of days: {shown}"
