"""Keys: made once, recognised, bounded, revoked."""

from __future__ import annotations

import re
import zlib
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline_service.actions import access
from burrline_service.core.errors import (
    Invalid,
    NotFound,
    OutOfReach,
    ScopeMissing,
    Unauthenticated,
)
from burrline_service.core.records import SCOPES, Caller, Key
from burrline_service.store import keys
from burrline_service.store.database import Database
from small_chain import DAY, MINUTE, NOW, SECOND, make_grinder, make_site, new_account, new_chain


def make(database: Database, caller: Caller, **fields: Any) -> tuple[Key, str]:
    return access.create_key(database, caller, **{"name": "bar", **fields}, now=NOW)


def listed(database: Database, caller: Caller, limit: int = 50) -> list[str]:
    found: list[str] = []
    position: tuple[Any, ...] | None = None
    while True:
        page = access.list_keys(database, caller, limit=limit, position=position, now=NOW)
        assert len(page.items) <= limit
        found += [key.key_id for key in page.items]
        position = page.next_position
        if position is None:
            return found


def with_checksum(body: str) -> str:
    """Written anew from the format: six base-62 digits (0-9, A-Z, a-z) of the CRC-32."""
    digits = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
    number = zlib.crc32(body.encode())
    return body + "".join(digits[number // 62**place % 62] for place in range(5, -1, -1))


def test_a_secret_has_the_published_form_and_says_its_id() -> None:
    seen = {access.new_secret() for _ in range(200)}
    assert len(seen) == 200
    for secret in seen:
        assert re.fullmatch("burrline_[0-9A-Za-z]{47}", secret)
        assert with_checksum(secret[:-6]) == secret
        assert secret[9:17] == access.key_id_of(secret)


def test_a_key_is_recognised_and_its_secret_is_nowhere_in_the_store(database: Database) -> None:
    caller = new_chain(database)
    key, secret = make(database, caller, scopes=["read", "runs:write"], grinder_ids=["bar-1"])
    found = access.authenticate(database, credential=secret, now=NOW)
    assert found.account_no == caller.account_no
    assert (found.key_id, found.scopes) == (key.key_id, {"read", "runs:write"})
    assert (found.site_ids, found.grinder_ids) == (frozenset(), {"bar-1"})
    kept = keys.credential(database, key.key_id)
    assert kept is not None
    assert secret not in repr(kept)
    assert secret[17:-6] not in repr(kept)
    assert key.last_four == secret[-4:]


def test_bad_credentials_are_refused(database: Database) -> None:
    caller = new_account(database)
    key, secret = make(database, caller)
    other = access.new_secret()
    bad = [
        "",
        " " + secret,
        secret + "\n",
        secret[:-1],
        secret.upper(),
        secret.removeprefix("burrline_"),
        secret[:-6] + other[-6:],
        with_checksum(secret[:17] + other[17:-6]),
        with_checksum(other[:17] + secret[17:-6]),
        other,
        "burrline_" + "é" * 47,
        "\ud800" * 56,
        "burrline_" + "0" * 100_000,
    ]
    for credential in bad:
        with pytest.raises(Unauthenticated):
            access.authenticate(database, credential=credential, now=NOW)
    assert access.authenticate(database, credential=secret, now=NOW).key_id == key.key_id


@given(st.text(max_size=80))
def test_any_text_is_refused_and_nothing_else_happens(text: str) -> None:
    with pytest.raises(Unauthenticated):
        access.authenticate(None, credential=text, now=NOW)  # type: ignore[arg-type]


def test_expired_and_revoked_keys_are_refused(database: Database) -> None:
    caller = new_account(database)
    _, ends = make(database, caller, expires_at=NOW + DAY)
    key, gone = make(database, caller)
    access.authenticate(database, credential=ends, now=NOW + DAY - SECOND)
    with pytest.raises(Unauthenticated):
        access.authenticate(database, credential=ends, now=NOW + DAY)
    first = access.revoke_key(database, caller, key_id=key.key_id, now=NOW)
    again = access.revoke_key(database, caller, key_id=key.key_id, now=NOW + DAY)
    assert first.revoked_at == again.revoked_at == NOW
    with pytest.raises(Unauthenticated):
        access.authenticate(database, credential=gone, now=NOW)
    with pytest.raises(Invalid):
        make(database, caller, expires_at=NOW)


def test_the_last_use_is_noted_about_once_a_minute(database: Database) -> None:
    caller = new_account(database)
    key, secret = make(database, caller)

    def last_used_at(at: Any) -> Any:
        access.authenticate(database, credential=secret, now=at)
        page = access.list_keys(database, caller, limit=5, position=None, now=at)
        (found,) = page.items
        assert found.key_id == key.key_id
        return found.last_used_at

    assert last_used_at(NOW) == NOW
    assert last_used_at(NOW + 59 * SECOND) == NOW
    assert last_used_at(NOW + MINUTE) == NOW + MINUTE


def test_nobody_gives_more_than_they_hold(database: Database) -> None:
    caller = new_account(database)
    assert make(database, caller)[0].scopes == SCOPES
    weak = replace(caller, scopes=frozenset({"keys", "read"}))
    assert set(make(database, weak)[0].scopes) == {"keys", "read"}
    for scope in set(SCOPES) - weak.scopes:
        with pytest.raises(ScopeMissing):
            make(database, weak, scopes=[scope])


def test_bounds_name_what_is_there(database: Database) -> None:
    caller, stranger = new_chain(database), new_chain(database)
    make_site(database, stranger, "theirs")
    with pytest.raises(Invalid) as refusal:
        make(database, caller, site_ids=["mill-lane", "theirs"], grinder_ids=["bar-7"])
    assert [fault.pointer for fault in refusal.value.faults] == ["/site_ids/1", "/grinder_ids/0"]


@pytest.fixture
def of_harbour(database: Database) -> tuple[Caller, Caller, Caller]:
    """The owner, and two callers bound to a site and to a grinder there."""
    caller = new_chain(database, "bar-1")
    make_site(database, caller, "harbour")
    make_grinder(database, caller, "bar-8", site_id="harbour")
    make_grinder(database, caller, "bar-9", site_id="harbour")
    return (
        caller,
        replace(caller, site_ids=frozenset({"harbour"})),
        replace(caller, grinder_ids=frozenset({"bar-9"})),
    )


def test_a_bound_key_makes_sees_and_revokes_keys_within_its_own_bounds_alone(
    database: Database, of_harbour: tuple[Caller, Caller, Caller]
) -> None:
    caller, of_site, of_grinder = of_harbour
    made = {
        name: make(database, caller, **bounds)[0].key_id
        for name, bounds in {
            "all": {},
            "mill": {"site_ids": ["mill-lane"]},
            "harbour": {"site_ids": ["harbour"]},
            "both": {"site_ids": ["harbour", "mill-lane"]},
            "bar-8": {"grinder_ids": ["bar-8"]},
            "bar-9": {"grinder_ids": ["bar-9"]},
            "mixed": {"grinder_ids": ["bar-9", "bar-1"]},
        }.items()
    }
    assert listed(database, caller) == sorted(made.values())
    for bound, names in ((of_site, {"harbour", "bar-8", "bar-9"}), (of_grinder, {"bar-9"})):
        own = sorted(made[name] for name in names)
        for limit in (1, 2, 50):
            assert listed(database, bound, limit) == own
        for name in set(made) - names:
            with pytest.raises(NotFound):
                access.revoke_key(database, bound, key_id=made[name], now=NOW)
        for bounds in ({}, {"site_ids": ["mill-lane"]}, {"grinder_ids": ["bar-1"]}):
            with pytest.raises(OutOfReach):
                make(database, bound, **bounds)
    made_here = make(database, of_site, grinder_ids=["bar-8"])[0].key_id
    assert made_here in listed(database, of_site)
    assert access.revoke_key(database, of_site, key_id=made_here, now=NOW).revoked_at == NOW


def test_a_stranger_sees_and_revokes_no_key(database: Database) -> None:
    caller, stranger = new_account(database), new_account(database)
    key, secret = make(database, caller)
    assert listed(database, stranger) == []
    with pytest.raises(NotFound):
        access.revoke_key(database, stranger, key_id=key.key_id, now=NOW)
    access.authenticate(database, credential=secret, now=NOW)
