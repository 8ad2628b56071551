"""Settings of alerts: dated merge patches of the account (number 0), its sites and grinders."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, bindparam, delete, func, insert, select

from . import events
from .alert_tables import OF_ACCOUNT, alert_setting
from .types import to_milliseconds

__all__ = ["OF_ACCOUNT", "Dated", "patches", "put", "revision_of"]

Dated = dict[int, list[tuple[int, dict[str, Any]]]]


def patches(connection: Connection, account_no: int) -> Dated:
    """All patches of an account, by the number of what they are about, with their instants."""
    found: Dated = defaultdict(list)
    for ref_no, effective_at, patch in connection.execute(_PATCHES, {"account_no": account_no}):
        found[ref_no].append((to_milliseconds(effective_at), patch))
    return found


def revision_of(connection: Connection, account_no: int, ref_no: int) -> int:
    """The revision of the settings of one thing: 1 while nothing was ever set."""
    found: int | None = connection.execute(
        select(func.max(alert_setting.c.revision)).where(
            alert_setting.c.account_no == account_no, alert_setting.c.ref_no == ref_no
        )
    ).scalar_one_or_none()
    return found or 1


def put(
    connection: Connection,
    account_no: int,
    ref_no: int,
    *,
    level: str,
    patch: dict[str, Any],
    revision: int,
    now: datetime,
) -> None:
    """Record what changes from now on; a change at the same instant takes the earlier's place."""
    connection.execute(
        delete(alert_setting).where(
            alert_setting.c.account_no == account_no,
            alert_setting.c.ref_no == ref_no,
            alert_setting.c.effective_at == now,
        )
    )
    connection.execute(
        insert(alert_setting).values(
            account_no=account_no,
            ref_no=ref_no,
            effective_at=now,
            patch=patch,
            level=level,
            revision=revision,
        )
    )
    events.count_settings_change(connection, account_no)


_PATCHES = (
    select(alert_setting.c.ref_no, alert_setting.c.effective_at, alert_setting.c.patch)
    .where(alert_setting.c.account_no == bindparam("account_no"))
    .order_by(alert_setting.c.ref_no, alert_setting.c.effective_at)
)
