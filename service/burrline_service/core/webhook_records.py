"""The records of webhooks: who is told, what is on its way, what came of each attempt."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

DELIVERY_STATES = ("waiting", "delivered", "failed")


@dataclass(frozen=True)
class Webhook:
    """A receiver of events: where, of which types, of which grinders; never its secret.

    Without ``site_ids`` and ``grinder_ids`` it is told of the whole account. ``failure_count``
    counts attempts that failed in a row; until ``paused_until`` the receiver is left alone.
    """

    webhook_id: str
    name: str
    url: str
    types: tuple[str, ...]
    site_ids: tuple[str, ...]
    grinder_ids: tuple[str, ...]
    created_at: datetime
    disabled_at: datetime | None = None
    disabled_because: str | None = None
    failure_count: int = 0
    paused_until: datetime | None = None
    revision: int = 1


@dataclass(frozen=True)
class WebhookWithSecret(Webhook):
    """A webhook with a new secret, as its owner is told it once."""

    secret: str = field(default="", repr=False)


@dataclass(frozen=True)
class Attempt:
    """One attempt to deliver: ``answer`` is how the receiver's answer begins, as text."""

    attempted_at: datetime
    status: int | None
    seconds: float
    answer: str | None = None
    error: str | None = None


@dataclass(frozen=True)
class Delivery:
    """One event on its way to one receiver, with its latest attempts, the last one first."""

    event_id: str
    type: str
    state: str
    attempt_count: int
    next_attempt_at: datetime | None
    made_at: datetime
    done_at: datetime | None
    attempts: tuple[Attempt, ...] = ()


@dataclass(frozen=True)
class Claim:
    """A delivery that one worker holds until ``until_at``: all that an attempt needs."""

    account_no: int
    webhook_no: int
    event_id: str
    claim_no: int
    attempt_count: int
    url: str
    content: bytes
    secrets: tuple[bytes, ...] = field(repr=False)
    until_at: datetime
