"""Grinders and their dated facts: what the plate says and where the machine stands."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Select, bindparam, insert, select, update

from ..core import nameplate
from ..core.records import Grinder, Site
from . import accounts, arrays, driver, facts
from .alert_tables import OF_ACCOUNT, alert_setting
from .standing import STANDING, within_bounds
from .tables import grinder, grinder_fact, site, site_fact
from .types import EPOCH, to_milliseconds


@dataclass(frozen=True)
class GrinderRow:
    """A grinder as of an instant, with its number and the site where it stands.

    ``patches`` are its dated facts up to that instant, in the order of their dates;
    ``alert_patches`` those of the settings of alerts of its account, its site and itself.
    """

    grinder_no: int
    site_no: int
    site: Site
    grinder: Grinder
    patches: tuple[tuple[datetime, dict[str, Any]], ...]
    alert_patches: tuple[facts.Dated, ...] = ()


def add(
    connection: Connection,
    account_no: int,
    *,
    grinder_id: str,
    site_no: int,
    plate: dict[str, Any],
    now: datetime,
) -> int:
    grinder_no = accounts.next_no(connection, account_no)
    connection.execute(
        insert(grinder).values(
            account_no=account_no,
            grinder_no=grinder_no,
            grinder_id=grinder_id,
            created_at=now,
            revision=1,
        )
    )
    connection.execute(
        insert(grinder_fact).values(
            account_no=account_no,
            grinder_no=grinder_no,
            effective_at=EPOCH,
            site_no=site_no,
            patch=plate,
        )
    )
    return grinder_no


def by_id(
    connection: Connection, account_no: int, grinder_id: str, *, as_of: datetime
) -> GrinderRow | None:
    rows = _rows(connection, account_no, _BY_ID, as_of, grinder_id=grinder_id)
    return rows[0] if rows else None


def by_ids(
    connection: Connection, account_no: int, grinder_ids: Iterable[str], *, as_of: datetime
) -> dict[str, GrinderRow]:
    rows = _rows(connection, account_no, _BY_IDS, as_of, grinder_ids=sorted(set(grinder_ids)))
    return {row.grinder.grinder_id: row for row in rows}


def by_nos(
    connection: Connection, account_no: int, grinder_nos: Iterable[int], *, as_of: datetime
) -> dict[int, GrinderRow]:
    rows = _rows(connection, account_no, _BY_NOS, as_of, grinder_nos=sorted(set(grinder_nos)))
    return {row.grinder_no: row for row in rows}


def numbers_of(
    connection: Connection, account_no: int, grinder_ids: Iterable[str]
) -> dict[str, int]:
    """The numbers of the grinders that are known, whatever their plates say."""
    names = sorted(set(grinder_ids))
    if connection.dialect.name == "postgresql":
        rows = connection.exec_driver_sql(_NUMBERS, (arrays.texts(names), account_no))
    else:
        rows = connection.exec_driver_sql(_NUMBERS_SQLITE, (account_no, json.dumps(names)))
    return {row.grinder_id: row.grinder_no for row in rows}


def ids_of(connection: Connection, account_no: int, grinder_nos: Iterable[int]) -> dict[int, str]:
    rows = connection.execute(
        select(grinder.c.grinder_no, grinder.c.grinder_id).where(
            grinder.c.account_no == account_no, grinder.c.grinder_no.in_(sorted(set(grinder_nos)))
        )
    )
    return {row.grinder_no: row.grinder_id for row in rows}


def plate_of(
    connection: Connection, account_no: int, grinder_id: str, *, as_of: datetime
) -> Grinder:
    """What a grinder's plate says at an instant, without where it stands."""
    mark = "%s" if driver.is_postgresql(connection) else "?"
    patches = driver.rows_of(
        connection,
        "SELECT patch FROM grinder_fact JOIN grinder USING (account_no, grinder_no)"
        f" WHERE account_no = {mark} AND grinder_id = {mark} AND effective_at <= {mark}"
        " ORDER BY effective_at",
        (account_no, grinder_id, to_milliseconds(max(as_of, EPOCH))),
    )
    given = (json.loads(patch) if isinstance(patch, str) else patch for (patch,) in patches)
    return nameplate.grinder_of(
        nameplate.folded(given), grinder_id=grinder_id, site_id="", created_at=EPOCH, revision=0
    )


def all_nos(connection: Connection, account_no: int) -> list[int]:
    statement = select(grinder.c.grinder_no).where(grinder.c.account_no == account_no)
    return list(connection.execute(statement.order_by(grinder.c.grinder_no)).scalars())


def listed(
    connection: Connection,
    account_no: int,
    *,
    as_of: datetime,
    limit: int,
    after: str | None,
    site_id: str | None = None,
    within: tuple[Collection[str], Collection[str]] | None = None,
) -> list[GrinderRow]:
    """Grinders in the order of their ids; ``within`` = (site ids, grinder ids) keeps one's own."""
    statement = within_bounds(within).limit(limit)
    if after is not None:
        statement = statement.where(grinder.c.grinder_id > after)
    if site_id is not None:
        statement = statement.where(site.c.site_id == site_id)
    return _rows(connection, account_no, statement, as_of)


def change(
    connection: Connection,
    account_no: int,
    grinder_no: int,
    *,
    site_no: int | None,
    patch: dict[str, Any],
    effective_at: datetime,
) -> None:
    """Record a change from ``effective_at`` on."""
    facts.put(
        connection,
        grinder_fact,
        {"account_no": account_no, "grinder_no": grinder_no},
        effective_at=effective_at,
        patch=patch,
        site_no=site_no,
    )
    connection.execute(
        update(grinder)
        .where(grinder.c.account_no == account_no, grinder.c.grinder_no == grinder_no)
        .values(revision=grinder.c.revision + 1)
    )


def plates_from(
    connection: Connection, account_no: int, grinder_no: int, *, since: datetime
) -> list[tuple[datetime, dict[str, Any]]]:
    """The plate at ``since`` and after each later change, each with the instant it begins."""
    key = {"account_no": account_no, "grinder_no": grinder_no}
    return facts.states_from(connection, grinder_fact, key, since=since)


def plates_of(row: GrinderRow) -> list[tuple[datetime, dict[str, Any]]]:
    """The plate as it was created and after each change up to the row's own instant."""
    return facts.states(row.patches, since=EPOCH)


_BY_ID = STANDING.where(grinder.c.grinder_id == bindparam("grinder_id"))
_BY_IDS = STANDING.where(grinder.c.grinder_id.in_(bindparam("grinder_ids", expanding=True)))
_BY_NOS = STANDING.where(grinder.c.grinder_no.in_(bindparam("grinder_nos", expanding=True)))


# A join, as a prepared `= ANY` looks for each name in the whole array.
_NUMBERS = (
    "SELECT grinder_id, grinder_no FROM grinder"
    " JOIN unnest(%s::text[]) AS u (grinder_id) USING (grinder_id) WHERE account_no = %s"
)
_NUMBERS_SQLITE = (
    "SELECT grinder_id, grinder_no FROM grinder"
    " WHERE account_no = ? AND grinder_id IN (SELECT value FROM json_each(?))"
)


def _rows(
    connection: Connection,
    account_no: int,
    statement: Select[Any],
    as_of: datetime,
    **wanted: Any,
) -> list[GrinderRow]:
    """Grinders as of an instant; before 1970 they are as they were created."""
    of_instant: dict[str, Any] = {"account_no": account_no, "as_of": max(as_of, EPOCH)}
    rows = connection.execute(statement, {**of_instant, **wanted}).all()
    if not rows:
        return []
    numbers, site_nos = {row.grinder_no for row in rows}, {row.site_no for row in rows}
    plates, described, rules = facts.patches_of(
        connection,
        account_no,
        {
            grinder_fact: numbers,
            site_fact: site_nos,
            alert_setting: {OF_ACCOUNT, *numbers, *site_nos},
        },
        as_of=of_instant["as_of"],
    )
    return [
        GrinderRow(
            grinder_no=row.grinder_no,
            site_no=row.site_no,
            site=nameplate.site_of(
                nameplate.folded(patch for _, patch in described[row.site_no]),
                site_id=row.site_id,
                created_at=row.site_created_at,
                revision=row.site_revision,
            ),
            grinder=nameplate.grinder_of(
                nameplate.folded(patch for _, patch in plates[row.grinder_no]),
                grinder_id=row.grinder_id,
                site_id=row.site_id,
                created_at=row.created_at,
                revision=row.revision,
            ),
            patches=tuple(plates[row.grinder_no]),
            alert_patches=tuple(
                rules.get(number, []) for number in (OF_ACCOUNT, row.site_no, row.grinder_no)
            ),
        )
        for row in rows
    ]
