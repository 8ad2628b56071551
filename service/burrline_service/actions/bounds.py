"""Things that are bound to sites and grinders as keys are: who may make and see them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Protocol, TypeVar

from ..core.errors import Fault, Invalid, OutOfReach
from ..core.records import Caller
from ..store import grinders, sites
from ..store.database import Connection


class Bound(Protocol):
    """What is bound to the sites and grinders it names; to none: to the whole account."""

    @property
    def site_ids(self) -> tuple[str, ...]: ...

    @property
    def grinder_ids(self) -> tuple[str, ...]: ...


Thing = TypeVar("Thing", bound=Bound)


def check(
    connection: Connection, caller: Caller, thing: Bound, noun: str, *, now: datetime
) -> None:
    """Refuse bounds that name what is not there, or go beyond the caller's own."""
    faults = [
        Fault(f"there is no site named {site_id!r} here", pointer=f"/site_ids/{position}")
        for position, site_id in enumerate(thing.site_ids)
        if sites.by_id(connection, caller.account_no, site_id, as_of=now) is None
    ]
    known = grinders.by_ids(connection, caller.account_no, thing.grinder_ids, as_of=now)
    faults += [
        Fault(f"there is no grinder named {grinder_id!r} here", pointer=f"/grinder_ids/{position}")
        for position, grinder_id in enumerate(thing.grinder_ids)
        if grinder_id not in known
    ]
    if faults:
        raise Invalid(*faults)
    if not within(connection, caller, [thing], now=now):
        raise OutOfReach(f"A bound key can only make {noun} within its own bounds.")


def within(
    connection: Connection, caller: Caller, found: Sequence[Thing], *, now: datetime
) -> list[Thing]:
    """Those of the things that reach nothing beyond the caller's bounds."""
    if not caller.is_bound:
        return list(found)
    named = {grinder_id for thing in found for grinder_id in thing.grinder_ids}
    known = grinders.by_ids(connection, caller.account_no, named, as_of=now)
    own = caller.grinder_ids | {
        grinder_id for grinder_id, row in known.items() if row.grinder.site_id in caller.site_ids
    }
    return [
        thing
        for thing in found
        if (thing.site_ids or thing.grinder_ids)
        and caller.site_ids.issuperset(thing.site_ids)
        and own.issuperset(thing.grinder_ids)
    ]
