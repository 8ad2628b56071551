"""What is told of alerts: the events of the feed and of webhooks."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

ALERT_OPENED = "burrline.alert.opened"
ALERT_CLOSED = "burrline.alert.closed"
STAGE_CHANGED = "burrline.stage.changed"
WEBHOOK_TEST = "burrline.webhook.test"
EVENT_TYPES = (ALERT_OPENED, ALERT_CLOSED, STAGE_CHANGED, WEBHOOK_TEST)


@dataclass(frozen=True)
class EventRow:
    """Something that followers and receivers are told, at its place in the account's feed.

    ``is_late``: the facts came too late for anybody to be called, it is only recorded.
    ``is_held``: it came within quiet hours, and is sent when they end unless it is over by then.
    """

    position: int
    event_id: str
    type: str
    at: datetime
    grinder_no: int | None
    site_no: int | None
    grinder_id: str | None
    alert_id: str | None
    severity: str | None
    is_late: bool
    is_held: bool
    body: dict[str, Any]


@dataclass(frozen=True)
class Event:
    """An event as followers of the feed read it."""

    event_id: str
    type: str
    at: datetime
    is_late: bool
    is_held: bool
    data: dict[str, Any]


@dataclass(frozen=True)
class Feed:
    """What came after a position, and the position to go on from."""

    items: tuple[Event, ...]
    position: int


@dataclass(frozen=True)
class AlertSettings:
    """The rules of alerts of an account, site or grinder: its own, and what holds in effect."""

    level: str
    site_id: str | None
    grinder_id: str | None
    own: dict[str, Any]
    effective: dict[str, Any]
    revision: int
