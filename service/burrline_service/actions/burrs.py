"""Burr sets: fitting, mending, listing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from ..core import nameplate, plausible
from ..core.errors import (
    AlreadyExists,
    Fault,
    FittingsOverlap,
    Invalid,
    NotFound,
)
from ..core.records import (
    BurrSet,
    Caller,
    Fitting,
    Page,
)
from ..store import accounts, burr_sets, grinders
from ..store.burr_sets import BurrSetRow, FittingRow
from ..store.database import Connection, Database
from . import reach
from .burrs_within import grinder_ids_of, may_see, record, require_all_within, visible
from .fittings import check_all, check_dates, check_implied, record_of
from .places import check_revision


def fit_burr_set(
    database: Database,
    caller: Caller,
    *,
    grinder_id: str,
    fields: Mapping[str, Any],
    now: datetime,
) -> BurrSet:
    """Fit a new burr set, or one that is known by its id, to a grinder."""
    fitted_at: datetime = fields.get("fitted_at") or now
    description = nameplate.without_nulls(nameplate.plain(fields, nameplate.DESCRIPTION_NAMES))
    is_new = "geometry" in fields
    if is_new:
        plausible.check_description(description)

    def work(connection: Connection) -> BurrSet:
        accounts.lock(connection, caller.account_no)
        grinder = reach.grinder_of(connection, caller, grinder_id, now=now)
        burr_set_id = fields.get("burr_set_id")
        found = (
            None
            if burr_set_id is None
            else burr_sets.by_id(connection, caller.account_no, burr_set_id)
        )
        if is_new:
            if found is not None:
                raise AlreadyExists("burr set", str(burr_set_id))
            found = burr_sets.add(
                connection,
                caller.account_no,
                burr_set_id=burr_set_id,
                description=description,
                now=now,
            )
        elif (
            found is None
            or found.voided_at is not None
            or not may_see(connection, caller, found, now=now)
        ):
            raise NotFound("burr set", str(burr_set_id))
        _put_fitting(
            connection,
            caller,
            found,
            grinder.grinder_no,
            Fitting(grinder_id, fitted_at),
            now=now,
        )
        check_all(connection, caller, found)
        return record(connection, caller, found.burr_set_id, now=now)

    return database.write(caller.account_no, work)


def list_burr_sets(
    database: Database,
    caller: Caller,
    *,
    grinder_id: str,
    limit: int,
    position: tuple[Any, ...] | None,
    now: datetime,
) -> Page:
    """The sets that were ever in a grinder, the latest fitted first."""

    def work(connection: Connection) -> Page:
        grinder = reach.grinder_of(connection, caller, grinder_id, now=now)
        around = burr_sets.fittings_around(
            connection, caller.account_no, grinder_nos=[grinder.grinder_no]
        )
        order: dict[int, None] = {}
        for row in reversed(around):
            if row.grinder_no == grinder.grinder_no:
                order.setdefault(row.burr_set_no)
        nos = list(order)
        start = nos.index(position[0]) + 1 if position and position[0] in order else 0
        wanted = nos[start : start + limit]
        rows = burr_sets.by_nos(connection, caller.account_no, wanted)
        seen = reach.ids_within(connection, caller, {row.grinder_id for row in around}, now=now)
        items = tuple(record_of(rows[no], around, is_within=seen.__contains__) for no in wanted)
        return Page(items, (wanted[-1],) if start + limit < len(nos) else None)

    return database.read(caller.account_no, work)


def get_burr_set(database: Database, caller: Caller, *, burr_set_id: str, now: datetime) -> BurrSet:
    def work(connection: Connection) -> BurrSet:
        visible(connection, caller, burr_set_id, now=now)
        return record(connection, caller, burr_set_id, now=now)

    return database.read(caller.account_no, work)


def update_burr_set(
    database: Database,
    caller: Caller,
    *,
    burr_set_id: str,
    fields: Mapping[str, Any],
    if_match: frozenset[int] | None,
    now: datetime,
) -> BurrSet:
    """Mend a description, or the dates of all fittings: the runs follow by themselves."""
    patch = nameplate.plain(fields, nameplate.DESCRIPTION_NAMES)

    def work(connection: Connection) -> BurrSet:
        accounts.lock(connection, caller.account_no)
        found = visible(connection, caller, burr_set_id, now=now)
        check_revision(if_match, found.revision)
        if "fittings" in fields and found.voided_at is not None:
            raise NotFound("burr set", burr_set_id)  # as for fitting it: a void is for good
        description = nameplate.merged(found.description, patch)
        plausible.check_description(description)
        burr_sets.change(connection, caller.account_no, found.burr_set_no, description=description)
        if "fittings" in fields:
            _replace_fittings(connection, caller, found, fields["fittings"], now=now)
        return record(connection, caller, burr_set_id, now=now)

    return database.write(caller.account_no, work)


def void_burr_set(
    database: Database, caller: Caller, *, burr_set_id: str, now: datetime
) -> BurrSet:
    """Take a set entered by mistake out of every answer; the sets around it close the gap."""

    def work(connection: Connection) -> BurrSet:
        accounts.lock(connection, caller.account_no)
        found = visible(connection, caller, burr_set_id, now=now)
        around = burr_sets.fittings_around(
            connection, caller.account_no, burr_set_nos=[found.burr_set_no]
        )
        was_in = grinder_ids_of(found, around)
        require_all_within(connection, caller, was_in, now=now)
        burr_sets.void(connection, caller.account_no, found, was_in, now)
        others = {row.burr_set_no for row in around} - {found.burr_set_no}
        if others:
            burr_sets.touch(connection, caller.account_no, others)
        return record(connection, caller, burr_set_id, now=now)

    return database.write(caller.account_no, work)


def _replace_fittings(
    connection: Connection,
    caller: Caller,
    found: BurrSetRow,
    fittings: list[Mapping[str, Any]],
    *,
    now: datetime,
) -> None:
    before = burr_sets.fittings_around(
        connection, caller.account_no, burr_set_nos=[found.burr_set_no]
    )
    require_all_within(connection, caller, grinder_ids_of(found, before), now=now)
    burr_sets.clear_fittings(connection, caller.account_no, found.burr_set_no)
    known = grinders.by_ids(
        connection, caller.account_no, [asked["grinder_id"] for asked in fittings], as_of=now
    )
    for position, asked in enumerate(fittings):
        grinder = known.get(asked["grinder_id"])
        if grinder is None or not reach.may_see(
            caller, site_id=grinder.grinder.site_id, grinder_id=asked["grinder_id"]
        ):
            raise Invalid(
                Fault(
                    f"there is no grinder named {asked['grinder_id']!r} here",
                    pointer=f"/fittings/{position}/grinder_id",
                )
            )
        fitting = _told(asked)
        _put_fitting(
            connection,
            caller,
            found,
            grinder.grinder_no,
            fitting,
            known=before,
            place=f"/fittings/{position}",
            now=now,
        )
    implying = {
        *before,
        *burr_sets.fittings_around(connection, caller.account_no, burr_set_nos=[found.burr_set_no]),
    }
    for position, asked in enumerate(fittings):
        if asked.get("is_removal_implied"):
            check_implied(_stated(asked), implying, f"/fittings/{position}")
    check_all(connection, caller, found)


def _stated(asked: Mapping[str, Any]) -> Fitting:
    return Fitting(asked["grinder_id"], asked["fitted_at"], asked.get("removed_at"))


def _told(asked: Mapping[str, Any]) -> Fitting:
    """The stay as it is entered: a removal that is only implied is not."""
    stated = _stated(asked)
    return replace(stated, removed_at=None) if asked.get("is_removal_implied") else stated


def _put_fitting(
    connection: Connection,
    caller: Caller,
    found: BurrSetRow,
    grinder_no: int,
    fitting: Fitting,
    *,
    known: Sequence[FittingRow] = (),
    place: str = "",
    now: datetime,
) -> None:
    check_dates(
        connection,
        caller.account_no,
        fitting,
        grinder_no=grinder_no,
        burr_set_no=found.burr_set_no,
        known=known,
        place=place,
        now=now,
    )
    for row in burr_sets.fittings_around(connection, caller.account_no, grinder_nos=[grinder_no]):
        if row.grinder_no == grinder_no and row.fitted_at == fitting.fitted_at:
            raise FittingsOverlap(
                f"Grinder {fitting.grinder_id!r} has a fitting that begins at "
                f"{fitting.fitted_at.isoformat()} already."
            )
    burr_sets.add_fitting(
        connection,
        caller.account_no,
        grinder_no=grinder_no,
        burr_set_no=found.burr_set_no,
        fitted_at=fitting.fitted_at,
        removed_at=fitting.removed_at,
    )
