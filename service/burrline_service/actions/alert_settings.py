"""Settings of alerts at the account, a site or a grinder: what is set there, and what follows."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any, NamedTuple

from ..core.alert_records import AlertSettings
from ..core.alert_settings import own_settings, patch_between, rules_at, rules_in_force
from ..core.errors import Fault, Invalid
from ..core.nameplate import merged
from ..core.records import Caller
from ..store import accounts, alert_settings
from ..store.alert_settings import OF_ACCOUNT, Dated
from ..store.database import Connection, Database
from ..store.types import to_milliseconds
from . import reach
from .places import check_revision


class _Place(NamedTuple):
    """What settings are about, and the numbers of all levels down to it."""

    level: str
    site_id: str | None
    grinder_id: str | None
    numbers: tuple[int, ...]


def get_alert_settings(
    database: Database,
    caller: Caller,
    *,
    site_id: str | None = None,
    grinder_id: str | None = None,
    now: datetime,
) -> AlertSettings:
    """What is set at the account, or a site, or a grinder, and what holds there now."""

    def work(connection: Connection) -> AlertSettings:
        place = _place(connection, caller, site_id, grinder_id, now=now)
        return _read(connection, caller, place, now=now)

    return database.read(caller.account_no, work)


def set_alert_settings(
    database: Database,
    caller: Caller,
    *,
    site_id: str | None = None,
    grinder_id: str | None = None,
    fields: Mapping[str, Any],
    if_match: frozenset[int] | None,
    now: datetime,
) -> AlertSettings:
    """Set the whole of what one level sets itself, from now on; what was before stays judged so."""
    if site_id is None and grinder_id is None:
        reach.require_unbound(caller, "change the account's settings of alerts")
    wanted = _given(fields)

    def work(connection: Connection) -> AlertSettings:
        accounts.lock(connection, caller.account_no)
        place = _place(connection, caller, site_id, grinder_id, now=now)
        ref_no = place.numbers[-1]
        revision = alert_settings.revision_of(connection, caller.account_no, ref_no)
        check_revision(if_match, revision)
        dated = alert_settings.patches(connection, caller.account_no).get(ref_no, [])
        now_ms = to_milliseconds(now)
        if own_settings(dated, now_ms) != wanted:
            alert_settings.put(
                connection,
                caller.account_no,
                ref_no,
                level=place.level,
                patch=patch_between(own_settings(dated, now_ms - 1), wanted),
                revision=revision + 1,
                now=now,
            )
        return _read(connection, caller, place, now=now)

    return database.write(caller.account_no, work)


def _place(
    connection: Connection,
    caller: Caller,
    site_id: str | None,
    grinder_id: str | None,
    *,
    now: datetime,
) -> _Place:
    if site_id is not None and grinder_id is not None:
        raise Invalid(
            Fault("name a site or a grinder, not both", parameter="site_id", place="query")
        )
    if grinder_id is not None:
        found = reach.grinder_of(connection, caller, grinder_id, now=now)
        return _Place(
            "grinder",
            found.site.site_id,
            grinder_id,
            (OF_ACCOUNT, found.site_no, found.grinder_no),
        )
    if site_id is not None:
        site = reach.site_of(connection, caller, site_id, now=now)
        return _Place("site", site_id, None, (OF_ACCOUNT, site.site_no))
    return _Place("account", None, None, (OF_ACCOUNT,))


def _read(connection: Connection, caller: Caller, place: _Place, *, now: datetime) -> AlertSettings:
    patches: Dated = alert_settings.patches(connection, caller.account_no)
    now_ms = to_milliseconds(now)
    levels = [patches.get(number, []) for number in place.numbers]
    return AlertSettings(
        level=place.level,
        site_id=place.site_id,
        grinder_id=place.grinder_id,
        own=own_settings(levels[-1], now_ms),
        effective=dict(rules_at(rules_in_force(levels), now_ms)),
        revision=alert_settings.revision_of(connection, caller.account_no, place.numbers[-1]),
    )


def _given(fields: Mapping[str, Any]) -> dict[str, Any]:
    """The settings without nulls, which stand for what is inherited."""
    given = merged({}, {name: value for name, value in fields.items() if value is not None})
    return {name: value for name, value in given.items() if value != {} or name == "quiet_hours"}
