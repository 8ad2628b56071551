"""Sites."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, insert, select, update

from ..core.records import Site
from . import accounts
from .tables import site


@dataclass(frozen=True)
class SiteRow:
    site_no: int
    site: Site


_COLUMNS = (
    site.c.site_no,
    site.c.site_id,
    site.c.name,
    site.c.time_zone,
    site.c.created_at,
    site.c.revision,
)


def add(
    connection: Connection,
    account_no: int,
    *,
    site_id: str,
    name: str,
    time_zone: str,
    now: datetime,
) -> SiteRow:
    site_no = accounts.next_no(connection, account_no)
    connection.execute(
        insert(site).values(
            account_no=account_no,
            site_no=site_no,
            site_id=site_id,
            name=name,
            time_zone=time_zone,
            created_at=now,
            revision=1,
        )
    )
    return SiteRow(site_no, Site(site_id, name, time_zone, now, 1))


def by_id(connection: Connection, account_no: int, site_id: str) -> SiteRow | None:
    row = connection.execute(
        select(*_COLUMNS).where(site.c.account_no == account_no, site.c.site_id == site_id)
    ).first()
    return None if row is None else SiteRow(row[0], Site(*row[1:]))


def by_no(connection: Connection, account_no: int, site_no: int) -> SiteRow:
    row = connection.execute(
        select(*_COLUMNS).where(site.c.account_no == account_no, site.c.site_no == site_no)
    ).one()
    return SiteRow(row[0], Site(*row[1:]))


def listed(
    connection: Connection,
    account_no: int,
    *,
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
    return [Site(*row[1:]) for row in connection.execute(statement)]


def change(
    connection: Connection, account_no: int, site_no: int, *, name: str, time_zone: str
) -> None:
    connection.execute(
        update(site)
        .where(site.c.account_no == account_no, site.c.site_no == site_no)
        .values(name=name, time_zone=time_zone, revision=site.c.revision + 1)
    )
