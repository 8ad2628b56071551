"""Webhooks: making, changing and taking them away; their secrets."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from ..core.alert_records import EVENT_TYPES, WEBHOOK_TEST
from ..core.errors import AlreadyExists, NotFound, TooManyWebhooks
from ..core.records import Caller, Page
from ..core.standard_webhooks import SECRET_COUNT, secret_text
from ..core.webhook_records import Webhook
from ..store import webhooks
from ..store.database import Connection, Database
from ..store.webhooks import WebhookRow
from . import bounds
from .places import check_revision, page_of
from .receiver_proof import Calls, prove

MOST_WEBHOOKS = 50
OVERLAP_SECONDS = 86_400.0
BY_OWNER = "by its owner"
LISTS = ("types", "site_ids", "grinder_ids")
SUBSCRIBED = tuple(kind for kind in EVENT_TYPES if kind != WEBHOOK_TEST)


def create_webhook(
    database: Database, caller: Caller, *, fields: Mapping[str, Any], sender: Calls, now: datetime
) -> tuple[Webhook, str]:
    """Make a webhook once its receiver has proved itself; its secret is told this once."""
    wanted = {
        "name": fields.get("name") or "",
        "url": fields["url"],
        "types": list(fields.get("types") or SUBSCRIBED),
        "site_ids": sorted(fields.get("site_ids") or ()),
        "grinder_ids": sorted(fields.get("grinder_ids") or ()),
    }
    webhook_id = fields.get("webhook_id")
    draft = _draft(wanted, webhook_id or "", now)

    def check(connection: Connection) -> None:
        bounds.check(connection, caller, draft, "webhooks", now=now)
        if webhook_id and webhooks.by_id(connection, caller.account_no, webhook_id) is not None:
            raise AlreadyExists("webhook", webhook_id)
        if webhooks.count(connection, caller.account_no) >= MOST_WEBHOOKS:
            raise TooManyWebhooks(MOST_WEBHOOKS)

    database.read(caller.account_no, check)
    secret = secrets.token_bytes(SECRET_COUNT)
    prove(sender, fields["url"], secrets_=(secret,), now=now)

    def work(connection: Connection) -> Webhook:
        webhooks.hold_account(connection, caller.account_no)
        check(connection)
        return webhooks.add(
            connection,
            caller.account_no,
            webhook_id=webhook_id,
            fields=wanted,
            secret=secret,
            now=now,
        ).webhook

    return database.write(caller.account_no, work), secret_text(secret)


def list_webhooks(
    database: Database,
    caller: Caller,
    *,
    limit: int,
    position: tuple[Any, ...] | None,
    now: datetime,
) -> Page:
    """The webhooks within the caller's bounds."""

    def work(connection: Connection) -> Page:
        found = webhooks.listed(connection, caller.account_no, limit=MOST_WEBHOOKS + 1, after=None)
        kept = bounds.within(connection, caller, [row.webhook for row in found], now=now)
        after = position[0] if position else ""
        rest = [one for one in kept if one.webhook_id > after]
        return page_of(rest[: limit + 1], limit, lambda one: (one.webhook_id,))

    return database.read(caller.account_no, work)


def get_webhook(database: Database, caller: Caller, *, webhook_id: str, now: datetime) -> Webhook:
    return database.read(
        caller.account_no,
        lambda connection: row_of(connection, caller, webhook_id, now=now).webhook,
    )


def update_webhook(
    database: Database,
    caller: Caller,
    *,
    webhook_id: str,
    fields: Mapping[str, Any],
    if_match: frozenset[int] | None,
    sender: Calls,
    now: datetime,
) -> Webhook:
    """Change a webhook; another URL, or one that is enabled again, has to prove itself."""
    changes = {name: fields[name] for name in ("name", "url") if name in fields}
    if "name" in changes:
        changes["name"] = changes["name"] or ""
    if "types" in fields:
        changes["types"] = list(fields["types"] or SUBSCRIBED)
    for name in ("site_ids", "grinder_ids"):
        if name in fields:
            changes[name] = sorted(fields[name] or ())
    is_enabled = fields.get("is_enabled")

    def check(connection: Connection, *, is_locked: bool = False) -> WebhookRow:
        row = row_of(connection, caller, webhook_id, is_locked=is_locked, now=now)
        check_revision(if_match, row.webhook.revision)
        told: dict[str, Any] = {
            name: tuple(value) if name in LISTS else value for name, value in changes.items()
        }
        after = replace(row.webhook, **told)
        bounds.check(connection, caller, after, "webhooks", now=now)
        return row

    def look(connection: Connection) -> tuple[WebhookRow, tuple[bytes, ...]]:
        row = check(connection)
        valid = webhooks.secrets_of(connection, caller.account_no, row.webhook_no, now=now)
        return row, valid

    before, valid = database.read(caller.account_no, look)
    is_again = is_enabled is True and before.webhook.disabled_at is not None
    if is_again or changes.get("url", before.webhook.url) != before.webhook.url:
        prove(sender, changes.get("url", before.webhook.url), secrets_=valid, now=now)
    if is_again:
        changes |= {"disabled_at": None, "disabled_because": None}
    if is_again or "url" in changes:
        changes |= {"failure_count": 0, "paused_until": None}

    def work(connection: Connection) -> Webhook:
        row = check(connection, is_locked=True)
        if is_enabled is False and row.webhook.disabled_at is None:
            changes.update(disabled_at=now, disabled_because=BY_OWNER)
        return webhooks.change(connection, caller.account_no, row.webhook_no, changes).webhook

    return database.write(caller.account_no, work)


def delete_webhook(
    database: Database, caller: Caller, *, webhook_id: str, now: datetime
) -> Webhook:
    """Take a webhook away, with its secrets, its deliveries and their log."""

    def work(connection: Connection) -> Webhook:
        row = row_of(connection, caller, webhook_id, is_locked=True, now=now)
        webhooks.drop(connection, caller.account_no, row.webhook_no)
        return row.webhook

    return database.write(caller.account_no, work)


def rotate_webhook_secret(
    database: Database,
    caller: Caller,
    *,
    webhook_id: str,
    fields: Mapping[str, Any],
    now: datetime,
) -> tuple[Webhook, str]:
    """Make a new secret; what was valid signs beside it until the overlap ends."""
    overlap_seconds = fields.get("overlap_seconds")
    until = now + timedelta(seconds=OVERLAP_SECONDS if overlap_seconds is None else overlap_seconds)
    secret = secrets.token_bytes(SECRET_COUNT)

    def work(connection: Connection) -> Webhook:
        row = row_of(connection, caller, webhook_id, is_locked=True, now=now)
        webhooks.end_secrets(connection, caller.account_no, row.webhook_no, at=until, now=now)
        webhooks.put_secret(connection, caller.account_no, row.webhook_no, secret=secret, now=now)
        return webhooks.change(connection, caller.account_no, row.webhook_no, {}).webhook

    return database.write(caller.account_no, work), secret_text(secret)


def _draft(wanted: Mapping[str, Any], webhook_id: str, now: datetime) -> Webhook:
    told: dict[str, Any] = {
        name: tuple(value) if name in LISTS else value for name, value in wanted.items()
    }
    return Webhook(webhook_id=webhook_id, created_at=now, **told)


def row_of(
    connection: Connection,
    caller: Caller,
    webhook_id: str,
    *,
    is_locked: bool = False,
    now: datetime,
) -> WebhookRow:
    row = webhooks.by_id(connection, caller.account_no, webhook_id, is_locked=is_locked)
    if row is None or not bounds.within(connection, caller, [row.webhook], now=now):
        raise NotFound("webhook", webhook_id)
    return row
