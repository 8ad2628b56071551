"""Dates as people write them: days, stretches of days, weeks and months.

A cell may leave out the year, or write two numbers whose order it does not tell; what it says is
kept as a ``When`` and becomes a date once order and year are known.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import lru_cache

from burrline._notebook_cells import plain

# January to December in English, German, French, Spanish, Italian, Dutch; and how they are cut
_NAMES = """
january jan januar janner janvier janv enero ene gennaio gen januari
february feb februar febr feber fevrier fevr fev febrero febbraio februari
march mar marz maerz mrz mars marzo maart mrt
april apr avril avr abril abr aprile
may mai mayo maggio mag mei
june jun juni juin junio giugno giu
july jul juli juillet juil julio luglio lug
august aug aout agosto ago augustus
september sep sept septembre septiembre settembre set
october oct oktober okt octobre octubre ottobre ott
november nov novembre noviembre
december dec dezember dez decembre diciembre dic dicembre
"""
MONTHS = {
    name: number
    for number, line in enumerate(_NAMES.strip().splitlines(), start=1)
    for name in line.split()
}
_WEEKDAY_NAMES = """
monday mon montag mo lundi lun lunes lunedi maandag ma
tuesday tue tues dienstag di mardi mar martes martedi dinsdag
wednesday wed mittwoch mi mercredi mer miercoles mie mercoledi woensdag wo
thursday thu thur thurs donnerstag do jeudi jeu jueves jue giovedi gio donderdag
friday fri freitag fr vendredi ven viernes vie venerdi vrijdag vr
saturday sat samstag sonnabend sa samedi sam sabado sab sabato zaterdag za
sunday sun sonntag so dimanche dim domingo dom domenica zondag zo
"""
_WEEKDAYS = {
    name: number
    for number, line in enumerate(_WEEKDAY_NAMES.strip().splitlines())
    for name in line.split()
}
ORDERS = ("day", "month", "year")
"""Which of the numbers of a date stands first."""
LONGEST_CHARACTERS = 60
_FILLER_WORDS = "de del of di du the le el il den am er st nd rd th o a"
_FILLERS = frozenset(_FILLER_WORDS.split())
_WEEK_WORDS = r"(?:kw|cw|wk|week|weeks|woche|semaine|semana|settimana|sem|w)"
_TIME = re.compile(
    r"(?<=\d)(?:t|,? )(?:\d{1,2}[:h]\d\d(?::\d\d(?:\.\d+)?)?|\d{1,2}(?= ?[ap]m))"
    r"(?: ?[ap]\.?m\.?| ?uhr| ?h)?(?: ?z| ?[+-]\d\d:?\d\d)?$"
)
_ISO = re.compile(r"(\d{4})([-/.])(\d{1,2})\2(\d{1,2})")
_DIGITS = re.compile(r"(20\d\d)(\d\d)(\d\d)")
_ISO_MONTH = re.compile(r"(20\d\d)-(\d\d)")
_DOTS = re.compile(r"(\d{1,2})\. ?(\d{1,2})\.(?: ?(\d{4}|\d\d))?")
_BARE_DOTS = re.compile(r"(\d{1,2})\.(\d{1,2})")
_PAIR = re.compile(r"(\d{1,2})/(\d{1,2})(?:/(\d{4}|\d\d))?|(\d{1,2})-(\d{1,2})-(\d{4}|\d\d)")
_WEEK = re.compile(rf"(?:(\d{{4}})[ /-]*)?{_WEEK_WORDS}\.? ?(\d{{1,2}})(?:[ /,-]+(\d{{4}}))?")
_FROM = re.compile(r"^(?:from|von|vom|du|del|dal|van) (?=.*\d.*\d)")
_BETWEEN = re.compile(r" ?(?:\.\.\.?| to | until | till | bis | au | al | tot | - |-|/) ?")
_DAY_ALONE = re.compile(r"(\d{1,2})\.?")
_DAYS_OF_MONTH = re.compile(r"(?<![\d/.])(\d{1,2})\.? ?(?:-|bis| to ) ?(\d{1,2})(?![\d/])")


@dataclass(frozen=True)
class When:
    """One date as far as a cell tells it; ``pair`` are two numbers in an order it does not tell."""

    year: int | None = None
    month: int | None = None
    day: int | None = None
    pair: tuple[int, int] | None = None
    week: int | None = None
    short: tuple[int, int, int] | None = None
    """Its three numbers as written, where the year may as well be the first of them."""
    is_pointed: bool = field(default=False, compare=False)
    """Whether it is written with points, and so begins with its day."""


@dataclass(frozen=True)
class Days:
    """A cell's first and last day; they are one where it names a single date."""

    first: When
    last: When
    weekday: int | None = None
    """The day of the week that stands before it, Monday 0."""
    has_zone: bool = False
    """Whether it tells a time by a clock that may be of elsewhere."""

    @property
    def pairs(self) -> list[tuple[int, int]]:
        return [one.pair for one in (self.first, self.last) if one.pair is not None]

    @property
    def has_year(self) -> bool:
        return self.last.year is not None

    @property
    def is_of_days(self) -> bool:
        """Whether it tells days or weeks, not a whole month."""
        return (self.last.week, self.last.day, self.last.pair) != (None, None, None)

    def resolved(self, year_of: Callable[[int, int], int], order: str | None) -> tuple[date, date]:
        """The first and the last day; ``year_of`` gives the year of a month and day without one.

        ``ValueError`` where there is no such day.
        """
        first, last = (_ordered(one, order) for one in (self.first, self.last))
        if last.year is None:
            month, day = (last.month, last.day) if last.week is None else (1, 1)
            if last.week is not None:
                month, day = min(12, 1 + last.week * 7 // 31), 15
            last = replace(last, year=year_of(month or 1, day or 1))
        if first.year is None:
            first = replace(first, year=last.year)
            if _begin(first) > _end(last) and self.first is not self.last:
                first = replace(first, year=(last.year or 0) - 1)
        begins, ends = _begin(first), _end(last)
        if begins > ends:
            raise ValueError("ends before it begins")
        return begins, ends


@lru_cache(maxsize=100_000)  # every cell is looked at more than once
def days_in(text: str, *, is_lenient: bool = False) -> Days | None:
    """What a cell says of days, or None where it is no date.

    ``is_lenient`` also takes what elsewhere would be a number or a word: ``1.3``, ``20260301``
    and ``March``; in a column of dates, that is.

    >>> days_in("So., 1. März 2026").last == When(2026, 3, 1), days_in("So. 1. März").weekday
    (True, 6)
    >>> days_in("1.-7.3.").first == When(None, 3, 1)
    True
    >>> days_in("12,5 kg") is None, days_in("1.3") is None
    (True, True)
    """
    if len(text) > LONGEST_CHARACTERS or not (is_lenient or any(one.isdigit() for one in text)):
        return None
    said, weekday = _without_weekday(_FROM.sub("", plain(text)))
    time = _TIME.search(said)
    said = _TIME.sub("", said)
    alone = _one(said, is_lenient)
    if alone is not None:
        has_zone = time is not None and re.search(r"z$|[+-]\d\d:?\d\d$", time[0]) is not None
        return Days(alone, alone, weekday, has_zone)
    within = _DAYS_OF_MONTH.search(said)
    if within is not None and re.search("[a-z]", said):
        sides = [said[: within.start()] + within[n] + said[within.end() :] for n in (1, 2)]
        first, last = (_one(side, False) for side in sides)
        if first is not None and last is not None and first.day and last.day:
            return Days(first, last)
    for between in _BETWEEN.finditer(said):
        last = _one(_TIME.sub("", said[between.end() :]), False)
        if last is None or last.week is not None:
            continue
        left = _TIME.sub("", said[: between.start()])
        first = _one(left, False)
        day = _DAY_ALONE.fullmatch(left)
        if first is None and day is not None and last.pair is None:
            first = replace(last, day=int(day[1]))
        if first is not None and (first.year is None or last.year is not None):
            return Days(first, last)
    return None


def year_in(text: str) -> int | None:
    """The one year that a title names.

    >>> year_in("Kaffee 2026 / Theke"), year_in("2025 and 2026")
    (2026, None)
    """
    years = {int(one) for one in re.findall(r"(?<!\d)20\d\d(?!\d)", text)}
    return years.pop() if len(years) == 1 else None


def _one(said: str, is_lenient: bool) -> When | None:
    said = said.strip(" ,")
    if found := _ISO.fullmatch(said):
        return When(int(found[1]), int(found[3]), int(found[4]))
    if found := _DOTS.fullmatch(said):
        day, month = int(found[1]), int(found[2])
        short = _short(day, month, found[3])
        return When(_year(found[3]), month, day, short=short, is_pointed=True)
    if found := _PAIR.fullmatch(said):
        one, two, year = (found[1], found[2], found[3]) if found[1] else found.group(4, 5, 6)
        pair = int(one), int(two)
        return When(_year(year), pair=pair, short=_short(*pair, year))
    if found := _ISO_MONTH.fullmatch(said):
        return When(int(found[1]), int(found[2]))
    if found := _WEEK.fullmatch(said):
        return When(_year(found[1] or found[3]), week=int(found[2]))
    if is_lenient and (found := _BARE_DOTS.fullmatch(said)):
        return When(None, int(found[2]), int(found[1]))
    if is_lenient and (found := _DIGITS.fullmatch(said)):
        return When(int(found[1]), int(found[2]), int(found[3]))
    return _named(said, is_lenient)


def _named(said: str, is_lenient: bool) -> When | None:
    """A date with the name of its month."""
    if re.search(r"[^\w\s.,'/-]", said):
        return None
    words = re.findall(r"[^\W\d_]+|\d+", said)
    numbers = [word for word in words if word.isdigit()]
    letters = [word for word in words if not word.isdigit() and word not in _FILLERS]
    if len(letters) != 1 or letters[0] not in MONTHS:
        return None
    years = [int(one) for one in numbers if len(one) == 4]
    small = [one for one in numbers if len(one) <= 2]
    if len(years) + len(small) != len(numbers) or len(years) > 1 or len(small) > 2 - len(years):
        return None
    year = years[0] if years else _year(small[1]) if len(small) == 2 else None
    if not small and year is None and not is_lenient:
        return None
    return When(year, MONTHS[letters[0]], int(small[0]) if small else None)


def weekday_of(text: str) -> int | None:
    """The day of the week that a cell names and nothing else, Monday 0.

    >>> weekday_of("Mo."), weekday_of("jeudi"), weekday_of("closed")
    (0, 3, None)
    """
    return _WEEKDAYS.get(plain(text).strip(" .,"))


def _without_weekday(said: str) -> tuple[str, int | None]:
    found = re.match(r"([a-z]+)\.?,? +(?=.*\d)|([a-z]+)[.,]+ *(?=.*\d)", said)
    word = "" if found is None else found[1] or found[2]
    if found is None or word not in _WEEKDAYS:
        return said, None
    rest = said[found.end() :]
    # "mar" is a Tuesday only where a month still follows or numbers tell the month
    if word in MONTHS and not re.search(r"[a-z]{3}|\d[./-]\d", rest):
        return said, None
    return rest, _WEEKDAYS[word]


def _short(one: int, two: int, last: str | None) -> tuple[int, int, int] | None:
    return (one, two, int(last)) if last is not None and len(last) == 2 else None


def _year(digits: str | None) -> int | None:
    if digits is None:
        return None
    return int(digits) + (2000 if len(digits) == 2 else 0)


def _ordered(when: When, order: str | None) -> When:
    if order == "year" and when.short is not None:
        year, month, day = when.short
        return When(2000 + year, month, day)
    if when.pair is None:
        return when
    one, two = when.pair
    day, month = (one, two) if order == "day" else (two, one)
    return replace(when, pair=None, day=day, month=month)


def _begin(when: When) -> date:
    if when.week is not None:
        return date.fromisocalendar(when.year or 0, when.week, 1)
    return date(when.year or 0, when.month or 0, 1 if when.day is None else when.day)


def _end(when: When) -> date:
    if when.week is not None:
        return date.fromisocalendar(when.year or 0, when.week, 7)
    if when.day is not None:
        return _begin(when)
    return (_begin(when) + timedelta(days=31)).replace(day=1) - timedelta(days=1)
