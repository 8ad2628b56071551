"""Sites and grinders: making, finding, changing."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from ..core import nameplate, plausible
from ..core.errors import (
    AlreadyExists,
    Fault,
    Invalid,
    OutOfReach,
    RevisionMismatch,
    RevisionRequired,
)
from ..core.records import (
    Caller,
    Grinder,
    Page,
    Site,
)
from ..store import accounts, grinders, sites
from ..store.database import Connection, Database
from ..store.types import EPOCH
from . import reach

ANY_REVISION = -1


def check_revision(if_match: frozenset[int] | None, revision: int) -> None:
    """Refuse a change made without, or on another, revision of the object."""
    if if_match is None:
        raise RevisionRequired
    if ANY_REVISION not in if_match and revision not in if_match:
        raise RevisionMismatch(revision)


def create_site(
    database: Database, caller: Caller, *, fields: Mapping[str, Any], now: datetime
) -> Site:
    reach.require_unbound(caller, "create a site")
    description = nameplate.without_nulls(nameplate.plain(fields, nameplate.SITE_NAMES))
    plausible.check_site(description)

    def work(connection: Connection) -> Site:
        accounts.lock(connection, caller.account_no)
        if sites.by_id(connection, caller.account_no, fields["site_id"], as_of=now) is not None:
            raise AlreadyExists("site", fields["site_id"])
        return sites.add(
            connection,
            caller.account_no,
            site_id=fields["site_id"],
            description=description,
            now=now,
        ).site

    return database.write(caller.account_no, work)


def list_sites(
    database: Database,
    caller: Caller,
    *,
    limit: int,
    position: tuple[Any, ...] | None,
    now: datetime,
) -> Page:
    found = database.read(
        caller.account_no,
        lambda connection: sites.listed(
            connection,
            caller.account_no,
            as_of=now,
            limit=limit + 1,
            after=position[0] if position else None,
            only=caller.site_ids if caller.is_bound else None,
        ),
    )
    return page_of(found, limit, lambda site: (site.site_id,))


def get_site(database: Database, caller: Caller, *, site_id: str, now: datetime) -> Site:
    return database.read(
        caller.account_no,
        lambda connection: reach.site_of(connection, caller, site_id, now=now).site,
    )


def update_site(
    database: Database,
    caller: Caller,
    *,
    site_id: str,
    fields: Mapping[str, Any],
    if_match: frozenset[int] | None,
    now: datetime,
) -> Site:
    """Change a site's description from ``effective_at`` (default now) on."""
    effective_at = _effective_at(fields, now)
    patch = nameplate.plain(fields, nameplate.SITE_NAMES)

    def work(connection: Connection) -> Site:
        accounts.lock(connection, caller.account_no)
        found = reach.site_of(connection, caller, site_id, now=now)
        check_revision(if_match, found.site.revision)
        for _, description in sites.change(
            connection,
            caller.account_no,
            found.site_no,
            patch=patch,
            effective_at=effective_at,
        ):
            plausible.check_site(description)
        return reach.site_of(connection, caller, site_id, now=now).site

    return database.write(caller.account_no, work)


def create_grinder(
    database: Database, caller: Caller, *, fields: Mapping[str, Any], now: datetime
) -> Grinder:
    plate = nameplate.without_nulls(nameplate.plain(fields, nameplate.PLATE_NAMES))
    plausible.check_plate(plate)
    grinder_id, site_id = fields["grinder_id"], fields["site_id"]

    def work(connection: Connection) -> Grinder:
        accounts.lock(connection, caller.account_no)
        site_no = _site_no(connection, caller, site_id, now)
        if grinders.by_id(connection, caller.account_no, grinder_id, as_of=now) is not None:
            raise AlreadyExists("grinder", grinder_id)
        grinders.add(
            connection,
            caller.account_no,
            grinder_id=grinder_id,
            site_no=site_no,
            plate=plate,
            now=now,
        )
        return reach.grinder_of(connection, caller, grinder_id, now=now).grinder

    return database.write(caller.account_no, work)


def list_grinders(
    database: Database,
    caller: Caller,
    *,
    site_id: str | None = None,
    limit: int,
    position: tuple[Any, ...] | None,
    now: datetime,
) -> Page:
    found = database.read(
        caller.account_no,
        lambda connection: grinders.listed(
            connection,
            caller.account_no,
            as_of=now,
            limit=limit + 1,
            after=position[0] if position else None,
            site_id=site_id,
            within=reach.within(caller),
        ),
    )
    return page_of([row.grinder for row in found], limit, lambda grinder: (grinder.grinder_id,))


def get_grinder(database: Database, caller: Caller, *, grinder_id: str, now: datetime) -> Grinder:
    return database.read(
        caller.account_no,
        lambda connection: reach.grinder_of(connection, caller, grinder_id, now=now).grinder,
    )


def update_grinder(
    database: Database,
    caller: Caller,
    *,
    grinder_id: str,
    fields: Mapping[str, Any],
    if_match: frozenset[int] | None,
    now: datetime,
) -> Grinder:
    """Merge a change into the plate, from ``effective_at`` (default now; at least 1970) on."""
    effective_at = _effective_at(fields, now)
    patch = nameplate.plain(fields, nameplate.PLATE_NAMES)

    def work(connection: Connection) -> Grinder:
        accounts.lock(connection, caller.account_no)
        found = reach.grinder_of(connection, caller, grinder_id, now=now)
        check_revision(if_match, found.grinder.revision)
        site_id = fields.get("site_id")
        grinders.change(
            connection,
            caller.account_no,
            found.grinder_no,
            site_no=None if site_id is None else _site_no(connection, caller, site_id, now),
            patch=patch,
            effective_at=effective_at,
        )
        for _, plate in grinders.plates_from(
            connection, caller.account_no, found.grinder_no, since=effective_at
        ):
            plausible.check_plate(plate)
        return reach.grinder_of(connection, caller, grinder_id, now=now).grinder

    return database.write(caller.account_no, work)


def page_of(found: list[Any], limit: int, position_of: Any) -> Page:
    """A page from a query that asked for one row more than the page holds."""
    items = tuple(found[:limit])
    return Page(items, position_of(items[-1]) if len(found) > limit else None)


def _site_no(connection: Connection, caller: Caller, site_id: str, now: datetime) -> int:
    found = sites.by_id(connection, caller.account_no, site_id, as_of=now)
    if found is None:
        raise Invalid(Fault(f"there is no site named {site_id!r} here", pointer="/site_id"))
    if caller.is_bound and site_id not in caller.site_ids:
        raise OutOfReach(f"This key is not bound to site {site_id!r}.")
    return found.site_no


def _effective_at(fields: Mapping[str, Any], now: datetime) -> datetime:
    at: datetime = max(fields.get("effective_at") or now, EPOCH)
    if at > now:
        raise Invalid(Fault("lies in the future", pointer="/effective_at"))
    return at
