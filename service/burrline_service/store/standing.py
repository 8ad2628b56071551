"""Where each grinder stands at an instant, without its plate."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Select, and_, bindparam, func, or_, select

from .tables import grinder, grinder_fact, site
from .types import EPOCH


def places(
    connection: Connection,
    account_no: int,
    *,
    as_of: datetime,
    limit: int,
    within: tuple[Collection[str], Collection[str]] | None,
) -> list[tuple[int, str, str]]:
    """Number, id and site of as many grinders, without their plates."""
    wanted = {"account_no": account_no, "as_of": max(as_of, EPOCH)}
    rows = connection.execute(within_bounds(within).limit(limit), wanted)
    return [(row.grinder_no, row.grinder_id, row.site_id) for row in rows]


def within_bounds(within: tuple[Collection[str], Collection[str]] | None) -> Select[Any]:
    """The grinders in the order of their ids; (site ids, grinder ids) keeps those within."""
    statement = STANDING.order_by(grinder.c.grinder_id)
    if within is None:
        return statement
    site_ids, grinder_ids = within
    return statement.where(
        or_(site.c.site_id.in_(sorted(site_ids)), grinder.c.grinder_id.in_(sorted(grinder_ids)))
    )


def _standing() -> Select[Any]:
    """Each grinder of an account with the site where it stands at an instant."""
    fact, other = grinder_fact, grinder_fact.alias("other")
    last_move = (
        select(func.max(other.c.effective_at))
        .where(
            other.c.account_no == fact.c.account_no,
            other.c.grinder_no == fact.c.grinder_no,
            other.c.site_no.is_not(None),
            other.c.effective_at <= bindparam("as_of"),
        )
        .correlate(fact)
        .scalar_subquery()
    )
    return (
        select(
            grinder.c.grinder_no,
            grinder.c.grinder_id,
            grinder.c.created_at,
            grinder.c.revision,
            site.c.site_no,
            site.c.site_id,
            site.c.created_at.label("site_created_at"),
            site.c.revision.label("site_revision"),
        )
        .join(
            fact,
            and_(
                fact.c.account_no == grinder.c.account_no,
                fact.c.grinder_no == grinder.c.grinder_no,
            ),
        )
        .join(site, and_(site.c.account_no == fact.c.account_no, site.c.site_no == fact.c.site_no))
        .where(grinder.c.account_no == bindparam("account_no"), fact.c.effective_at == last_move)
    )


STANDING = _standing()
