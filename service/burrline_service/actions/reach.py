"""Finding things a caller may see: what is foreign or out of reach looks absent."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime

from ..core.errors import FutureInstant, InstantArchived, NotFound, OutOfReach
from ..core.records import Caller
from ..store import grinders, sites, state
from ..store.database import Connection
from ..store.grinders import GrinderRow
from ..store.sites import SiteRow


def may_see(caller: Caller, *, site_id: str, grinder_id: str | None) -> bool:
    if not caller.is_bound:
        return True
    return site_id in caller.site_ids or grinder_id in caller.grinder_ids


def within(caller: Caller) -> tuple[Collection[str], Collection[str]] | None:
    """The caller's bounds for a list of grinders, None when there are none."""
    return (caller.site_ids, caller.grinder_ids) if caller.is_bound else None


def ids_within(
    connection: Connection, caller: Caller, grinder_ids: Collection[str], *, now: datetime
) -> frozenset[str]:
    """Those of the grinders that the caller may see, by the sites where they stand now."""
    if not caller.is_bound:
        return frozenset(grinder_ids)
    known = grinders.by_ids(connection, caller.account_no, list(grinder_ids), as_of=now)
    return frozenset(
        grinder_id
        for grinder_id, row in known.items()
        if may_see(caller, site_id=row.grinder.site_id, grinder_id=grinder_id)
    )


def grinder_of(
    connection: Connection, caller: Caller, grinder_id: str, *, now: datetime
) -> GrinderRow:
    """The grinder as it is now, or NotFound."""
    found = grinders.by_id(connection, caller.account_no, grinder_id, as_of=now)
    if found is None or not may_see(caller, site_id=found.grinder.site_id, grinder_id=grinder_id):
        raise NotFound("grinder", grinder_id)
    return found


def grinder_numbered(
    connection: Connection, caller: Caller, grinder_no: int, *, now: datetime
) -> GrinderRow | None:
    """The numbered grinder as it is now, None when the caller may not see it."""
    found = grinders.by_nos(connection, caller.account_no, [grinder_no], as_of=now).get(grinder_no)
    if found is None or not may_see(
        caller, site_id=found.grinder.site_id, grinder_id=found.grinder.grinder_id
    ):
        return None
    return found


def site_of(connection: Connection, caller: Caller, site_id: str, *, now: datetime) -> SiteRow:
    """The site, or NotFound; a key bound to single grinders sees no site."""
    found = sites.by_id(connection, caller.account_no, site_id, as_of=now)
    if found is None or not may_see(caller, site_id=site_id, grinder_id=None):
        raise NotFound("site", site_id)
    return found


def require_unbound(caller: Caller, what: str) -> None:
    if caller.is_bound:
        raise OutOfReach(f"A key bound to sites or grinders cannot {what}.")


def check_instant(
    connection: Connection, caller: Caller, found: GrinderRow, *, as_of: datetime, now: datetime
) -> None:
    """Refuse an instant to come, and one whose single runs are gone."""
    if as_of > now:
        raise FutureInstant(as_of.isoformat(), now.isoformat())
    archived_before = state.of_grinder(
        connection, caller.account_no, found.grinder_no
    ).archived_before
    if archived_before is not None and as_of < archived_before:
        raise InstantArchived(as_of.isoformat(), archived_before.isoformat())
