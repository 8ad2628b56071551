"""Putting settings and the ledger of alerts back from an export."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..store import alert_settings, alerts
from .export_lines import Thing
from .import_lines import alert_row, instant

if TYPE_CHECKING:
    from .restoring import Restoring


def put_alert_setting(into: Restoring, thing: Thing) -> None:
    ref_no = alert_settings.OF_ACCOUNT
    if thing["grinder_id"] is not None:
        ref_no = into.grinders[thing["grinder_id"]].number
    elif thing["site_id"] is not None:
        ref_no = into.sites[thing["site_id"]]
    alert_settings.put(
        into.connection,
        into.account_no,
        ref_no,
        level=thing["level"],
        patch=thing["patch"],
        revision=thing["revision"],
        now=instant(thing["effective_at"]),
    )


def put_alerts(into: Restoring, things: list[Thing]) -> None:
    rows = [alert_row(thing, into.grinders[thing["grinder_id"]].number) for thing in things]
    alerts.add(into.connection, into.account_no, rows)
