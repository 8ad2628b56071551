"""A notebook of kilograms, read as people keep them: pure, no question asked twice.

``read_notebook`` gives the days and their grams, and every line that was left out with the
reason. What only a person can tell (which of two numbers is the month, which unit) is raised as a
``Question``; the answer goes into ``Settings``.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import date
from types import MappingProxyType

from burrline._notebook_cells import (
    SEPARATORS,
    Question,
    Unreadable,
    text_of,
)
from burrline._notebook_columns import layout_of
from burrline._notebook_days import spelled_out
from burrline._notebook_questions import Settings
from burrline._notebook_reading import MOST_DAYS, Reading
from burrline._notebook_sums import Entry, LeftOut
from burrline._notebook_told import Notebook

__all__ = [
    "MOST_DAYS",
    "Entry",
    "LeftOut",
    "Notebook",
    "Question",
    "Settings",
    "Unreadable",
    "read_notebook",
]


def read_notebook(
    content: bytes,
    settings: Settings = Settings(),  # noqa: B008 (frozen)
    *,
    today: date,
    known_names: Collection[str] = (),
    owners: Mapping[str | None, str] = MappingProxyType({}),
) -> Notebook:
    """Read a notebook; ``known_names`` are grinders that columns or cells may name.

    ``owners`` tells by plain names, and None, whose they are: names of one are told together.

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
    separator, rows, is_lenient, told = spelled_out(text, settings, today)
    layout = layout_of(
        rows,
        columns=settings.columns,
        known_names=known_names,
        date_column=settings.date_column,
        is_lenient=is_lenient,
    )
    facts = [f"{encoding}, cells parted by {SEPARATORS[separator]}", *told, *layout.facts]
    reading = Reading(rows, layout, settings, today, facts, separator, known_names, owners)
    return reading.notebook()
