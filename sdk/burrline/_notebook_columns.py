"""Which column of a notebook holds what: dates, kilograms, grinders, notes."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field

from burrline._notebook_amounts import UNITS, amount_in, unit_in
from burrline._notebook_cells import Question, Row, Unreadable, plain
from burrline._notebook_dates import days_in, weekday_of
from burrline._notebook_headings import date_columns, headings_of
from burrline._notebook_rows import is_entry, is_faulty_entry
from burrline._notebook_words import (
    AMOUNTS,
    COUNTS,
    DATES,
    ENDINGS,
    GRINDERS,
    METERS,
    NOTES,
    OTHERS,
    PER_DAY,
    TOTALS,
    WEEKS,
    counts_pieces,
    is_about,
    is_no_amount,
    words_of,
)

PIECES_DETAIL = "counts pieces: multiply them first"


@dataclass(frozen=True)
class Column:
    """A column of amounts: its place, its heading, the unit that names it, whose it is."""

    place: int
    heading: str
    unit: str | None
    grinder: str | None
    is_meter: bool | None


@dataclass
class Layout:
    """Where everything stands, and what is said of it to the reader."""

    headings: tuple[str, ...]
    heading_count: int
    """How many columns the line of headings had; 0 where there is none."""
    first_line: int
    date: int
    amounts: list[Column]
    grinder: int | None = None
    time: int | None = None
    unit: int | None = None
    """The column of units, where they have one of their own."""
    weekday: int | None = None
    until: int | None = None
    """The column of last days, where each line tells a stretch of them in two cells."""
    notes: list[tuple[int, str]] = field(default_factory=list)
    titles: list[Row] = field(default_factory=list)
    facts: list[str] = field(default_factory=list)
    is_lenient: bool = False


def layout_of(
    rows: Sequence[Row],
    *,
    columns: Sequence[str] = (),
    known_names: Collection[str] = (),
    date_column: str | None = None,
    is_lenient: bool = False,
) -> Layout:
    """Tell the columns apart by their headings and by what stands in them."""
    first = next(place for place, row in enumerate(rows) if is_entry(row, is_lenient))
    while first and is_faulty_entry(rows[first - 1], is_lenient):
        first -= 1
    body = rows[first:]
    width = max(len(row.cells) for row in rows)
    named, units, titles = headings_of(rows[:first], width)
    headings = named + ("",) * (width - len(named))
    date, until = date_columns(body, headings, chosen=date_column, is_lenient=is_lenient)
    if is_lenient and not is_about(headings[date], DATES) and unit_in(headings[date]):
        raise Unreadable("no line has a date in one cell and an amount in another")
    found = Layout(
        headings, len(named), body[0].line, date, [], titles=titles, is_lenient=is_lenient
    )
    found.until = until
    others = [
        n for n in range(width) if n not in (date, until) and any(row.cell(n) for row in body)
    ]
    names = {plain(name) for name in known_names}
    for n in others:
        cells = [cell for row in body if (cell := row.cell(n))]
        if all(weekday_of(one) is not None for one in cells):
            found.weekday = n
        elif found.unit is None and all(plain(one) in UNITS for one in cells):
            found.unit = n
        elif found.time is None and all(re.fullmatch(r"\d{1,2}[:h]\d\d.*", one) for one in cells):
            found.time = n
        elif found.grinder is None and (
            (is_about(headings[n], GRINDERS) and not _is_mostly_amounts(cells))
            or (names and all(plain(one) in names for one in cells))
        ):
            found.grinder = n
    known = (found.time, found.grinder, found.unit, found.weekday)
    rest = [n for n in others if n not in known]
    if not columns:
        odd = [n for n in rest if is_no_amount(headings[n]) and _bare(headings[n]) not in names]
        found.facts += [f"column {headings[n]!r} is no coffee ground and not used" for n in odd]
        rest = [n for n in rest if n not in odd]
    pieces = [one for one in headings if counts_pieces(one)]
    try:
        chosen = _amount_columns(body, headings, units, rest, columns, names)
    except Unreadable as error:
        raise Unreadable(f"column {pieces[0]!r} {PIECES_DETAIL}") if pieces else error from None
    if any(counts_pieces(headings[n]) for n in chosen):
        raise Unreadable(f"column {pieces[0]!r} {PIECES_DETAIL}")
    if not columns:
        _check_doses(headings, chosen, rest)
    found.amounts = _as_columns(chosen, headings, units, names, found)
    for n in rest:
        if n in chosen:
            continue
        cells = [cell for row in body if (cell := row.cell(n))]
        if _is_mostly_amounts(cells) and not is_about(headings[n], NOTES):
            found.facts.append(f"column {_named(headings, n)} is not used")
        else:
            label = "" if is_about(headings[n], NOTES) else headings[n]
            found.notes.append((n, label))
    return found


def days_of_week(heading: str) -> int:
    """How many days a date under this heading goes on (or, below 0, back): weeks by one day.

    >>> [days_of_week(one) for one in ("date", "Wochentag", "Week of", "week ending")]
    [0, 0, 6, -6]
    """
    words = re.split(r"[^a-z]+", plain(heading))
    if not WEEKS & {*words}:
        return 0
    return -6 if any(word.startswith(ENDINGS) for word in words) else 6


def _amount_columns(
    body: Sequence[Row],
    headings: Sequence[str],
    units: dict[int, str],
    rest: Sequence[int],
    columns: Sequence[str],
    names: Collection[str],
) -> list[int]:
    if columns:
        wanted = [plain(one) for one in columns]
        missing = [one for one in columns if plain(one) not in map(plain, headings)]
        if missing:
            raise Unreadable(f"has no column {', '.join(map(repr, missing))}")
        return [n for n in rest if plain(headings[n]) in wanted]
    cells = {n: [cell for row in body if (cell := row.cell(n))] for n in rest}
    numeric = [
        n
        for n in rest
        if _is_mostly_amounts(cells[n])
        or (unit_in(headings[n]) is not None and any(map(amount_in, cells[n])))
    ]
    named = [n for n in numeric if _bare(headings[n]) in names]
    massy = [
        n
        for n in numeric
        if unit_in(headings[n]) or n in units or 2 * _unit_count(cells[n]) > len(cells[n])
    ]
    if massy or named:
        return sorted({*massy, *named})
    worded = [n for n in numeric if is_about(headings[n], AMOUNTS) or is_about(headings[n], METERS)]
    if worded:
        return worded
    plainly = [n for n in numeric if not is_about(headings[n], OTHERS)]
    if len(plainly) > 1 and not any(headings[n] for n in plainly):
        raise Unreadable(
            "has more than one column of numbers and no headings; with a decimal comma, separate "
            "the cells by semicolons or quote the numbers",
            [body[0].line],
        )
    if not plainly:
        raise Unreadable("has no column of coffee ground (--column names one)")
    if sum(_is_calendar(headings[n]) for n in numeric) > 1:
        raise Unreadable(
            "has a column for each month or weekday: write it with one line for each day"
        )
    unknown = [n for n in plainly if not is_about(headings[n], (*TOTALS, *METERS))]
    if names and len(unknown) > 1:
        flags = " ".join(f"--column {headings[n]!r}" for n in unknown)
        raise Question(
            "columns",
            "Which columns are amounts of coffee?",
            [headings[n] for n in unknown],
            f"{flags}, or those of them that are",
        )
    return plainly


def _is_calendar(heading: str) -> bool:
    days = days_in(heading, is_lenient=True)
    return weekday_of(heading) is not None or (days is not None and not days.is_of_days)


def _check_doses(headings: Sequence[str], chosen: Sequence[int], rest: Sequence[int]) -> None:
    """The grams of one dose beside how many there were are not the day's."""
    doses = [n for n in chosen if {"dose", "dosis", "dosi"} & {*words_of(headings[n])}]
    counted = [n for n in rest if n not in chosen and COUNTS & {*words_of(headings[n])}]
    if doses and counted:
        raise Unreadable(
            f"column {headings[doses[0]]!r} tells one dose and column {headings[counted[0]]!r} how "
            "many: multiply them first, or say --column for an amount of the whole day"
        )


def _as_columns(
    chosen: Sequence[int],
    headings: Sequence[str],
    units: dict[int, str],
    names: Collection[str],
    found: Layout,
) -> list[Column]:
    made = []
    for n in chosen:
        heading = headings[n]
        is_meter = (
            True if is_about(heading, METERS) else False if is_about(heading, PER_DAY) else None
        )
        unit = unit_in(heading) or units.get(n)
        made.append(Column(n, heading, unit, None, is_meter))
    if len(made) > 1:
        sums = [one for one in made if is_about(one.heading, TOTALS) and not one.is_meter]
        found.facts += [f"column {one.heading!r} sums up others and is not used" for one in sums]
        made = [one for one in made if one not in sums]
    if len({one.is_meter is True for one in made}) > 1:
        found.facts += [
            f"column {one.heading!r} is a running total beside amounts and is not used"
            for one in made
            if one.is_meter
        ]
        made = [one for one in made if not one.is_meter]
    if len(made) == 1:
        bare = _bare(made[0].heading)
        if bare in names:
            made = [_of(made[0], _shown(made[0].heading))]
        return made
    owners = [_shown(one.heading) for one in made]
    if len({plain(one) for one in owners} - {""}) < len(owners):
        raise Unreadable("has more than one column of amounts; name one by --column")
    return [_of(one, owner) for one, owner in zip(made, owners, strict=True)]


def _of(column: Column, grinder: str) -> Column:
    return Column(column.place, column.heading, column.unit, grinder, column.is_meter)


def _shown(heading: str) -> str:
    """A heading without its unit and the words of amounts: what is left names a grinder."""
    text = re.sub(r"[(\[][^)\]]*[)\]]", " ", heading)
    words = [
        word
        for word in text.split()
        if plain(word).strip(".,:/") not in UNITS
        and not f"{plain(word)} ".startswith((*METERS, *AMOUNTS, *TOTALS, *PER_DAY))
    ]
    return " ".join(words).strip(" ,:/-")


def _bare(heading: str) -> str:
    return plain(_shown(heading))


def _is_mostly_amounts(cells: Sequence[str]) -> bool:
    return bool(cells) and 2 * sum(amount_in(one) is not None for one in cells) > len(cells)


def _unit_count(cells: Sequence[str]) -> int:
    return sum((one := amount_in(cell)) is not None and one.unit is not None for cell in cells)


def _named(headings: Sequence[str], place: int) -> str:
    return repr(headings[place]) if headings[place] else f"number {place + 1}"
