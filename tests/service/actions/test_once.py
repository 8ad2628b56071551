"""A request with an Idempotency-Key is done once, however often and by how many it is sent."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager

import psycopg
import pytest

from burrline_service.actions import once, places
from burrline_service.actions.once import Reply
from burrline_service.core.errors import AlreadyExists, KeyReused
from burrline_service.core.records import Caller
from burrline_service.store.database import Database
from databases import MadeDatabase
from small_chain import NOW, make_site, new_account

THREAD_COUNT = 16
REPLY = Reply(201, {"Location": "/v1/sites/mill-lane"}, '{"name": "Mühle"}'.encode())


def perform(
    database: Database,
    caller: Caller,
    produce: Callable[[Database], Reply],
    *,
    key: str = "key-1",
    fingerprint: bytes = b"request",
) -> tuple[Reply, bool]:
    return once.perform(
        database, caller, key=key, fingerprint=fingerprint, now=NOW, produce=produce
    )


def site_ids(database: Database, caller: Caller) -> list[str]:
    page = places.list_sites(database, caller, limit=200, position=None, now=NOW)
    return [site.site_id for site in page.items]


@contextmanager
def crowd() -> Iterator[ThreadPoolExecutor]:
    with ThreadPoolExecutor(THREAD_COUNT) as threads:
        yield threads


def test_the_same_request_again_gets_the_same_reply_and_does_nothing(database: Database) -> None:
    caller = new_account(database)

    def produce(within: Database) -> Reply:
        make_site(within, caller)
        return REPLY

    assert perform(database, caller, produce) == (REPLY, False)
    assert perform(database, caller, produce) == (REPLY, True)
    assert site_ids(database, caller) == ["mill-lane"]


def test_a_key_for_another_request_is_refused_and_does_nothing(database: Database) -> None:
    caller = new_account(database)
    perform(database, caller, lambda _: REPLY)

    def produce(within: Database) -> Reply:
        make_site(within, caller)
        return REPLY

    with pytest.raises(KeyReused):
        perform(database, caller, produce, fingerprint=b"other request")
    assert site_ids(database, caller) == []


def test_keys_belong_to_their_account(database: Database) -> None:
    first, second = new_account(database), new_account(database)
    perform(database, first, lambda _: REPLY)
    other = Reply(200, {}, b"other")
    assert perform(database, second, lambda _: other, fingerprint=b"x") == (other, False)


def test_a_refusal_gives_the_key_free_and_undoes_what_was_begun(database: Database) -> None:
    caller = new_account(database)
    make_site(database, caller, "taken")

    def refused(within: Database) -> Reply:
        make_site(within, caller, "half-done")
        make_site(within, caller, "taken")
        return REPLY

    for _ in range(2):
        with pytest.raises(AlreadyExists):
            perform(database, caller, refused)
    assert site_ids(database, caller) == ["taken"]
    assert perform(database, caller, lambda _: REPLY) == (REPLY, False)


def test_sixteen_at_once_with_one_key_do_it_once(database: Database) -> None:
    for round_no in range(6):
        caller = new_account(database)
        at_once = threading.Barrier(THREAD_COUNT)
        done = []

        def produce(
            within: Database, caller: Caller = caller, done: list[int] = done, no: int = round_no
        ) -> Reply:
            done.append(threading.get_ident())
            make_site(within, caller, f"site-{no}")
            return Reply(201, {}, str(threading.get_ident()).encode())

        def send(
            _: int,
            caller: Caller = caller,
            at_once: threading.Barrier = at_once,
            produce: Callable[[Database], Reply] = produce,
        ) -> tuple[Reply, bool]:
            at_once.wait()
            return perform(database, caller, produce)

        with crowd() as threads:
            answers = list(threads.map(send, range(THREAD_COUNT)))
        assert len(done) == 1
        assert {reply.body for reply, _ in answers} == {str(done[0]).encode()}
        assert sorted(is_replay for _, is_replay in answers) == [False] + [True] * 15
        assert site_ids(database, caller) == [f"site-{round_no}"]


def test_of_sixteen_at_once_the_next_does_it_when_the_first_is_refused(database: Database) -> None:
    caller = new_account(database)
    at_once = threading.Barrier(THREAD_COUNT)
    tried = []

    def produce(within: Database) -> Reply:
        tried.append(1)  # one at a time: the key is claimed
        if len(tried) <= 3:
            raise AlreadyExists("site", "mill-lane")
        make_site(within, caller)
        return REPLY

    def send(_: int) -> str:
        at_once.wait()
        try:
            return "replay" if perform(database, caller, produce)[1] else "done"
        except AlreadyExists:
            return "refused"

    with crowd() as threads:
        answers = list(threads.map(send, range(THREAD_COUNT)))
    assert sorted(answers) == ["done"] + ["refused"] * 3 + ["replay"] * 12
    assert site_ids(database, caller) == ["mill-lane"]


@pytest.mark.parametrize("database_kind", ["postgresql"])
def test_two_keys_that_each_make_a_place_do_not_lock_each_other_out(
    database: Database, made_database: MadeDatabase
) -> None:
    # Claiming a key and making a place both touch the account's row; whoever holds it more
    # tightly than the other's foreign key allows would make a deadlock here.
    caller = new_account(database)
    both_claimed = threading.Barrier(2)
    tried: list[str] = []

    def send(site_id: str) -> tuple[Reply, bool]:
        def produce(within: Database) -> Reply:
            if site_id not in tried:
                tried.append(site_id)
                both_claimed.wait(timeout=20)
            make_site(within, caller, site_id)
            return REPLY

        return perform(database, caller, produce, key=f"key-of-{site_id}")

    with crowd() as threads:
        answers = list(threads.map(send, ["left", "right"]))
    assert answers == [(REPLY, False), (REPLY, False)]
    assert site_ids(database, caller) == ["left", "right"]
    database.close()
    with psycopg.connect(made_database.url) as connection:
        counted = connection.execute(
            "SELECT deadlocks FROM pg_stat_database WHERE datname = current_database()"
        ).fetchone()
    assert counted == (0,)
