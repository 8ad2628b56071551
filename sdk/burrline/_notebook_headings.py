"""A notebook's headings, in one line or two, and which of its columns tell the days."""

from __future__ import annotations

from collections.abc import Sequence

from burrline._notebook_amounts import amount_in, unit_in
from burrline._notebook_cells import Question, Row, Unreadable, plain
from burrline._notebook_dates import days_in
from burrline._notebook_words import (
    DATES,
    DAY_WORDS,
    FROM_WORDS,
    OTHER_DATES,
    TO_WORDS,
    is_about,
    is_no_amount,
    words_of,
)


def headings_of(
    above: Sequence[Row], width: int
) -> tuple[tuple[str, ...], dict[int, str], list[Row]]:
    """The headings, the units named in a row of their own, and the titles before them."""
    titles, units = list(above), {}
    headings: tuple[str, ...] = ()
    last = titles[-1] if titles else None
    named = [] if last is None else [one for one in last.filled if not is_about(one, DATES)]
    is_of_units = bool(named) and all(unit_in(one) and len(one) < 8 for one in named)
    has_names_above = len(titles) > 1 and len(titles[-2].filled) > 1
    if last is not None and is_of_units and (has_names_above or len(named) == len(last.filled)):
        units = {n: unit_in(one) or "" for n, one in enumerate(last.cells) if one}
        titles.pop()
    if titles and (len(titles[-1].filled) > 1 or width == 1):
        headings = titles.pop().cells
        upper = titles[-1] if titles else None
        if (
            upper is not None
            and len(upper.filled) > 1
            and len({*filter(None, headings)}) < len([*filter(None, headings)])
        ):
            headings = _under(titles.pop().cells, headings)
    return headings, units, titles


def _under(upper: Sequence[str], lower: Sequence[str]) -> tuple[str, ...]:
    """Headings in two lines, the upper ones over all columns up to the next one.

    >>> _under(("", "bar-1", "", "bar-2"), ("date", "kg", "note", "kg", "note"))
    ('date', 'bar-1 kg', 'bar-1 note', 'bar-2 kg', 'bar-2 note')
    """
    made, over = [], ""
    for n, word in enumerate(lower):
        over = (upper[n] if n < len(upper) else "") or over
        made.append(f"{over} {word}".strip() if n and word else word)
    return tuple(made)


def date_columns(
    body: Sequence[Row], headings: Sequence[str], *, chosen: str | None, is_lenient: bool
) -> tuple[int, int | None]:
    """The column of days, and that of last days where each line tells a stretch in two cells."""
    counts = {
        n: sum(days_in(row.cell(n), is_lenient=is_lenient) is not None for row in body)
        for n in range(len(headings))
    }
    most = max(counts.values())
    dated = [n for n, count in counts.items() if count and 2 * count >= most]
    if chosen is not None:
        named = [n for n in dated if plain(chosen) in (plain(headings[n]), str(n + 1))]
        if not named:
            raise Unreadable(f"has no column {chosen!r} of dates")
        return named[0], None
    firsts = [n for n in dated if FROM_WORDS & {*words_of(headings[n])}]
    lasts = [n for n, count in counts.items() if count and TO_WORDS & {*words_of(headings[n])}]
    if len(firsts) == len(lasts) == 1 and firsts != lasts:
        return firsts[0], lasts[0]
    whole = _with_days(body, dated)
    if _are_side_by_side(body, headings, whole):
        raise Unreadable("holds tables side by side: put one below the other")
    alone = [n for n in dated if words_of(headings[n]) and {*words_of(headings[n])} <= DAY_WORDS]
    if len(whole) > 1 and len(alone) != 1:
        flags = " or ".join(f"--date-column {headings[n] or n + 1!r}" for n in whole)
        raise Question(
            "date_column",
            "Which column tells the day on which it was ground?",
            [headings[n] or str(n + 1) for n in whole],
            flags,
        )
    if len(alone) == 1 and len(whole) > 1:
        return alone[0], None
    found = max(counts, key=lambda n: (counts[n], is_about(headings[n], DATES), -n))
    if OTHER_DATES & {*words_of(headings[found])}:
        raise Question(
            "date_column",
            f"Are the dates of {headings[found]!r} those on which it was ground?",
            [headings[found]],
            f"--date-column {headings[found]!r}",
        )
    return found, None


def _with_days(body: Sequence[Row], dated: Sequence[int]) -> list[int]:
    """Those of the columns that tell days, not months alone."""
    return [
        n for n in dated if any((days := days_in(row.cell(n))) and days.is_of_days for row in body)
    ]


def _are_side_by_side(body: Sequence[Row], headings: Sequence[str], dated: Sequence[int]) -> bool:
    """Whether amounts stand behind each of two columns of dates."""

    def is_amount(n: int) -> bool:
        cells = [cell for row in body if (cell := row.cell(n))]
        return (
            n not in dated
            and (unit_in(headings[n]) is not None or not headings[n])
            and not is_no_amount(headings[n])
            and 2 * sum(amount_in(one) is not None for one in cells) > len(cells)
        )

    if len(dated) < 2:
        return False
    ends = [*dated[1:], len(headings)]
    parts = [any(map(is_amount, range(n, end))) for n, end in zip(dated, ends, strict=True)]
    return sum(parts) > 1
