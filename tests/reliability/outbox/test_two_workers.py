"""Several workers at one outbox: none waits for another, none sends what another holds."""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Iterator

import pytest

from burrline_service.core.records import Caller
from burrline_service.core.webhook_records import Claim
from burrline_service.store import claims
from burrline_service.store.database import Connection, Database, open_database
from conftest import Clock
from told import Receivers, Sent, a_webhook, an_event, answered, deliver_all, tell


@pytest.fixture
def second(database_url: str) -> Iterator[Database]:
    """Another worker's connections to the same database."""
    opened = open_database(database_url)
    yield opened
    opened.close()


@pytest.mark.parametrize("database_kind", ["postgresql"])
def test_what_one_worker_is_about_to_claim_another_passes_over(
    database: Database, second: Database, caller: Caller, clock: Clock
) -> None:
    """The first has not committed yet: the second neither waits for it nor takes the same."""
    a_webhook(database, caller, clock())
    tell(database, caller, an_event(1, clock()), an_event(2, clock()), now=clock())
    (receiver,) = claims.due(database, clock())
    claimed: list[Claim | None] = []

    def claim(connection: Connection) -> Claim | None:
        return claims.claim(connection, receiver, now=clock(), lease_seconds=60)

    def first_claims(connection: Connection) -> None:
        claimed.append(claim(connection))
        claimed.append(second.write(caller.account_no, claim))
        claimed.append(second.write(caller.account_no, claim))

    database.write(caller.account_no, first_claims)
    assert [one and one.event_id for one in claimed] == ["event-000001", "event-000002", None]


def test_many_threads_of_two_workers_send_each_delivery_once(
    database: Database, second: Database, caller: Caller, clock: Clock
) -> None:
    events = [an_event(number, clock()) for number in range(24)]
    for number in range(2):
        a_webhook(database, caller, clock(), url=f"https://hooks.roastery.coffee/{number}")
    tell(database, caller, *events, now=clock())
    receivers = Receivers()
    under_way: Counter[tuple[str, str]] = Counter()
    most = 0
    lock = threading.Lock()

    def answer(sent: Sent) -> object:
        nonlocal most
        key = (sent.url, sent.event_id)
        with lock:
            under_way[key] += 1
            most = max(most, under_way[key])
        with lock:
            under_way[key] -= 1
        return answered(204)

    for number in range(2):
        receivers.answers[f"https://hooks.roastery.coffee/{number}"] = answer  # type: ignore[assignment]
    workers = [
        threading.Thread(target=deliver_all, args=(opened, receivers, clock))
        for opened in (database, second) * 2
    ]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    deliver_all(database, receivers, clock)  # what was passed over while somebody looked at it
    sent = Counter((one.url, one.event_id) for one in receivers.sent)
    assert len(sent) == 2 * len(events)
    assert set(sent.values()) == {1}
    assert most == 1
