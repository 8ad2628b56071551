"""Webhooks in a database, events for them, and receivers that exist only in a test."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from burrline_service.actions import webhooks
from burrline_service.actions.delivering import deliver_next
from burrline_service.core.alert_records import ALERT_OPENED, EventRow
from burrline_service.core.records import Caller
from burrline_service.sender import Exchange
from burrline_service.store import claims, outbox
from burrline_service.store.database import Database
from burrline_service.store.outbox import Receiver

URL = "https://hooks.roastery.coffee/in"
ANY_REVISION = frozenset({-1})


@dataclass(frozen=True)
class Sent:
    """One request as it went out."""

    url: str
    headers: dict[str, str]
    content: bytes

    @property
    def event_id(self) -> str:
        return self.headers["webhook-id"]


@dataclass
class Receivers:
    """Stands for the sender: answers as told, by URL, and keeps what was sent.

    It takes every URL for one of the operator's exceptions, so none has to prove itself.
    """

    answers: dict[str, Callable[[Sent], Exchange]] = field(default_factory=dict)
    sent: list[Sent] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def check(self, url: str) -> bool:
        return True

    def post(self, url: str, *, headers: Mapping[str, str], content: bytes) -> Exchange:
        sent = Sent(url, dict(headers), content)
        with self.lock:
            self.sent.append(sent)
        return self.answers.get(url, lambda _: answered(204))(sent)

    def answer(self, status: int | None, *, url: str = URL, **more: Any) -> None:
        """From now on, answer so at this URL."""
        self.answers[url] = lambda _: answered(status, **more)


def answered(status: int | None, **more: Any) -> Exchange:
    error = None if status is not None and 200 <= status < 300 else f"answered {status}"
    return Exchange(status, 0.02, **{"error": error, **more})


def an_event(number: int, at: datetime, **more: Any) -> EventRow:
    """The so-manieth event of an account, of a grinder that is not at any site."""
    told: dict[str, Any] = {
        "position": number,
        "event_id": f"event-{number:06}",
        "type": ALERT_OPENED,
        "at": at,
        "grinder_no": 1,
        "site_no": None,
        "grinder_id": "bar-1",
        "alert_id": None,
        "severity": "caution",
        "is_late": False,
        "is_held": False,
        "body": {"kind": "long_run", "number": number},
    }
    return EventRow(**{**told, **more})


def a_webhook(database: Database, caller: Caller, now: datetime, **fields: Any) -> tuple[str, str]:
    """A webhook without proof: its id and its secret."""
    made, secret = webhooks.create_webhook(
        database, caller, fields={"url": URL, **fields}, sender=Receivers(), now=now
    )
    return made.webhook_id, secret


def tell(database: Database, caller: Caller, *events: EventRow, now: datetime) -> int:
    """Hand events to the outbox, as the transaction does in which they are noticed."""
    return database.write(
        caller.account_no,
        lambda connection: outbox.fan_out(connection, caller.account_no, events, now=now),
    )


def deliver_all(
    database: Database, receivers: Receivers, clock: Callable[[], datetime]
) -> list[str]:
    """Deliver what is due, one after the other; what came of each."""
    verdicts: list[str] = []
    while True:
        found = [
            verdict
            for receiver in claims.due(database, clock())
            for verdict in [one(database, receivers, receiver, clock)]
            if verdict is not None
        ]
        if not found:
            return verdicts
        verdicts += found


def one(
    database: Database, receivers: Receivers, receiver: Receiver, clock: Callable[[], datetime]
) -> str | None:
    return deliver_next(database, receivers.post, receiver, clock=clock, dice=lambda: 0.0)


def later(seconds: float) -> timedelta:
    return timedelta(seconds=seconds)
