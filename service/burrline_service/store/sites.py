"""Sites and their dated facts: name, time zone, opening hours."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Select, insert, select, update

from ..core import nameplate
from ..core.records import Site
from . import accounts, facts
from .facts import Dated
from .tables import grinder_fact, site, site_fact
from .types import EPOCH


@dataclass(frozen=True)
class SiteRow:
    site_no: int
    site: Site


_COLUMNS = (site.c.site_no, site.c.site_id, site.c.created_at, site.c.revision)


def add(
    connection: Connection,
    account_no: int,
    *,
    site_id: str,
    description: dict[str, Any],
    now: datetime,
) -> SiteRow:
    site_no = accounts.next_no(connection, account_no)
    connection.execute(
        insert(site).values(
            account_no=account_no, site_no=site_no, site_id=site_id, created_at=now, revision=1
        )
    )
    key = {"account_no": account_no, "site_no": site_no}
    facts.put(connection, site_fact, key, effective_at=EPOCH, patch=description)
    record = nameplate.site_of(description, site_id=site_id, created_at=now, revision=1)
    return SiteRow(site_no, record)


def by_id(
    connection: Connection, account_no: int, site_id: str, *, as_of: datetime
) -> SiteRow | None:
    wanted = select(*_COLUMNS).where(site.c.account_no == account_no, site.c.site_id == site_id)
    rows = _rows(connection, account_no, wanted, as_of)
    return rows[0] if rows else None


def listed(
    connection: Connection,
    account_no: int,
    *,
    as_of: datetime,
    limit: int,
    after: str | None,
    only: Collection[str] | None,
) -> list[Site]:
    """Sites in the order of their ids; ``only`` keeps those named."""
    statement = (
        select(*_COLUMNS)
        .where(site.c.account_no == account_no)
        .order_by(site.c.site_id)
        .limit(limit)
    )
    if after is not None:
        statement = statement.where(site.c.site_id > after)
    if only is not None:
        statement = statement.where(site.c.site_id.in_(sorted(only)))
    return [row.site for row in _rows(connection, account_no, statement, as_of)]


def zones_of(
    connection: Connection, account_no: int, grinder_nos: Collection[int], *, until: datetime
) -> dict[int, tuple[list[tuple[datetime, str]], bool]]:
    """The time zone where each grinder stood at first, and after each change up to an instant.

    Beside it, whether it stood at one site only.
    """
    fact, until = grinder_fact.c, max(until, EPOCH)
    moves: dict[int, list[tuple[datetime, int]]] = {number: [] for number in grinder_nos}
    for number, moved_at, site_no in connection.execute(
        select(fact.grinder_no, fact.effective_at, fact.site_no)
        .where(
            fact.account_no == account_no,
            fact.grinder_no.in_(sorted(grinder_nos)),
            fact.site_no.is_not(None),
            fact.effective_at <= until,
        )
        .order_by(fact.grinder_no, fact.effective_at)
    ):
        moves[number].append((moved_at, site_no))
    site_nos = {site_no for moved in moves.values() for _, site_no in moved}
    (described,) = facts.patches_of(connection, account_no, {site_fact: site_nos}, as_of=until)
    return {
        number: (_zones_among(moved, described), len({site_no for _, site_no in moved}) == 1)
        for number, moved in moves.items()
    }


def _zones_among(
    moves: Sequence[tuple[datetime, int]], described: Mapping[int, Dated]
) -> list[tuple[datetime, str]]:
    zones: list[tuple[datetime, str]] = []
    for place, (moved_at, site_no) in enumerate(moves):
        left_at = moves[place + 1][0] if place + 1 < len(moves) else None
        for at, state in facts.states(described[site_no], since=moved_at):
            is_here = left_at is None or at < left_at
            if is_here and (not zones or zones[-1][1] != state["time_zone"]):
                zones.append((at, state["time_zone"]))
    return zones


def change(
    connection: Connection,
    account_no: int,
    site_no: int,
    *,
    patch: dict[str, Any],
    effective_at: datetime,
) -> list[tuple[datetime, dict[str, Any]]]:
    """Record a change; returns what holds from its instant on, for checking."""
    key = {"account_no": account_no, "site_no": site_no}
    facts.put(connection, site_fact, key, effective_at=effective_at, patch=patch)
    connection.execute(
        update(site)
        .where(site.c.account_no == account_no, site.c.site_no == site_no)
        .values(revision=site.c.revision + 1)
    )
    return facts.states_from(connection, site_fact, key, since=effective_at)


def _rows(
    connection: Connection, account_no: int, statement: Select[Any], as_of: datetime
) -> list[SiteRow]:
    rows = connection.execute(statement).all()
    if not rows:
        return []
    described = facts.folded(
        connection,
        site_fact,
        account_no,
        {row.site_no for row in rows},
        as_of=max(as_of, EPOCH),
    )
    return [
        SiteRow(
            row.site_no,
            nameplate.site_of(
                described[row.site_no],
                site_id=row.site_id,
                created_at=row.created_at,
                revision=row.revision,
            ),
        )
        for row in rows
    ]
