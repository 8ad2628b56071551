"""A fleet as a table: sites, grinders and burr sets as they should be, one line a grinder.

Every line names a site; with a grinder it is about that grinder at that site, with a burr set
about the set that is in it. The same thing may stand in several lines, saying the same of it.
"""

from __future__ import annotations

import argparse
import csv
import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from burrline._plate import BURR_SET, PLATE, Member, instant_text, word

CLEARS = "-"
SITE = (
    Member("site_name", ("name",), word, "the site's name"),
    Member("time_zone", ("time_zone",), word, "its time zone, such as Europe/Oslo"),
)
FITTED = Member("fitted_at", ("fitted_at",), instant_text, "when the set was fitted (RFC 3339)")
IDS = ("site_id", "grinder_id", "burr_set_id")
MEMBERS = {
    "site": SITE,
    "grinder": PLATE,
    "burr set": BURR_SET,
}
COLUMNS = (*IDS, *(one.name for kind in MEMBERS.values() for one in kind), FITTED.name)


class Unreadable(ValueError):
    """The file as a whole is no such table."""


@dataclass
class Thing:
    """What a file says of one site, grinder or burr set, and in which line first.

    ``values`` are flat, by the names of the columns; None is to be taken away. ``place`` is
    where it belongs: a grinder's site, a burr set's grinder.
    """

    noun: str
    name: str
    line: int
    values: dict[str, Any] = field(default_factory=dict)
    place: str | None = None
    fitted_at: str | None = None


def read_fleet(content: bytes) -> tuple[list[Thing], list[tuple[int, str]]]:
    """The things of a file in the order of their lines, and what is wrong with which line.

    >>> things, faults = read_fleet(
    ...     b"site_id,site_name,time_zone,grinder_id,name,limit_celsius\\n"
    ...     b"mill-lane,Mill Lane,Europe/Oslo,bar-1,Bar left,75\\n"
    ...     b"mill-lane,,,bar-2,Bar right,hot\\n"
    ... )
    >>> [(one.noun, one.name, one.values) for one in things][:2]
    [('site', 'mill-lane', {'site_name': 'Mill Lane', 'time_zone': 'Europe/Oslo'}),
     ('grinder', 'bar-1', {'name': 'Bar left', 'limit_celsius': 75.0})]
    >>> faults
    [(3, "limit_celsius: 'hot' is not a number")]
    """
    things: dict[tuple[str, str], Thing] = {}
    stays: dict[tuple[str, str], str | None] = {}
    faults: list[tuple[int, str]] = []
    for number, row in _rows(content):
        try:
            for told in _things_of(number, row):
                known = things.setdefault((told.noun, told.name), told)
                if known is not told:
                    _agree(known, told)
            _check_stay(stays, row)
        except ValueError as error:
            faults.append((number, str(error)))
    return list(things.values()), faults


def _rows(content: bytes) -> Iterator[tuple[int, dict[str, str]]]:
    """The lines that say something, by number, as the cells that are filled in."""
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise Unreadable(f"is not UTF-8 (byte {error.start})") from None
    first = text.partition("\n")[0]
    separator = ";" if ";" in first and "," not in first else ","
    table = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    columns: list[str] | None = None
    try:
        for cells in table:
            cells = [cell.strip() for cell in cells]
            if not any(cells) or cells[0].startswith("#"):
                continue
            if columns is None:
                columns = _checked_columns(cells)
                continue
            if len(cells) > len(columns):
                cells = [*cells[: len(columns)], *filter(None, cells[len(columns) :])]
            row = {name: cell for name, cell in zip(columns, cells, strict=False) if cell}
            if len(cells) > len(columns):
                row[""] = cells[len(columns)]
            yield table.line_num, row
    except csv.Error as error:
        raise Unreadable(f"line {table.line_num}: {error}") from None
    if columns is None:
        raise Unreadable("holds no line of column names")


def _checked_columns(names: list[str]) -> list[str]:
    unknown = [name for name in names if name not in COLUMNS]
    if unknown:
        raise Unreadable(f"has columns that are not known: {', '.join(map(repr, unknown))}")
    if len(set(names)) < len(names):
        raise Unreadable("names a column twice")
    if "site_id" not in names:
        raise Unreadable("has no column site_id")
    return names


def _things_of(number: int, row: Mapping[str, str]) -> list[Thing]:
    if "" in row:
        raise ValueError(f"has more cells than there are columns: {row['']!r}")
    site_id, grinder_id, burr_set_id = (row.get(name) for name in IDS)
    if site_id is None:
        raise ValueError("site_id is needed")
    told = [Thing("site", site_id, number, _values(row, SITE))]
    plate = _values(row, PLATE)
    if grinder_id is not None:
        told.append(Thing("grinder", grinder_id, number, plate, place=site_id))
    elif plate or burr_set_id is not None:
        raise ValueError("grinder_id is needed")
    description = _values(row, BURR_SET)
    fitted_at = _values(row, (FITTED,)).get("fitted_at")
    if burr_set_id is not None:
        told.append(Thing("burr set", burr_set_id, number, description, grinder_id, fitted_at))
    elif description or fitted_at is not None:
        raise ValueError("burr_set_id is needed")
    return told


def _values(row: Mapping[str, str], members: tuple[Member, ...]) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for member in members:
        cell = row.get(member.name)
        if cell is None:
            continue
        try:
            values[member.name] = None if cell == CLEARS else member.read(cell)
        except argparse.ArgumentTypeError as error:
            raise ValueError(f"{member.name}: {error}") from None
    return values


def _agree(known: Thing, told: Thing) -> None:
    """Take what another line says of the same thing, unless it says otherwise."""
    what = f"{told.noun} {told.name}"
    if known.noun == "burr set":
        raise ValueError(f"{what} stands in line {known.line} already")
    if known.place != told.place:
        raise ValueError(f"{what} is at {known.place} by line {known.line}")
    for name, value in told.values.items():
        if known.values.setdefault(name, value) != value:
            raise ValueError(f"{name} of {what} is another one in line {known.line}")


def _check_stay(stays: dict[tuple[str, str], str | None], row: Mapping[str, str]) -> None:
    """Two sets in one grinder need their dates, else each would push out the other again."""
    grinder_id, burr_set_id = row.get("grinder_id"), row.get("burr_set_id")
    if grinder_id is None or burr_set_id is None:
        return
    others = [at for (where, _), at in stays.items() if where == grinder_id]
    stays[grinder_id, burr_set_id] = row.get("fitted_at")
    if others and None in (*others, row.get("fitted_at")):
        raise ValueError(
            f"grinder {grinder_id} has several burr sets in this file: each needs its fitted_at"
        )
