"""Which burr sets a caller sees, and which of their stays: those in grinders within its reach."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from ..core.errors import NotFound, OutOfReach
from ..core.records import BurrSet, Caller
from ..store import burr_sets
from ..store.burr_sets import BurrSetRow, FittingRow
from ..store.database import Connection
from . import reach
from .fittings import record_of


def may_see(connection: Connection, caller: Caller, found: BurrSetRow, *, now: datetime) -> bool:
    """A bound key sees a set that is or was in one of its grinders."""
    if not caller.is_bound:
        return True
    around = burr_sets.fittings_around(
        connection, caller.account_no, burr_set_nos=[found.burr_set_no]
    )
    return bool(reach.ids_within(connection, caller, grinder_ids_of(found, around), now=now))


def grinder_ids_of(found: BurrSetRow, around: Sequence[FittingRow]) -> set[str]:
    """The grinders a set is or was in; of a voided one, those it was said to be in."""
    there = {row.grinder_id for row in around if row.burr_set_no == found.burr_set_no}
    return there | set(found.description.get(burr_sets.WAS_IN, ()))


def require_all_within(
    connection: Connection, caller: Caller, grinder_ids: set[str], *, now: datetime
) -> None:
    """What changes every stay of a set is for those only who see every stay."""
    if reach.ids_within(connection, caller, grinder_ids, now=now) != grinder_ids:
        raise OutOfReach("This burr set was also in a grinder that is beyond this key's reach.")


def visible(
    connection: Connection, caller: Caller, burr_set_id: str, *, now: datetime
) -> BurrSetRow:
    found = burr_sets.by_id(connection, caller.account_no, burr_set_id)
    if found is None or not may_see(connection, caller, found, now=now):
        raise NotFound("burr set", burr_set_id)
    return found


def record(connection: Connection, caller: Caller, burr_set_id: str, *, now: datetime) -> BurrSet:
    found = burr_sets.by_id(connection, caller.account_no, burr_set_id)
    assert found is not None
    around = burr_sets.fittings_around(
        connection, caller.account_no, burr_set_nos=[found.burr_set_no]
    )
    seen = reach.ids_within(connection, caller, grinder_ids_of(found, around), now=now)
    return record_of(found, around, is_within=seen.__contains__)
