"""Where events go from here: what is to be delivered is written in the events' own transaction."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import Connection

from ..core.alert_records import EventRow


def fan_out(
    connection: Connection,
    account_no: int,
    events: Sequence[EventRow],
    *,
    now: datetime | None = None,
) -> int:
    """Give each event to everybody who is to be told; returns how many deliveries that makes."""
    return 0
