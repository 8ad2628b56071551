"""Which number of a date is the day, and whether the lines stand in the order of their days."""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from burrline._notebook_cells import Question, Row, Unreadable
from burrline._notebook_columns import Layout
from burrline._notebook_dates import ORDERS, Days, days_in, weekday_of
from burrline._notebook_questions import Settings
from burrline._notebook_sums import Entry, LeftOut

OLD_YEARS = 15
"""A year of two digits that lies further back is rather a day."""
FEW_DAYS = 31
"""Lines that stand so close tell that one between them is out of its place."""
PLAINLY = 5
LEAP_YEAR = 2024
"""A year that has every day."""
FEWEST_STEPS = 3
"""In fewer lines nobody sees an order."""


@dataclass(frozen=True)
class Dated:
    """A line, its days and the weekday that stands with them."""

    line: int
    days: Days
    weekday: int | None


def dated(rows: Sequence[Row], layout: Layout) -> list[Dated]:
    found = []
    for row in rows:
        days = days_in(row.cell(layout.date), is_lenient=layout.is_lenient)
        if days is not None:
            weekday = weekday_of(row.cell(layout.weekday)) if layout.weekday is not None else None
            found.append(Dated(row.line, days, days.weekday if weekday is None else weekday))
    return found


def order_of(lines: Sequence[Dated], settings: Settings, today: date) -> str | None:
    """Which number stands first, by what the lines show; None where it makes no difference."""
    if settings.is_day_first is None and _is_year_first(lines, settings, today):
        return "year"
    told: dict[bool, list[int]] = {True: [], False: []}
    open_lines = []
    for one in lines:
        for first, second in one.days.pairs:
            if (first > 12) != (second > 12):
                told[first > 12].append(one.line)
            elif first != second:
                open_lines.append(one.line)
    if settings.is_day_first is not None:
        return "day" if settings.is_day_first else "month"
    _check_pointed(lines)
    if told[True] and told[False]:
        shown = sorted([told[True][0], told[False][0]])
        raise Unreadable("the day stands first in one and the month in the other", shown)
    if told[True] or told[False]:
        return "day" if told[True] else "month"
    if not open_lines:
        return None
    by_weekday = _by_weekdays(lines)
    if by_weekday is not None:
        return by_weekday
    raise Question(
        "is_day_first",
        f"Does the day or the month stand first (line {open_lines[0]})?",
        ("day", "month"),
        "--day-first or --month-first",
    )


def _check_pointed(lines: Sequence[Dated]) -> None:
    """Dates with points begin with their day, unless one shows that here they do not."""
    pointed = [(one.line, one.days.last) for one in lines if one.days.last.is_pointed]
    turned = [
        line for line, when in pointed if when.month and when.day and when.day <= 12 < when.month
    ]
    if turned and not any((when.day or 0) > 12 for _, when in pointed):
        raise Unreadable("the month stands first: write dates with points as 31.12.2026", turned)


def _by_weekdays(lines: Sequence[Dated]) -> str | None:
    """The one order in which every date falls on the weekday that stands with it."""
    named = [one for one in lines if one.weekday is not None and one.days.has_year]
    fitting = [
        order
        for order in ("day", "month")
        if named and all(_day(one.days, order, one.weekday) for one in named)
    ]
    return fitting[0] if len(fitting) == 1 else None


def _day(days: Days, order: str, weekday: int | None = None) -> date | None:
    try:
        first, last = days.resolved(lambda month, day: 0, order)
    except ValueError:
        return None
    return first if first == last and weekday in (None, first.weekday()) else None


def _is_year_first(lines: Sequence[Dated], settings: Settings, today: date) -> bool:
    """Whether 26-03-01 begins with its year: the reading by which the days lie together."""
    if settings.is_year_first is not None:
        return settings.is_year_first
    short = [one for one in lines if one.days.last.short is not None]
    found = {
        order: [
            day
            for one in short
            if (day := _day(one.days, order, one.weekday)) is not None
            and today.year - OLD_YEARS <= day.year
            and day <= today
        ]
        for order in ORDERS
    }
    most = max(1, *map(len, found.values()))
    spans = {
        order: (max(days) - min(days)).days for order, days in found.items() if len(days) == most
    }
    if "year" not in spans:
        return False
    others = [span for order, span in spans.items() if order != "year"]
    if not others or PLAINLY * spans["year"] < min(others):
        return True
    if PLAINLY * min(others) < spans["year"]:
        return False
    raise Question(
        "is_year_first",
        f"Does the year stand first in the dates (line {short[0].line})?",
        ("yes", "no"),
        "--year-first, or --day-first or --month-first",
    )


def in_order(entries: Sequence[Entry], left_out: list[LeftOut]) -> Iterator[Entry]:
    """The entries but those whose date breaks an order that the lines around them keep.

    A slip of the pen (another year, another month) would put kilograms where none were ground.
    """
    by_grinder: dict[str | None, list[Entry]] = defaultdict(list)
    for entry in sorted(entries, key=lambda one: one.lines):
        by_grinder[entry.grinder].append(entry)
    for own in by_grinder.values():
        steps = [(two.first - one.first).days for one, two in itertools.pairwise(own)]
        forward = sum(step >= 0 for step in steps)
        is_falling = forward < len(steps) / 2
        _check_new_year(own)
        for place, entry in enumerate(own):
            around = own[max(0, place - 1)], own[min(len(own) - 1, place + 1)]
            low, high = (around[1], around[0]) if is_falling else around
            gap_days = (high.first - low.first).days
            is_within = low.first <= entry.first <= high.first
            if entry not in around and 0 <= gap_days <= FEW_DAYS and not is_within:
                off = min(abs((entry.first - one.first).days) for one in around)
                if off >= FEW_DAYS - 5:
                    reason = (
                        f"{entry.first} stands between {around[0].first} and {around[1].first}: "
                        "mend the date, or put the line in its place"
                    )
                    left_out.append(LeftOut(entry.lines[0], entry.identity[0], reason, True))
                    continue
            yield entry


def nearest_year(beside: date, month: int, day: int) -> int:
    """The year in which a month and day lie nearest to a day beside it.

    >>> nearest_year(date(2026, 1, 2), 12, 28), nearest_year(date(2025, 12, 30), 1, 1)
    (2025, 2026)
    """
    behind = (beside.month - month) * 31 + beside.day - day
    return beside.year + (1 if behind > 186 else -1 if behind < -186 else 0)


def year_before(lines: Sequence[Dated], order: str | None) -> int | None:
    """The year of the first line, going back from the first one that tells its own."""
    above: list[date] = []
    for one in lines:
        try:
            day = one.days.resolved(lambda month, day: LEAP_YEAR, order)[1]
        except ValueError:
            continue
        if one.days.has_year:
            for other in reversed(above):
                year = nearest_year(day, other.month, other.day)
                day = date(year, other.month, min(other.day, 28))
            return day.year
        above.append(day)
    return None


def _check_new_year(entries: Sequence[Entry]) -> None:
    """In January one writes the old year: days that go on but for one step back by a year."""
    pairs = [*itertools.pairwise(entries)]
    back = [(one, two) for one, two in pairs if two.first < one.first]
    if len(back) != 1 or len(pairs) < FEWEST_STEPS:
        return
    one, two = back[0]
    is_turn = (one.first.month, two.first.month) == (12, 1) and one.first.year == two.first.year
    if is_turn and one.part == two.part:
        raise Unreadable(
            f"after {one.first} comes {two.first}: is that the new year? Mend it, or name the "
            "grinders where the lines of another one begin",
            [one.lines[0], two.lines[0]],
        )
