"""Claiming what is due, one worker at a time for each delivery, and what comes of it.

A delivery falls due at ``due_at``. Claiming it moves that to the end of a lease, so a worker that
is killed loses nothing: its deliveries fall due again by themselves. On PostgreSQL several workers
claim at once and pass over each other's rows; on SQLite the writer is alone.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any, NamedTuple

from sqlalchemy import Connection, Select, bindparam, select, update
from sqlalchemy.dialects.postgresql import insert as insert_postgresql
from sqlalchemy.dialects.sqlite import insert as insert_sqlite

from ..core.webhook_records import Attempt, Claim
from . import webhooks
from .database import Database
from .outbox import OF_RECEIVER, Receiver, fail_waiting, one
from .types import to_instant, to_milliseconds
from .webhook_tables import DELIVERED, FAILED, WAITING, delivery, delivery_attempt, webhook


class Backlog(NamedTuple):
    """What waits: how many deliveries, and since when the oldest of them."""

    waiting_count: int
    oldest_at: datetime | None


def due(database: Database, now: datetime) -> list[Receiver]:
    """The receivers for whom something is due, of all accounts, the longest due first.

    On PostgreSQL by a policy of its own, which shows a transaction without an account what waits.
    """
    script = _AS_WORKER * (not database.is_sqlite) + _DUE.format(to_milliseconds(now))
    return [Receiver(int(row[0]), int(row[1])) for row in database.look_up(script)]


def backlog(database: Database) -> Backlog:
    """What waits in all accounts together."""
    script = _AS_WORKER * (not database.is_sqlite) + _BACKLOG
    ((waiting_count, oldest_ms),) = database.look_up(script)
    return Backlog(int(waiting_count), None if oldest_ms is None else to_instant(int(oldest_ms)))


def claim(
    connection: Connection, receiver: Receiver, *, now: datetime, lease_seconds: float
) -> Claim | None:
    """Take the delivery that has been due longest; None when there is none to be had.

    A receiver that is paused or disabled, or is there no more, gets nothing: what was due waits
    for the end of the pause, or is done with.
    """
    account_no, webhook_no = receiver
    found = connection.execute(_RECEIVER, receiver._asdict()).first()
    if found is None or found.disabled_at is not None:
        why = "the webhook is deleted" if found is None else "the webhook is disabled"
        fail_waiting(connection, receiver, because=why, now=now)
        return None
    if found.paused_until is not None and found.paused_until > now:
        circuit = webhooks.hold_circuit(connection, account_no, webhook_no)
        if circuit is not None:
            webhooks.put_circuit(connection, account_no, webhook_no, circuit)
        return None
    secrets = webhooks.secrets_of(connection, account_no, webhook_no, now=now)
    row = connection.execute(_NEXT, {**receiver._asdict(), "now": now}).first()
    if row is None:
        return None
    until = now + timedelta(seconds=lease_seconds)
    claim_no, attempt_count = row.claim_no + 1, row.attempt_count + 1
    connection.execute(
        update(delivery)
        .where(*one(receiver, row.event_id))
        .values(due_at=until, attempt_count=attempt_count, claim_no=claim_no)
    )
    return Claim(
        account_no=account_no,
        webhook_no=webhook_no,
        event_id=row.event_id,
        claim_no=claim_no,
        attempt_count=attempt_count,
        url=found.url,
        content=row.content.encode(),
        secrets=secrets,
        until_at=until,
    )


def give_back(connection: Connection, held: Claim, *, now: datetime) -> None:
    """Undo a claim that came to no attempt."""
    connection.execute(
        update(delivery)
        .where(*_held(held))
        .values(due_at=now, attempt_count=delivery.c.attempt_count - 1)
    )


def log(connection: Connection, held: Claim, attempt: Attempt) -> None:
    """Write down what came of an attempt."""
    insert_into = insert_postgresql if connection.dialect.name == "postgresql" else insert_sqlite
    connection.execute(
        insert_into(delivery_attempt)
        .values(
            account_no=held.account_no,
            webhook_no=held.webhook_no,
            event_id=held.event_id,
            attempted_at=attempt.attempted_at,
            status=attempt.status,
            taken_ms=round(attempt.seconds * 1000),
            answer=attempt.answer,
            error=attempt.error,
        )
        .on_conflict_do_nothing()
    )


def mark_delivered(connection: Connection, held: Claim, *, now: datetime) -> None:
    """It has arrived, whoever holds it by now."""
    connection.execute(
        update(delivery)
        .where(*one(Receiver(held.account_no, held.webhook_no), held.event_id))
        .where(delivery.c.state == WAITING)
        .values(state=DELIVERED, done_at=now)
    )


def postpone(connection: Connection, held: Claim, *, due_at: datetime) -> None:
    """Try again later; only who still holds the delivery may say so."""
    connection.execute(update(delivery).where(*_held(held)).values(due_at=due_at))


def give_up(connection: Connection, held: Claim, *, now: datetime) -> None:
    connection.execute(update(delivery).where(*_held(held)).values(state=FAILED, done_at=now))


def _held(held: Claim) -> tuple[Any, ...]:
    receiver = Receiver(held.account_no, held.webhook_no)
    return (
        *one(receiver, held.event_id),
        delivery.c.state == WAITING,
        delivery.c.claim_no == held.claim_no,
    )


_RECEIVER = select(webhook.c.url, webhook.c.disabled_at, webhook.c.paused_until).where(
    webhook.c.account_no == bindparam("account_no"),
    webhook.c.webhook_no == bindparam("webhook_no"),
)
_NEXT: Select[Any] = (
    select(
        delivery.c.event_id,
        delivery.c.content,
        delivery.c.claim_no,
        delivery.c.attempt_count,
    )
    .where(*OF_RECEIVER, delivery.c.due_at <= bindparam("now"))
    .order_by(delivery.c.due_at, delivery.c.position, delivery.c.made_at)
    .limit(1)
    .with_for_update(skip_locked=True)
)
_AS_WORKER = "SELECT set_config('burrline.outbox', 'due', true); "
_DUE = (
    "SELECT account_no, webhook_no, min(due_at) AS first_due FROM delivery"
    " WHERE state = 0 AND due_at <= {} GROUP BY account_no, webhook_no"
    " ORDER BY first_due, account_no, webhook_no LIMIT 1000"
)
_BACKLOG = "SELECT count(*), min(made_at) FROM delivery WHERE state = 0"
