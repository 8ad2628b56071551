"""Whether a receiver wants to be told: it gives back what it was sent."""

from __future__ import annotations

import hmac
import json
import secrets
import threading
import uuid
from collections.abc import Mapping
from datetime import datetime
from typing import Protocol

from ..core import cloud_events
from ..core.errors import Fault, Invalid, ReceiverUnproven, Unavailable
from ..core.standard_webhooks import signed_headers
from ..core.webhook_target import BadTarget
from ..sender import Exchange

MOST_ASKED = 2  # at once, of a server's eight threads: a receiver may take its time
_asking = threading.BoundedSemaphore(MOST_ASKED)


class Calls(Protocol):
    """What a sender does."""

    def check(self, url: str) -> bool: ...

    def post(self, url: str, *, headers: Mapping[str, str], content: bytes) -> Exchange: ...


def prove(sender: Calls, url: str, *, secrets_: tuple[bytes, ...], now: datetime) -> None:
    """Ask the receiver to give back a nonce, so that nobody is told who did not ask to be.

    The operator's exceptions need no proof. Whoever answers for a name or for a receiver decides
    how long it takes, so few are asked at once.
    """
    if not _asking.acquire(blocking=False):
        raise Unavailable("Other receivers are being asked for their proof; try again.")
    try:
        _ask(sender, url, secrets_=secrets_, now=now)
    finally:
        _asking.release()


def _ask(sender: Calls, url: str, *, secrets_: tuple[bytes, ...], now: datetime) -> None:
    try:
        if sender.check(url):
            return
    except BadTarget as error:
        raise Invalid(Fault(str(error), pointer="/url")) from error
    nonce, event_id = secrets.token_urlsafe(24), str(uuid.uuid4())
    content = cloud_events.envelope(
        event_id=event_id,
        event_type=cloud_events.CHALLENGE_TYPE,
        source="/v1/webhooks",
        at=now,
        data={"challenge": nonce},
    )
    headers = {
        "Content-Type": cloud_events.MEDIA_TYPE,
        **signed_headers(
            secrets_,
            message_id=event_id,
            timestamp_seconds=int(now.timestamp()),
            content=content,
        ),
    }
    answered = sender.post(url, headers=headers, content=content)
    if answered.error is not None:
        raise ReceiverUnproven(answered.error)
    if not _is_given_back(answered.answer, nonce):
        raise ReceiverUnproven("its answer is another")


def _is_given_back(answer: bytes, nonce: str) -> bool:
    """The nonce alone, or JSON with it as ``challenge`` and nothing else."""
    text = answer.strip()
    if text.startswith(b"{"):
        try:
            read = json.loads(text)
        except ValueError:
            return False
        given = read.get("challenge") if isinstance(read, dict) and len(read) == 1 else None
        text = given.encode() if isinstance(given, str) else b""
    return hmac.compare_digest(text, nonce.encode())
