"""Accounts, acting for one, and whether the service can do its work."""

from __future__ import annotations

import pytest

from burrline_service.actions import admin, health
from burrline_service.core.errors import AlreadyExists, Invalid, NotFound
from burrline_service.core.records import SCOPES
from burrline_service.store.database import Database, open_database
from databases import free_port
from small_chain import NOW


def make(database: Database, account_id: str) -> None:
    admin.create_account(database, account_id=account_id, name=None, now=NOW)


@pytest.mark.parametrize("account_id", ["", "-a", "_a", "A", "ä", "a b", "a" * 65, "a/b"])
def test_an_account_needs_a_plain_name(database: Database, account_id: str) -> None:
    with pytest.raises(Invalid):
        make(database, account_id)
    assert admin.list_accounts(database) == []


def test_an_account_is_made_once(database: Database) -> None:
    made = admin.create_account(database, account_id="lantern-2", name="Lantern", now=NOW)
    with pytest.raises(AlreadyExists):
        make(database, "lantern-2")
    assert admin.list_accounts(database) == [made]
    assert (made.name, made.created_at) == ("Lantern", NOW)


def test_the_only_account_need_not_be_named_and_several_must(database: Database) -> None:
    def owner(account_id: str | None = None, *, makes_first: bool = False) -> int:
        found = admin.owner(database, account_id=account_id, makes_first=makes_first, now=NOW)
        assert found.scopes == frozenset(SCOPES)
        return found.account_no

    with pytest.raises(Invalid):
        owner()
    first = owner(makes_first=True)
    assert owner() == owner(makes_first=True) == owner("main") == first
    make(database, "harbour")
    with pytest.raises(Invalid, match="not acceptable"):
        owner()
    assert owner("harbour") != first
    with pytest.raises(NotFound):
        owner("nobody")


def test_a_service_that_can_work_says_so(database: Database) -> None:
    assert health.readiness(database) == {"database": "pass", "schema": "pass"}


def test_a_service_without_a_database_says_what_is_wrong() -> None:
    opened = open_database(f"postgresql://burrline_app@127.0.0.1:{free_port()}/burrline")
    found = health.readiness(opened)
    assert found.keys() == {"database", "schema"}
    assert all("reached" in sentence for sentence in found.values())
    opened.close()
