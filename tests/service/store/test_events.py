"""The feed loses nothing and repeats nothing, however long its writers take to commit."""

from __future__ import annotations

import random
import threading
import time
from functools import partial

from burrline_service.core.alert_records import ALERT_OPENED, EventRow
from burrline_service.store import events
from burrline_service.store.database import Connection, Database
from small_chain import NOW, new_account

WRITERS, EACH = 4, 12


def an_event(name: str) -> EventRow:
    return EventRow(0, name, ALERT_OPENED, NOW, 1, 1, "bar-1", "a", "notice", False, False, {})


def test_a_follower_gets_every_event_once_and_in_order(database: Database) -> None:
    account_no = new_account(database).account_no
    other_no = new_account(database).account_no
    written: list[str] = []
    is_over = threading.Event()

    def write(writer: int) -> None:
        chance = random.Random(writer)
        for number in range(EACH):
            names = [f"{writer}-{number}-{part}" for part in range(chance.randint(1, 3))]

            def work(connection: Connection, names: list[str] = names) -> None:
                events.add(connection, account_no, [an_event(name) for name in names], now=NOW)
                if not database.is_sqlite:
                    time.sleep(chance.random() * 0.006)  # a commit that takes its time

            try:
                if number % 5 == 4:  # one that gives up leaves no hole that anybody waits for
                    database.write(account_no, lambda c: (work(c), 1 / 0))
            except ZeroDivisionError:
                pass
            database.write(account_no, work)
            written.extend(names)

    def following(connection: Connection, *, position: int, limit: int) -> list[EventRow]:
        return events.after(connection, account_no, position, limit=limit)

    def read(found: list[EventRow], limit: int) -> None:
        position = 0
        while True:
            is_last = is_over.is_set()
            page = database.read(account_no, partial(following, position=position, limit=limit))
            found.extend(page)
            position = page[-1].position if page else position
            if is_last and not page:
                return

    seen: tuple[list[EventRow], list[EventRow]] = ([], [])
    readers = [
        threading.Thread(target=read, args=(found, limit))
        for found, limit in zip(seen, (2, 100), strict=True)
    ]
    writers = [threading.Thread(target=write, args=(number,)) for number in range(WRITERS)]
    for thread in (*readers, *writers):
        thread.start()
    for thread in writers:
        thread.join()
    is_over.set()
    for thread in readers:
        thread.join()
    for found in seen:
        positions = [one.position for one in found]
        assert positions == list(range(1, len(written) + 1))
        assert sorted(one.event_id for one in found) == sorted(written)
    assert database.read(other_no, lambda c: events.last_position(c, other_no)) == 0


def test_positions_are_of_the_account(database: Database) -> None:
    first, second = (new_account(database).account_no for _ in range(2))
    for number in (first, second, first):
        database.write(number, lambda c, n=number: events.add(c, n, [an_event("one")], now=NOW))
    assert database.read(first, lambda c: events.last_position(c, first)) == 2
    assert database.read(second, lambda c: events.last_position(c, second)) == 1
