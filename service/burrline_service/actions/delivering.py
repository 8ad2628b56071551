"""Delivering: claim one, send it, write down what came of it. Killed anywhere, nothing is lost.

An attempt that was made but could not be written down is made again when its lease ends, under
the same id: deliveries arrive at least once.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from functools import partial
from typing import Protocol

from ..core import cloud_events
from ..core.receiver_circuit import after_attempt
from ..core.retry_schedule import (
    GIVE_UP_SECONDS,
    Verdict,
    asked_seconds,
    retry_delay_seconds,
    verdict_of,
)
from ..core.standard_webhooks import signed_headers
from ..core.webhook_records import Attempt, Claim
from ..sender import Exchange
from ..store import accounts, claims, outbox, webhooks
from ..store.database import Connection, Database
from ..store.outbox import Receiver

LEASE_SECONDS = 90.0  # an attempt takes 15 s; a resolver that hangs is waited for on top
KEPT_FOR = timedelta(days=30)
GONE = "the receiver answered 410 Gone"

logger = logging.getLogger("burrline.deliver")


class Post(Protocol):
    """Sends one request; tells of every trouble in what it returns."""

    def __call__(self, url: str, *, headers: Mapping[str, str], content: bytes) -> Exchange: ...


def deliver_next(
    database: Database,
    post: Post,
    receiver: Receiver,
    *,
    clock: Callable[[], datetime],
    dice: Callable[[], float],
) -> Verdict | None:
    """Deliver what has been due longest to a receiver; what came of it, None: nothing was due."""
    held = database.write(
        receiver.account_no,
        partial(claims.claim, receiver=receiver, now=clock(), lease_seconds=LEASE_SECONDS),
    )
    if held is None:
        return None
    attempted_at = clock()
    if attempted_at >= held.until_at or not held.secrets:
        database.write(held.account_no, partial(claims.give_back, held=held, now=attempted_at))
        return None
    headers = {
        "Content-Type": cloud_events.MEDIA_TYPE,
        **signed_headers(
            held.secrets,
            message_id=held.event_id,
            timestamp_seconds=int(attempted_at.timestamp()),
            content=held.content,
        ),
    }
    exchange = post(held.url, headers=headers, content=held.content)
    verdict = verdict_of(exchange.status)
    attempt = Attempt(
        attempted_at=attempted_at,
        status=exchange.status,
        seconds=exchange.seconds,
        answer=_as_text(exchange.answer),
        error=exchange.error,
    )
    record(database, held, attempt, verdict, exchange.retry_after, now=clock(), dice=dice)
    logger.info(
        "delivery %s, attempt %d: %s", held.event_id, held.attempt_count, exchange.error or verdict
    )
    return verdict


def record(
    database: Database,
    held: Claim,
    attempt: Attempt,
    verdict: Verdict,
    retry_after: str | None,
    *,
    now: datetime,
    dice: Callable[[], float],
) -> None:
    """Write down, in one transaction, what an attempt came to and what follows from it."""
    asked = asked_seconds(retry_after, at=now)
    jitter_fraction = dice()
    delay_seconds = retry_delay_seconds(
        held.attempt_count, jitter_fraction=jitter_fraction, retry_after_seconds=asked
    )
    account_no, webhook_no = held.account_no, held.webhook_no

    def work(connection: Connection) -> None:
        # The webhook's row first, always: who holds it may move any of its deliveries.
        if verdict == "delivered":
            webhooks.close_circuit(connection, account_no, webhook_no, now=now)
            claims.log(connection, held, attempt)
            claims.mark_delivered(connection, held, now=now)
            return
        circuit = webhooks.hold_circuit(connection, account_no, webhook_no)
        if circuit is None:
            return  # it was deleted meanwhile
        claims.log(connection, held, attempt)
        if verdict == "gone":
            claims.give_up(connection, held, now=now)
            webhooks.disable(connection, account_no, webhook_no, because=GONE, now=now)
            outbox.fail_waiting(connection, Receiver(account_no, webhook_no), because=GONE, now=now)
            return
        if delay_seconds is None:
            claims.give_up(connection, held, now=now)
        else:
            due_at = now + timedelta(seconds=delay_seconds)
            claims.postpone(connection, held, due_at=due_at)
        webhooks.put_circuit(
            connection,
            account_no,
            webhook_no,
            after_attempt(
                circuit,
                verdict,
                at=now,
                jitter_fraction=jitter_fraction,
                retry_after_seconds=asked,
            ),
        )

    database.write(account_no, work)


def tidy_deliveries(database: Database, *, now: datetime) -> int:
    """Give up what has waited for days, and forget what was done with a month ago."""
    count = 0
    for account in database.read(None, accounts.all_of_them):
        account_no = account.account_no
        give_up = partial(
            outbox.give_up_older,
            account_no=account_no,
            made_before=now - timedelta(seconds=GIVE_UP_SECONDS),
            now=now,
        )
        forget = partial(outbox.forget, account_no=account_no, before=now - KEPT_FOR)
        count += database.write(account_no, give_up) + database.write(account_no, forget)
    return count


def _as_text(answer: bytes) -> str | None:
    """How an answer begins, as one may look at it: what is not text shows as escapes."""
    if not answer:
        return None
    text = answer[:1024].decode("utf-8", "backslashreplace")
    return "".join(
        character if character.isprintable() or character == "\n" else ascii(character)[1:-1]
        for character in text
    )
