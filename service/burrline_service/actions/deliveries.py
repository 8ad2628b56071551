"""What is on its way to a webhook: pings, the log, sending once more."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import Any

from ..core import cloud_events
from ..core.alert_records import WEBHOOK_TEST
from ..core.errors import NotFound, WebhookDisabled
from ..core.records import Caller, Page
from ..core.webhook_records import Delivery
from ..store import delivery_log, outbox, webhooks
from ..store.database import Connection, Database
from ..store.outbox import Receiver
from .places import page_of
from .webhooks import row_of


def test_webhook(database: Database, caller: Caller, *, webhook_id: str, now: datetime) -> Delivery:
    """Put a ping on its way, at once even if the receiver is being left alone."""
    event_id = str(uuid.uuid4())

    def work(connection: Connection) -> Delivery:
        row = row_of(connection, caller, webhook_id, now=now)
        if row.webhook.disabled_at is not None:
            raise WebhookDisabled(webhook_id)
        receiver = Receiver(caller.account_no, row.webhook_no)
        webhooks.lift_pause(connection, *receiver)
        content = cloud_events.envelope(
            event_id=event_id,
            event_type=WEBHOOK_TEST,
            source=f"/v1/webhooks/{webhook_id}",
            at=now,
            data={"webhook_id": webhook_id},
        )
        outbox.add(
            connection,
            receiver,
            event_id=event_id,
            event_type=WEBHOOK_TEST,
            content=content,
            now=now,
        )
        return _delivery(connection, receiver, event_id)

    return database.write(caller.account_no, work)


def list_deliveries(
    database: Database,
    caller: Caller,
    *,
    webhook_id: str,
    state: str | None,
    limit: int,
    position: tuple[Any, ...] | None,
    now: datetime,
) -> Page:
    """What is and was on its way to a webhook, the newest first."""

    def work(connection: Connection) -> Page:
        row = row_of(connection, caller, webhook_id, now=now)
        found = delivery_log.listed(
            connection,
            Receiver(caller.account_no, row.webhook_no),
            state=state,
            limit=limit + 1,
            after=None if position is None else (position[0], position[1]),
        )
        return page_of(found, limit, lambda one: (one.made_at, one.event_id))

    return database.read(caller.account_no, work)


def redeliver(
    database: Database, caller: Caller, *, webhook_id: str, event_id: str, now: datetime
) -> Delivery:
    """Send an event once more, under its own id, from the beginning of the schedule."""

    def work(connection: Connection) -> Delivery:
        row = row_of(connection, caller, webhook_id, now=now)
        receiver = Receiver(caller.account_no, row.webhook_no)
        if delivery_log.by_id(connection, receiver, event_id) is None:
            raise NotFound("delivery", event_id)
        if row.webhook.disabled_at is not None:
            raise WebhookDisabled(webhook_id)
        webhooks.lift_pause(connection, *receiver)
        outbox.restart(connection, receiver, event_id, now=now)
        return _delivery(connection, receiver, event_id)

    return database.write(caller.account_no, work)


def _delivery(connection: Connection, receiver: Receiver, event_id: str) -> Delivery:
    found = delivery_log.by_id(connection, receiver, event_id)
    assert found is not None
    return found
