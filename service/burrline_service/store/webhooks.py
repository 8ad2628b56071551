"""Webhooks and their secrets."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, delete, func, insert, or_, select, update

from ..core.receiver_circuit import Circuit
from ..core.webhook_records import Webhook
from . import accounts
from .types import MILLISECOND
from .webhook_tables import WAITING, delivery, delivery_attempt, webhook, webhook_secret

_SHOWN = (
    webhook.c.webhook_id,
    webhook.c.name,
    webhook.c.url,
    webhook.c.types,
    webhook.c.site_ids,
    webhook.c.grinder_ids,
    webhook.c.created_at,
    webhook.c.disabled_at,
    webhook.c.disabled_because,
    webhook.c.failure_count,
    webhook.c.paused_until,
    webhook.c.revision,
)
_LISTS = ("types", "site_ids", "grinder_ids")


MOST_SECRETS = 3  # a signature each: more would not fit a header


@dataclass(frozen=True)
class WebhookRow:
    webhook_no: int
    webhook: Webhook


def add(
    connection: Connection,
    account_no: int,
    *,
    webhook_id: str | None,
    fields: Mapping[str, Any],
    secret: bytes,
    now: datetime,
) -> WebhookRow:
    """Make a webhook; without an id of the caller's own it is named by its number."""
    webhook_no = accounts.next_no(connection, account_no)
    connection.execute(
        insert(webhook).values(
            account_no=account_no,
            webhook_no=webhook_no,
            webhook_id=webhook_id or f"webhook-{webhook_no:06}",
            created_at=now,
            revision=1,
            failure_count=0,
            **fields,
        )
    )
    put_secret(connection, account_no, webhook_no, secret=secret, now=now)
    return _row_of(connection, account_no, webhook.c.webhook_no == webhook_no)


def by_id(
    connection: Connection, account_no: int, webhook_id: str, *, is_locked: bool = False
) -> WebhookRow | None:
    statement = select(webhook.c.webhook_no, *_SHOWN).where(
        webhook.c.account_no == account_no, webhook.c.webhook_id == webhook_id
    )
    row = connection.execute(statement.with_for_update() if is_locked else statement).first()
    return None if row is None else _of(dict(row._mapping))


def listed(
    connection: Connection, account_no: int, *, limit: int, after: str | None
) -> list[WebhookRow]:
    statement = (
        select(webhook.c.webhook_no, *_SHOWN)
        .where(webhook.c.account_no == account_no)
        .order_by(webhook.c.webhook_id)
        .limit(limit)
    )
    if after is not None:
        statement = statement.where(webhook.c.webhook_id > after)
    return [_of(dict(row._mapping)) for row in connection.execute(statement)]


def count(connection: Connection, account_no: int) -> int:
    counted: int = connection.execute(
        select(func.count()).where(webhook.c.account_no == account_no)
    ).scalar_one()
    return counted


def hold_account(connection: Connection, account_no: int) -> None:
    """Let changes of how many webhooks there are wait for each other."""
    accounts.lock(connection, account_no)


def change(
    connection: Connection, account_no: int, webhook_no: int, values: Mapping[str, Any]
) -> WebhookRow:
    """Write some columns and count the revision up."""
    connection.execute(
        update(webhook)
        .where(webhook.c.account_no == account_no, webhook.c.webhook_no == webhook_no)
        .values(revision=webhook.c.revision + 1, **values)
    )
    return _row_of(connection, account_no, webhook.c.webhook_no == webhook_no)


def drop(connection: Connection, account_no: int, webhook_no: int) -> None:
    """Take a webhook away with all that is on its way to it."""
    for table in (delivery_attempt, delivery, webhook_secret, webhook):
        connection.execute(
            delete(table).where(table.c.account_no == account_no, table.c.webhook_no == webhook_no)
        )


def disable(
    connection: Connection, account_no: int, webhook_no: int, *, because: str, now: datetime
) -> None:
    """Send nothing more; what has not been disabled before is marked with the reason."""
    connection.execute(
        update(webhook)
        .where(
            webhook.c.account_no == account_no,
            webhook.c.webhook_no == webhook_no,
            webhook.c.disabled_at.is_(None),
        )
        .values(disabled_at=now, disabled_because=because, revision=webhook.c.revision + 1)
    )


def hold_circuit(connection: Connection, account_no: int, webhook_no: int) -> Circuit | None:
    """The receiver's circuit, its row locked until the end of the transaction."""
    row = connection.execute(
        select(webhook.c.failure_count, webhook.c.paused_until)
        .where(webhook.c.account_no == account_no, webhook.c.webhook_no == webhook_no)
        .with_for_update(key_share=True)
    ).first()
    return None if row is None else Circuit(row.failure_count, row.paused_until)


def close_circuit(
    connection: Connection, account_no: int, webhook_no: int, *, now: datetime
) -> None:
    """The receiver has answered well; nothing is written where it did before.

    What was never tried, because the receiver was left alone, is due at once.
    """
    closed = connection.execute(
        update(webhook)
        .where(
            webhook.c.account_no == account_no,
            webhook.c.webhook_no == webhook_no,
            or_(webhook.c.failure_count > 0, webhook.c.paused_until.is_not(None)),
        )
        .values(failure_count=0, paused_until=None)
    )
    if closed.rowcount:
        connection.execute(
            update(delivery)
            .where(
                delivery.c.account_no == account_no,
                delivery.c.webhook_no == webhook_no,
                delivery.c.state == WAITING,
                delivery.c.attempt_count == 0,
                delivery.c.due_at > now,
            )
            .values(due_at=now)
        )


def lift_pause(connection: Connection, account_no: int, webhook_no: int) -> None:
    """Let the receiver be tried before its pause ends; another failure begins a new one."""
    connection.execute(
        update(webhook)
        .where(
            webhook.c.account_no == account_no,
            webhook.c.webhook_no == webhook_no,
            webhook.c.paused_until.is_not(None),
        )
        .values(paused_until=None)
    )


def put_circuit(connection: Connection, account_no: int, webhook_no: int, circuit: Circuit) -> None:
    """Keep the circuit; what waits and would fall due within its pause waits for its end."""
    connection.execute(
        update(webhook)
        .where(webhook.c.account_no == account_no, webhook.c.webhook_no == webhook_no)
        .values(failure_count=circuit.failure_count, paused_until=circuit.paused_until)
    )
    if circuit.paused_until is not None:
        connection.execute(
            update(delivery)
            .where(
                delivery.c.account_no == account_no,
                delivery.c.webhook_no == webhook_no,
                delivery.c.state == WAITING,
                delivery.c.due_at < circuit.paused_until,
            )
            .values(due_at=circuit.paused_until)
        )


def put_secret(
    connection: Connection, account_no: int, webhook_no: int, *, secret: bytes, now: datetime
) -> None:
    """Add a secret; made after every other one, so that it is known for the newest."""
    latest = connection.execute(
        select(func.max(webhook_secret.c.made_at)).where(
            webhook_secret.c.account_no == account_no, webhook_secret.c.webhook_no == webhook_no
        )
    ).scalar_one()
    made_at = now if latest is None else max(now, latest + MILLISECOND)
    connection.execute(
        insert(webhook_secret).values(
            account_no=account_no, webhook_no=webhook_no, made_at=made_at, secret=secret
        )
    )


def end_secrets(
    connection: Connection, account_no: int, webhook_no: int, *, at: datetime, now: datetime
) -> None:
    """Let the secrets there are end at an instant, and drop those that have ended before now."""
    mine = (webhook_secret.c.account_no == account_no, webhook_secret.c.webhook_no == webhook_no)
    connection.execute(delete(webhook_secret).where(*mine, webhook_secret.c.valid_until <= now))
    connection.execute(
        update(webhook_secret)
        .where(
            *mine, or_(webhook_secret.c.valid_until.is_(None), webhook_secret.c.valid_until > at)
        )
        .values(valid_until=at)
    )


def secrets_of(
    connection: Connection, account_no: int, webhook_no: int, *, now: datetime
) -> tuple[bytes, ...]:
    """The secrets that are valid now, the newest first."""
    rows = connection.execute(
        select(webhook_secret.c.secret)
        .where(
            webhook_secret.c.account_no == account_no,
            webhook_secret.c.webhook_no == webhook_no,
            or_(webhook_secret.c.valid_until.is_(None), webhook_secret.c.valid_until > now),
        )
        .order_by(webhook_secret.c.made_at.desc())
        .limit(MOST_SECRETS)
    )
    return tuple(bytes(row.secret) for row in rows)


def _row_of(connection: Connection, account_no: int, which: Any) -> WebhookRow:
    row = connection.execute(
        select(webhook.c.webhook_no, *_SHOWN).where(webhook.c.account_no == account_no, which)
    ).one()
    return _of(dict(row._mapping))


def _of(found: Mapping[str, Any]) -> WebhookRow:
    told = {column.name: found[column.name] for column in _SHOWN}
    return WebhookRow(
        found["webhook_no"], Webhook(**{**told, **{name: tuple(told[name]) for name in _LISTS}})
    )
