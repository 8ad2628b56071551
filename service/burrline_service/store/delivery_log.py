"""What is and was on its way to a receiver, as its owner may look at it."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Select, select, tuple_

from ..core.webhook_records import DELIVERY_STATES, Attempt, Delivery
from .outbox import Receiver
from .types import to_milliseconds
from .webhook_tables import WAITING, delivery, delivery_attempt

MOST_ATTEMPTS = 20
_SHOWN = (
    delivery.c.event_id,
    delivery.c.type,
    delivery.c.state,
    delivery.c.attempt_count,
    delivery.c.due_at,
    delivery.c.made_at,
    delivery.c.done_at,
)


def listed(
    connection: Connection,
    receiver: Receiver,
    *,
    state: str | None,
    limit: int,
    after: tuple[datetime, str] | None,
) -> list[Delivery]:
    """Deliveries of a receiver, the newest first."""
    statement = (
        _of(receiver).order_by(delivery.c.made_at.desc(), delivery.c.event_id.desc()).limit(limit)
    )
    if state is not None:
        statement = statement.where(delivery.c.state == DELIVERY_STATES.index(state))
    if after is not None:
        statement = statement.where(
            tuple_(delivery.c.made_at, delivery.c.event_id)
            < tuple_(to_milliseconds(after[0]), after[1])
        )
    return _with_attempts(connection, receiver, statement)


def by_id(connection: Connection, receiver: Receiver, event_id: str) -> Delivery | None:
    found = _with_attempts(
        connection, receiver, _of(receiver).where(delivery.c.event_id == event_id)
    )
    return found[0] if found else None


def _of(receiver: Receiver) -> Select[Any]:
    return select(*_SHOWN).where(
        delivery.c.account_no == receiver.account_no, delivery.c.webhook_no == receiver.webhook_no
    )


def _with_attempts(
    connection: Connection, receiver: Receiver, statement: Select[Any]
) -> list[Delivery]:
    rows = connection.execute(statement).all()
    logged: dict[str, list[Attempt]] = {}
    attempts = connection.execute(
        select(delivery_attempt)
        .where(
            delivery_attempt.c.account_no == receiver.account_no,
            delivery_attempt.c.webhook_no == receiver.webhook_no,
            delivery_attempt.c.event_id.in_([row.event_id for row in rows]),
        )
        .order_by(delivery_attempt.c.attempted_at.desc())
    )
    for row in attempts:
        of_event = logged.setdefault(row.event_id, [])
        if len(of_event) < MOST_ATTEMPTS:
            of_event.append(
                Attempt(
                    attempted_at=row.attempted_at,
                    status=row.status,
                    seconds=row.taken_ms / 1000,
                    answer=row.answer,
                    error=row.error,
                )
            )
    return [
        Delivery(
            event_id=row.event_id,
            type=row.type,
            state=DELIVERY_STATES[row.state],
            attempt_count=row.attempt_count,
            next_attempt_at=row.due_at if row.state == WAITING else None,
            made_at=row.made_at,
            done_at=row.done_at,
            attempts=tuple(logged.get(row.event_id, ())),
        )
        for row in rows
    ]
