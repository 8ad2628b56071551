"""A worker that dies at any single point loses nothing, and repeats under the same id.

The points: before each statement that it sends (also those that open and end its transactions),
between a commit and the next step, before and after the request goes out. After each death another
worker takes over; what a statement that never ran leaves behind is what a kill leaves.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from itertools import count
from typing import Any

import pytest
from sqlalchemy import Connection, event

from burrline_service.actions import deliveries, webhooks
from burrline_service.actions.delivering import LEASE_SECONDS
from burrline_service.core.records import Caller
from burrline_service.sender import Exchange
from burrline_service.store import claims, outbox
from burrline_service.store.database import Database
from conftest import Clock
from told import ANY_REVISION, URL, Receivers, a_webhook, an_event, answered, one, tell

EVENTS = 1
OTHER_URL = f"{URL}?fails-once"


class Killed(Exception):
    """Nothing on the way catches it, as nothing catches SIGKILL."""


@dataclass
class Killer:
    """Counts the points that are passed, and kills at the one it is set on."""

    at: int | None = None
    passed: int = 0
    names: list[str] = field(default_factory=list)

    def point(self, name: str) -> None:
        self.passed += 1
        self.names.append(name)
        if self.passed == self.at:
            raise Killed(name)

    @contextmanager
    def watching(self, database: Database) -> Iterator[None]:
        def before(connection: Connection, cursor: Any, statement: str, *_: Any) -> None:
            self.point(statement.split()[0])

        def on_commit(connection: Connection) -> None:
            self.point("COMMIT")

        write = database.write

        def watched(account_no: int | None, work: Callable[[Connection], Any]) -> Any:
            result = write(account_no, work)
            self.point("committed")
            return result

        engine = database._writer
        event.listen(engine, "before_cursor_execute", before)
        event.listen(engine, "commit", on_commit)
        database.write = watched  # type: ignore[method-assign, assignment]
        try:
            yield
        finally:
            del database.write  # type: ignore[method-assign]
            event.remove(engine, "before_cursor_execute", before)
            event.remove(engine, "commit", on_commit)


@dataclass
class Scene:
    """Two receivers, one of which fails at first; the events are in the outbox already."""

    database: Database
    clock: Clock
    receivers: Receivers
    killer: Killer

    def post(self, url: str, *, headers: Mapping[str, str], content: bytes) -> Exchange:
        self.killer.point("before the request")
        exchange = self.receivers.post(url, headers=headers, content=content)
        self.killer.point("after the request")
        return exchange

    def turn(self) -> bool:
        """One turn of a worker; whether there was anything to do."""
        receivers = Receivers(self.receivers.answers)
        receivers.post = self.post  # type: ignore[method-assign]
        return any(
            {
                receiver: one(self.database, receivers, receiver, self.clock)
                for receiver in claims.due(self.database, self.clock())
            }.values()
        )

    def work_until_killed(self) -> bool:
        with self.killer.watching(self.database):
            try:
                for _ in range(20):
                    if not self.turn():
                        self.clock.pass_by(seconds=5)
                        if not self.turn():
                            return False
            except Killed:
                return True
        raise AssertionError("it never comes to rest")

    def finish(self) -> None:
        """Another worker, alive, until nothing waits any more."""
        for _ in range(50):
            if not claims.backlog(self.database).waiting_count:
                return
            if not self.turn():
                self.clock.pass_by(seconds=LEASE_SECONDS)
        raise AssertionError("something waits for ever")


def fails_once(receivers: Receivers) -> None:
    turns = count()
    receivers.answers[OTHER_URL] = lambda _: answered(500 if next(turns) == 0 else 200)


def stands_so(database: Database, caller: Caller, ids: list[str], clock: Clock) -> list[Any]:
    return [
        (delivery.event_id, delivery.state)
        for webhook_id in ids
        for delivery in deliveries.list_deliveries(
            database,
            caller,
            webhook_id=webhook_id,
            state=None,
            limit=50,
            position=None,
            now=clock(),
        ).items
    ]


def test_whatever_point_it_dies_at_everything_arrives_under_its_own_id(
    database: Database, caller: Caller, clock: Clock
) -> None:
    ids = [a_webhook(database, caller, clock(), url=url)[0] for url in (URL, OTHER_URL)]
    serials = count()
    killed_at: list[str] = []
    repeats = 0
    for at in count(1):
        receivers, killer = Receivers(), Killer(at)
        fails_once(receivers)
        scene = Scene(database, clock, receivers, killer)
        first = next(serials) * 10
        clock.pass_by(minutes=10)
        events = [an_event(first + number, clock()) for number in range(EVENTS)]
        assert tell(database, caller, *events, now=clock()) == 2 * EVENTS
        was_killed = scene.work_until_killed()
        killer.at = None
        scene.finish()
        sent = [(one.url, one.event_id) for one in receivers.sent]
        wanted = {(url, one.event_id) for url in (URL, OTHER_URL) for one in events}
        assert set(sent) == wanted, f"killed at point {at}: {killer.names[at - 1]}"
        # one of the other's fails at first; beyond that at most the one that was under way
        repeats += len(sent) - len(wanted) - 1
        assert len(sent) - len(wanted) - 1 in (0, 1)
        assert {one.content for one in receivers.sent} == {
            outbox.content_of(one).encode() for one in events
        }
        mine = {one.event_id for one in events}
        states = {
            state for event_id, state in stands_so(database, caller, ids, clock) if event_id in mine
        }
        assert states == {"delivered"}
        if not was_killed:
            break
        killed_at.append(killer.names[at - 1])
    assert len(killed_at) > 30, "there are that many points"
    assert {"before the request", "after the request", "committed", "INSERT", "UPDATE"} <= set(
        killed_at
    )
    assert repeats > 0, "a kill after the request must show as a repeat, else this test is blind"


@pytest.mark.parametrize("database_kind", ["sqlite"])
def test_a_worker_that_marks_before_it_sends_would_be_found_out(
    database: Database, caller: Caller, clock: Clock
) -> None:
    """The wrong order: done with the delivery first, then the request. Some point must lose it."""
    a_webhook(database, caller, clock())
    lost = 0
    for at in range(1, 12):
        receivers, killer = Receivers(), Killer(at)
        first = an_event(at, clock())
        tell(database, caller, first, now=clock())
        with killer.watching(database):
            try:
                for receiver in claims.due(database, clock()):
                    held = database.write(
                        receiver.account_no,
                        lambda connection, receiver=receiver: claims.claim(  # type: ignore[misc]
                            connection, receiver, now=clock(), lease_seconds=1
                        ),
                    )
                    assert held is not None
                    database.write(
                        receiver.account_no,
                        lambda connection, held=held: claims.mark_delivered(  # type: ignore[misc]
                            connection, held, now=clock()
                        ),
                    )
                    killer.point("before the request")
                    receivers.post(held.url, headers={"webhook-id": held.event_id}, content=b"")
            except Killed:
                pass
        killer.at = None
        clock.at += timedelta(seconds=LEASE_SECONDS)
        Scene(database, clock, receivers, killer).finish()
        lost += first.event_id not in {one.event_id for one in receivers.sent}
    assert lost > 0


def test_a_webhook_that_is_disabled_while_a_worker_dies_is_told_nothing_more(
    database: Database, caller: Caller, clock: Clock
) -> None:
    (webhook_id, _), receivers, killer = a_webhook(database, caller, clock()), Receivers(), Killer()
    tell(database, caller, an_event(1, clock()), now=clock())
    killer.at = 10_000
    scene = Scene(database, clock, receivers, killer)

    def dies(_: Any) -> Exchange:
        raise Killed

    receivers.answers[URL] = dies
    assert scene.work_until_killed()
    webhooks.update_webhook(
        database,
        caller,
        webhook_id=webhook_id,
        fields={"is_enabled": False},
        if_match=ANY_REVISION,
        sender=receivers,
        now=clock(),
    )
    scene.finish()
    assert len(receivers.sent) == 1
    assert stands_so(database, caller, [webhook_id], clock) == [("event-000001", "failed")]
