"""The tables of who is told of events, and of what is on its way to them."""

from __future__ import annotations

from sqlalchemy import (
    JSON,
    BigInteger,
    Column,
    Index,
    Integer,
    LargeBinary,
    SmallInteger,
    Text,
    UniqueConstraint,
    text,
)

from .table_kinds import column, of_account
from .types import UtcDateTime

WAITING, DELIVERED, FAILED = 0, 1, 2

# Who is told. ``failure_count`` and ``paused_until`` are the receiver's circuit.
webhook = of_account(
    "webhook",
    column("webhook_no", Integer),
    column("webhook_id", Text),
    column("name", Text),
    column("url", Text),
    column("types", JSON),
    column("site_ids", JSON),
    column("grinder_ids", JSON),
    column("created_at", UtcDateTime),
    column("disabled_at", UtcDateTime, nullable=True),
    column("disabled_because", Text, nullable=True),
    column("revision", Integer),
    column("failure_count", Integer),
    column("paused_until", UtcDateTime, nullable=True),
    key=("webhook_no",),
    constraints=(UniqueConstraint("account_no", "webhook_id"),),
)

# What deliveries are signed with: it must be readable, so this table is what to guard.
webhook_secret = of_account(
    "webhook_secret",
    column("webhook_no", Integer),
    column("made_at", UtcDateTime),
    column("secret", LargeBinary),
    column("valid_until", UtcDateTime, nullable=True),
    key=("webhook_no", "made_at"),
)

# The outbox: one row per event and receiver, written with the event. ``content`` is what is sent,
# the same bytes at every attempt. Whoever claims a row moves ``due_at`` to the end of the lease
# and counts up ``claim_no``; if that process dies, the row falls due again by itself.
delivery = of_account(
    "delivery",
    column("webhook_no", Integer),
    column("event_id", Text),
    column("position", BigInteger, nullable=True),  # in the feed; a test has none
    column("type", Text),
    column("content", Text),
    column("state", SmallInteger),
    column("due_at", UtcDateTime),
    column("attempt_count", Integer),
    Column("claim_no", Integer, nullable=False, server_default="0"),
    column("made_at", UtcDateTime),
    column("done_at", UtcDateTime, nullable=True),
    key=("webhook_no", "event_id"),
    constraints=(
        Index(None, "account_no", "webhook_no", "made_at"),
        Index(
            "ix_delivery_due",
            "account_no",
            "webhook_no",
            "due_at",
            postgresql_where=text("state = 0"),
            sqlite_where=text("state = 0"),
        ),
    ),
    is_hot=True,
)

# The log: what came of each attempt.
delivery_attempt = of_account(
    "delivery_attempt",
    column("webhook_no", Integer),
    column("event_id", Text),
    column("attempted_at", UtcDateTime),
    column("status", SmallInteger, nullable=True),
    column("taken_ms", Integer),
    column("answer", Text, nullable=True),
    column("error", Text, nullable=True),
    key=("webhook_no", "event_id", "attempted_at"),
    is_hot=True,
)
