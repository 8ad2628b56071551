"""Which column of a notebook holds what: dates, kilograms, grinders, notes."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field

from burrline._notebook_amounts import UNITS, amount_in, unit_in
from burrline._notebook_cells import Question, Row, Unreadable, plain
from burrline._notebook_dates import days_in

# Words that headings begin with, in English, German, French, Spanish, Italian, Dutch.
_DATES = """date datum day tag jour fecha dia data giorno dag week woche semaine semana settimana
month monat mois mes maand"""
_AMOUNTS = """coffee kaffee cafe caffe koffie amount menge quantit cantidad hoeveelheid ground
gemahlen moulu molido macinato gemalen beans bohnen grains granos chicchi bonen weight gewicht
poids peso use verbrauch consum conso verbruik mass masse"""
_METERS = """meter counter zahler compteur contador contatore teller reading stand cumul kumul
running so\u00a0far bisher since"""
_PER_DAY = "per daily today taglich heute quotidien diari giornalier dagelijks"
_TOTALS = """total sum summe gesamt somme suma somma totaal totale all average mean mittel schnitt
moyenne media promedio gemiddeld balance subtotal zwischensumme ubertrag carried σ"""
_GRINDERS = "grinder machine muhle moulin molino molinillo macinino macinacaffe molen maler"
_NOTES = """note notiz remark comment bemerk anmerk kommentar remarque nota observ opmerk notit
what"""
_OTHERS = """shot cup dose bezug bezuge drink time uhr zeit heure hora ora tijd temp price preis
prix precio prezzo prijs setting einstell mahlgrad reglage who wer qui name sign initial bag min
sec sek n° no nr # °c eur € $ £ rpm"""
_WEEKS = "week weeks woche wochen semaine semaines semana settimana"
_ENDINGS = "end bis until fin hasta tot"
WEEKS, ENDINGS = frozenset(_WEEKS.split(" ")), tuple(_ENDINGS.split(" "))
DATES, AMOUNTS, METERS, PER_DAY, TOTALS, GRINDERS, NOTES, OTHERS = (
    tuple(one.replace("\u00a0", " ") for one in words.replace("\n", " ").split(" "))
    for words in (_DATES, _AMOUNTS, _METERS, _PER_DAY, _TOTALS, _GRINDERS, _NOTES, _OTHERS)
)


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
    notes: list[tuple[int, str]] = field(default_factory=list)
    titles: list[Row] = field(default_factory=list)
    facts: list[str] = field(default_factory=list)
    is_lenient: bool = False


def score_rows(rows: Sequence[Row], *, is_lenient: bool = False) -> int:
    """How many rows have a date in one cell and an amount in another."""
    return sum(_is_entry(row, is_lenient) for row in rows)


def layout_of(
    rows: Sequence[Row],
    *,
    columns: Sequence[str] = (),
    known_names: Collection[str] = (),
    is_lenient: bool = False,
) -> Layout:
    """Tell the columns apart by their headings and by what stands in them."""
    first = next(place for place, row in enumerate(rows) if _is_entry(row, is_lenient))
    while first and _is_faulty_entry(rows[first - 1], is_lenient):
        first -= 1
    body = rows[first:]
    width = max(len(row.cells) for row in rows)
    named, units, titles = _headings(rows[:first], width)
    headings = named + ("",) * (width - len(named))
    day_counts = [
        (sum(days_in(row.cell(n), is_lenient=is_lenient) is not None for row in body), n)
        for n in range(width)
    ]
    date = max(day_counts, key=lambda one: (one[0], _is(headings[one[1]], DATES), -one[1]))[1]
    found = Layout(
        headings, len(named), body[0].line, date, [], titles=titles, is_lenient=is_lenient
    )
    others = [n for n in range(width) if n != date and any(row.cell(n) for row in body)]
    names = {plain(name) for name in known_names}
    for n in others:
        cells = [cell for row in body if (cell := row.cell(n))]
        if found.time is None and all(re.fullmatch(r"\d{1,2}[:h]\d\d.*", one) for one in cells):
            found.time = n
        elif found.grinder is None and (
            (_is(headings[n], GRINDERS) and not _is_mostly_amounts(cells))
            or (names and all(plain(one) in names for one in cells))
        ):
            found.grinder = n
    rest = [n for n in others if n not in (found.time, found.grinder)]
    chosen = _amount_columns(body, headings, units, rest, columns, names)
    found.amounts = _as_columns(chosen, headings, units, names, found)
    for n in rest:
        if n in chosen:
            continue
        cells = [cell for row in body if (cell := row.cell(n))]
        if _is_mostly_amounts(cells) and not _is(headings[n], NOTES):
            found.facts.append(f"column {_named(headings, n)} is not used")
        else:
            label = "" if _is(headings[n], NOTES) else headings[n]
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


def is_total(row: Row) -> bool:
    """Whether a row calls itself a sum, a mean or something carried over."""
    return any(
        plain(cell).strip(" :.=").startswith(TOTALS) and amount_in(cell) is None
        for cell in row.filled[:2]
    )


def _is_entry(row: Row, is_lenient: bool) -> bool:
    days = [n for n, one in enumerate(row.cells) if days_in(one, is_lenient=is_lenient)]
    return any(
        amount_in(one) is not None
        for n, one in enumerate(row.cells)
        if one and n != (days[0] if days else None)
    ) and bool(days)


def _is_faulty_entry(row: Row, is_lenient: bool) -> bool:
    """Whether a row is an entry but for its amount, or but for its date: no headings."""
    dated = [one for one in row.filled if days_in(one, is_lenient=is_lenient)]
    if dated and len(row.filled) > len(dated):
        return True
    others = [one for one in row.filled if amount_in(one) is None]
    return len(others) < len(row.filled) and any(re.search(r"\d\D+\d", one) for one in others)


def _headings(
    above: Sequence[Row], width: int
) -> tuple[tuple[str, ...], dict[int, str], list[Row]]:
    """The headings, the units named in a row of their own, and the titles before them."""
    titles, units = list(above), {}
    headings: tuple[str, ...] = ()
    last = titles[-1] if titles else None
    if last is not None and all(unit_in(one) and len(one) < 8 for one in last.filled):
        units = {n: unit_in(one) or "" for n, one in enumerate(last.cells) if one}
        titles.pop()
    if titles and (len(titles[-1].filled) > 1 or width == 1):
        row = titles.pop()
        headings = row.cells
    return headings, units, titles


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
    worded = [n for n in numeric if _is(headings[n], AMOUNTS) or _is(headings[n], METERS)]
    if worded:
        return worded
    plainly = [n for n in numeric if not _is(headings[n], OTHERS)]
    if len(plainly) > 1 and not any(headings[n] for n in plainly):
        raise Unreadable(
            "has more than one column of numbers and no headings; with a decimal comma, separate "
            "the cells by semicolons or quote the numbers",
            [body[0].line],
        )
    if not plainly:
        raise Unreadable("has no column of kilograms")
    unknown = [n for n in plainly if not _is(headings[n], (*TOTALS, *METERS))]
    if names and len(unknown) > 1:
        flags = " ".join(f"--column {headings[n]!r}" for n in unknown)
        raise Question(
            "columns",
            "Which columns are amounts of coffee?",
            [headings[n] for n in unknown],
            f"{flags}, or those of them that are",
        )
    return plainly


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
        is_meter = True if _is(heading, METERS) else False if _is(heading, PER_DAY) else None
        unit = unit_in(heading) or units.get(n)
        made.append(Column(n, heading, unit, None, is_meter))
    if len(made) > 1:
        sums = [one for one in made if _is(one.heading, TOTALS) and not one.is_meter]
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
        and not plain(word).startswith((*METERS, *AMOUNTS, *TOTALS, *PER_DAY))
    ]
    return " ".join(words).strip(" ,:/-")


def _bare(heading: str) -> str:
    return plain(_shown(heading))


def _is(heading: str, words: Sequence[str]) -> bool:
    said = re.sub(r"[(\[{/_.:-]", " ", plain(heading))
    return any(f" {said}".find(f" {word}") >= 0 for word in words)


def _is_mostly_amounts(cells: Sequence[str]) -> bool:
    return bool(cells) and 2 * sum(amount_in(one) is not None for one in cells) > len(cells)


def _unit_count(cells: Sequence[str]) -> int:
    return sum((one := amount_in(cell)) is not None and one.unit is not None for cell in cells)


def _named(headings: Sequence[str], place: int) -> str:
    return repr(headings[place]) if headings[place] else f"number {place + 1}"
