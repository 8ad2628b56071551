"""Burr sets and their fittings.

What is stored is what was entered; when a fitting really ended (removed, or another set came in,
or this set went elsewhere) is worked out by ``core.burrs`` from all fittings.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    Select,
    bindparam,
    delete,
    insert,
    or_,
    select,
    update,
)

from . import accounts
from .tables import burr_set, fitting, grinder

WAS_IN = "was_in"
"""Member of a voided set's description: the grinders it was said to be in."""


@dataclass(frozen=True)
class BurrSetRow:
    burr_set_no: int
    burr_set_id: str
    created_at: datetime
    revision: int
    description: dict[str, Any]
    voided_at: datetime | None = None


@dataclass(frozen=True)
class FittingRow:
    """A fitting as entered, with the ids beside the numbers."""

    grinder_no: int
    grinder_id: str
    burr_set_no: int
    burr_set_id: str
    fitted_at: datetime
    removed_at: datetime | None


_COLUMNS = tuple(
    burr_set.c[name]
    for name in ("burr_set_no", "burr_set_id", "created_at", "revision", "description", "voided_at")
)
_BY_NOS = select(*_COLUMNS).where(
    burr_set.c.account_no == bindparam("account_no"),
    burr_set.c.burr_set_no.in_(bindparam("burr_set_nos", expanding=True)),
)
_here, _there = fitting.alias("here"), fitting.alias("there")


def _fittings_where(wanted: ColumnElement[bool]) -> Select[Any]:
    return (
        select(
            fitting.c.grinder_no,
            grinder.c.grinder_id,
            fitting.c.burr_set_no,
            burr_set.c.burr_set_id,
            fitting.c.fitted_at,
            fitting.c.removed_at,
        )
        .join(
            grinder,
            (grinder.c.account_no == fitting.c.account_no)
            & (grinder.c.grinder_no == fitting.c.grinder_no),
        )
        .join(
            burr_set,
            (burr_set.c.account_no == fitting.c.account_no)
            & (burr_set.c.burr_set_no == fitting.c.burr_set_no),
        )
        .where(fitting.c.account_no == bindparam("account_no"), wanted)
        .order_by(fitting.c.fitted_at, fitting.c.grinder_no)
    )


_FITTINGS = _fittings_where(
    or_(
        fitting.c.grinder_no.in_(bindparam("grinder_nos", expanding=True)),
        fitting.c.burr_set_no.in_(bindparam("burr_set_nos", expanding=True)),
    )
)
_IN_GRINDERS = _fittings_where(
    fitting.c.grinder_no.in_(
        select(_there.c.grinder_no)
        .join(
            _here,
            (_here.c.account_no == _there.c.account_no)
            & (_here.c.burr_set_no == _there.c.burr_set_no),
        )
        .where(
            _here.c.account_no == bindparam("account_no"),
            _here.c.grinder_no.in_(bindparam("grinder_nos", expanding=True)),
        )
    )
)


def add(
    connection: Connection,
    account_no: int,
    *,
    burr_set_id: str | None,
    description: dict[str, Any],
    now: datetime,
) -> BurrSetRow:
    """A new set; without an id it is named after its number."""
    burr_set_no = accounts.next_no(connection, account_no)
    if burr_set_id is None:
        burr_set_id = f"burr-set-{burr_set_no}"
        while by_id(connection, account_no, burr_set_id) is not None:
            burr_set_id += "-"
    connection.execute(
        insert(burr_set).values(
            account_no=account_no,
            burr_set_no=burr_set_no,
            burr_set_id=burr_set_id,
            created_at=now,
            revision=1,
            description=description,
        )
    )
    return BurrSetRow(burr_set_no, burr_set_id, now, 1, description)


def by_id(connection: Connection, account_no: int, burr_set_id: str) -> BurrSetRow | None:
    row = connection.execute(
        select(*_COLUMNS).where(
            burr_set.c.account_no == account_no, burr_set.c.burr_set_id == burr_set_id
        )
    ).first()
    return None if row is None else BurrSetRow(*row)


def by_nos(
    connection: Connection, account_no: int, burr_set_nos: Iterable[int]
) -> dict[int, BurrSetRow]:
    rows = connection.execute(
        _BY_NOS, {"account_no": account_no, "burr_set_nos": sorted(set(burr_set_nos))}
    )
    return {row.burr_set_no: BurrSetRow(*row) for row in rows}


def change(
    connection: Connection, account_no: int, burr_set_no: int, *, description: dict[str, Any]
) -> None:
    connection.execute(
        update(burr_set)
        .where(burr_set.c.account_no == account_no, burr_set.c.burr_set_no == burr_set_no)
        .values(description=description, revision=burr_set.c.revision + 1)
    )


def void(
    connection: Connection,
    account_no: int,
    found: BurrSetRow,
    grinder_ids: Iterable[str],
    now: datetime,
) -> None:
    """Mark the set voided, as if it had never been fitted: its fittings go.

    The grinders it was said to be in are kept beside what describes it, so that those who saw it
    before see that it was voided.
    """
    if found.voided_at is not None:
        return
    clear_fittings(connection, account_no, found.burr_set_no)
    connection.execute(
        update(burr_set)
        .where(burr_set.c.account_no == account_no, burr_set.c.burr_set_no == found.burr_set_no)
        .values(
            voided_at=now,
            revision=burr_set.c.revision + 1,
            description={**found.description, WAS_IN: sorted(set(grinder_ids))},
        )
    )


def touch(connection: Connection, account_no: int, burr_set_nos: Iterable[int]) -> None:
    """Count up the revision of sets whose fittings changed."""
    connection.execute(
        update(burr_set)
        .where(
            burr_set.c.account_no == account_no,
            burr_set.c.burr_set_no.in_(sorted(set(burr_set_nos))),
        )
        .values(revision=burr_set.c.revision + 1)
    )


def fittings_around(
    connection: Connection,
    account_no: int,
    *,
    grinder_nos: Iterable[int] = (),
    burr_set_nos: Iterable[int] = (),
) -> list[FittingRow]:
    """All fittings that can bear on those of the named grinders and sets.

    These are the fittings in the grinders, those of every set that was ever in one, and those in
    every grinder such a set was in, because each of them may end another.
    """
    grinder_set, set_set = set(grinder_nos), set(burr_set_nos)
    rows: list[FittingRow] = []
    for _ in range(3):
        before = len(grinder_set), len(set_set)
        rows = _fittings(connection, account_no, grinder_set, set_set)
        grinder_set |= {row.grinder_no for row in rows}
        set_set |= {row.burr_set_no for row in rows}
        if (len(grinder_set), len(set_set)) == before:
            break
    return rows


def fittings_of_grinders(
    connection: Connection, account_no: int, grinder_nos: Iterable[int]
) -> dict[int, list[FittingRow]]:
    """For each grinder all fittings that can bear on its own, as ``fittings_around`` finds them.

    A set that was in a grinder is ended there by all that came into any grinder it was in.
    """
    numbers = sorted(set(grinder_nos))
    rows = [
        FittingRow(*row)
        for row in connection.execute(
            _IN_GRINDERS, {"account_no": account_no, "grinder_nos": numbers}
        )
    ]
    of_grinder: dict[int, list[int]] = defaultdict(list)
    of_set: dict[int, list[int]] = defaultdict(list)
    for place, row in enumerate(rows):
        of_grinder[row.grinder_no].append(place)
        of_set[row.burr_set_no].append(place)
    found = {}
    for number in numbers:
        sets = {rows[place].burr_set_no for place in of_grinder[number]}
        near = {rows[place].grinder_no for set_no in sets for place in of_set[set_no]}
        places = sorted(place for other in near for place in of_grinder[other])
        found[number] = [rows[place] for place in places]
    return found


def _fittings(
    connection: Connection, account_no: int, grinder_nos: set[int], burr_set_nos: set[int]
) -> list[FittingRow]:
    rows = connection.execute(
        _FITTINGS,
        {
            "account_no": account_no,
            "grinder_nos": sorted(grinder_nos),
            "burr_set_nos": sorted(burr_set_nos),
        },
    )
    return [FittingRow(*row) for row in rows]


def add_fitting(
    connection: Connection,
    account_no: int,
    *,
    grinder_no: int,
    burr_set_no: int,
    fitted_at: datetime,
    removed_at: datetime | None,
) -> None:
    connection.execute(
        insert(fitting).values(
            account_no=account_no,
            grinder_no=grinder_no,
            burr_set_no=burr_set_no,
            fitted_at=fitted_at,
            removed_at=removed_at,
        )
    )


def clear_fittings(connection: Connection, account_no: int, burr_set_no: int) -> None:
    connection.execute(
        delete(fitting).where(
            fitting.c.account_no == account_no, fitting.c.burr_set_no == burr_set_no
        )
    )
