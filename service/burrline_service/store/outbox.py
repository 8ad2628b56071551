"""The outbox: what is to be delivered, written in the transaction of the events themselves."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import Connection, bindparam, delete, insert, select, update
from sqlalchemy.dialects.postgresql import insert as insert_postgresql
from sqlalchemy.dialects.sqlite import insert as insert_sqlite

from ..core.alert_records import EventRow
from ..core.cloud_events import envelope
from .tables import site
from .types import EPOCH
from .webhook_tables import FAILED, WAITING, delivery, delivery_attempt, webhook

SOURCE = "/v1/alerts"
MOST_NAMED = 1000


class Receiver(NamedTuple):
    """One webhook of one account."""

    account_no: int
    webhook_no: int


def fan_out(
    connection: Connection,
    account_no: int,
    events: Sequence[EventRow],
    *,
    now: datetime | None = None,
) -> int:
    """Give each event to everybody who is to be told; returns how many deliveries that makes.

    What came too late or is held back is not sent; when it is held no longer, this is called
    again. An event that somebody was given before is not given again. Without ``now`` deliveries
    count as made when their event was.
    """
    told = [one for one in events if not one.is_late and not one.is_held]
    if not told:
        return 0
    receivers = connection.execute(_RECEIVERS, {"account_no": account_no}).all()
    if not receivers:
        return 0
    site_ids = _site_ids(connection, account_no, {one.site_no for one in told})
    rows = [
        {
            "account_no": account_no,
            "webhook_no": receiver.webhook_no,
            "event_id": one.event_id,
            "position": one.position,
            "type": one.type,
            "content": content,
            "state": WAITING,
            "due_at": receiver.paused_until or now or EPOCH,
            "attempt_count": 0,
            "made_at": now or one.at,
        }
        for one in told
        for content in [content_of(one)]
        for receiver in receivers
        if one.type in receiver.types and _is_within(receiver, one, site_ids)
    ]
    insert_into = insert_postgresql if connection.dialect.name == "postgresql" else insert_sqlite
    put = insert_into(delivery).on_conflict_do_nothing().returning(delivery.c.event_id)
    return sum(connection.execute(put, row).first() is not None for row in rows)


def content_of(event: EventRow) -> str:
    """An event as it is sent: a CloudEvent in JSON.

    One that is too large to be sent says so instead: to fail here would keep everybody, the feed
    too, from ever being told.
    """
    told: dict[str, Any] = {
        "event_id": event.event_id,
        "event_type": event.type,
        "source": SOURCE if event.grinder_id is None else f"/v1/grinders/{event.grinder_id}",
        "at": event.at,
        "subject": event.grinder_id,
    }
    try:
        return envelope(**told, data=event.body).decode()
    except ValueError:
        cut = {"alert_id": event.alert_id, "severity": event.severity, "is_cut": True}
        return envelope(**told, data=cut).decode()


def add(
    connection: Connection,
    receiver: Receiver,
    *,
    event_id: str,
    event_type: str,
    content: bytes,
    now: datetime,
) -> None:
    """Put something on its way to one receiver, beside the feed."""
    connection.execute(
        insert(delivery).values(
            account_no=receiver.account_no,
            webhook_no=receiver.webhook_no,
            event_id=event_id,
            type=event_type,
            content=content.decode(),
            state=WAITING,
            due_at=now,
            attempt_count=0,
            made_at=now,
        )
    )


def fail_waiting(
    connection: Connection, receiver: Receiver, *, because: str, now: datetime
) -> None:
    """Give up all that waits for a receiver, each with the reason in its log."""
    insert_into = insert_postgresql if connection.dialect.name == "postgresql" else insert_sqlite
    log = insert_into(delivery_attempt).on_conflict_do_nothing()
    while waiting := connection.execute(_WAITING, receiver._asdict()).scalars().all():
        connection.execute(
            update(delivery)
            .where(
                delivery.c.account_no == receiver.account_no,
                delivery.c.webhook_no == receiver.webhook_no,
                delivery.c.event_id.in_(waiting),
                delivery.c.state == WAITING,
            )
            .values(state=FAILED, done_at=now)
        )
        told = {**receiver._asdict(), "attempted_at": now, "taken_ms": 0, "error": because}
        connection.execute(log, [{**told, "event_id": event_id} for event_id in waiting])


def restart(connection: Connection, receiver: Receiver, event_id: str, *, now: datetime) -> bool:
    """Put a delivery on its way once more, from the beginning of its schedule."""
    done = connection.execute(
        update(delivery)
        .where(*one(receiver, event_id))
        .values(
            state=WAITING,
            due_at=now,
            attempt_count=0,
            claim_no=delivery.c.claim_no + 1,
            made_at=now,
            done_at=None,
        )
    )
    return done.rowcount == 1


def forget(connection: Connection, account_no: int, *, before: datetime) -> int:
    """Drop deliveries that were done with before an instant, and their log."""
    old = (
        delivery.c.account_no == account_no,
        delivery.c.state != WAITING,
        delivery.c.done_at < before,
    )
    logged = (
        (delivery_attempt.c.account_no == account_no)
        & (delivery_attempt.c.webhook_no == delivery.c.webhook_no)
        & (delivery_attempt.c.event_id == delivery.c.event_id)
    )
    connection.execute(delete(delivery_attempt).where(select(1).where(logged, *old).exists()))
    return connection.execute(delete(delivery).where(*old)).rowcount


def give_up_older(
    connection: Connection, account_no: int, *, made_before: datetime, now: datetime
) -> int:
    """Give up what has waited longer than the whole schedule lasts."""
    return connection.execute(
        update(delivery)
        .where(
            delivery.c.account_no == account_no,
            delivery.c.state == WAITING,
            delivery.c.made_at < made_before,
        )
        .values(state=FAILED, done_at=now)
    ).rowcount


def one(receiver: Receiver, event_id: str) -> tuple[Any, ...]:
    return (
        delivery.c.account_no == receiver.account_no,
        delivery.c.webhook_no == receiver.webhook_no,
        delivery.c.event_id == event_id,
    )


def _site_ids(connection: Connection, account_no: int, site_nos: set[int | None]) -> dict[int, str]:
    wanted = sorted(number for number in site_nos if number is not None)
    rows = connection.execute(
        select(site.c.site_no, site.c.site_id).where(
            site.c.account_no == account_no, site.c.site_no.in_(wanted)
        )
    )
    return {row.site_no: row.site_id for row in rows}


def _is_within(receiver: Any, event: EventRow, site_ids: dict[int, str]) -> bool:
    if not receiver.site_ids and not receiver.grinder_ids:
        return True
    at_site = None if event.site_no is None else site_ids.get(event.site_no)
    return at_site in receiver.site_ids or event.grinder_id in receiver.grinder_ids


_RECEIVERS = select(
    webhook.c.webhook_no,
    webhook.c.types,
    webhook.c.site_ids,
    webhook.c.grinder_ids,
    webhook.c.paused_until,
).where(webhook.c.account_no == bindparam("account_no"), webhook.c.disabled_at.is_(None))
OF_RECEIVER = (
    delivery.c.account_no == bindparam("account_no"),
    delivery.c.webhook_no == bindparam("webhook_no"),
    delivery.c.state == WAITING,
)
# so many that a statement may name them all: neither database takes more than some ten thousand
_WAITING = select(delivery.c.event_id).where(*OF_RECEIVER).limit(MOST_NAMED)
