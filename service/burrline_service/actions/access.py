"""Keys: making, recognising, revoking."""

from __future__ import annotations

import hmac
import re
import secrets
import zlib
from collections.abc import Sequence
from datetime import datetime, timedelta
from hashlib import sha256
from typing import Any

from ..core.errors import (
    Fault,
    Invalid,
    NotFound,
    ScopeMissing,
    Unauthenticated,
)
from ..core.records import (
    SCOPES,
    Caller,
    Key,
    Page,
)
from ..store import keys
from ..store.database import Connection, Database
from . import bounds
from .places import page_of

PREFIX = "burrline_"
_ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
_ID_COUNT, _SECRET_COUNT, _CHECK_COUNT = 8, 33, 6
_FORM = re.compile(rf"{PREFIX}[0-9A-Za-z]{{{_ID_COUNT + _SECRET_COUNT + _CHECK_COUNT}}}")
_NOBODY = bytes(32)
USED_EVERY = timedelta(minutes=1)


def new_secret() -> str:
    """A fresh key: prefix, 8 characters of id, 33 random ones (196 bits), a CRC-32 of all that.

    The checksum lets a scanner or a person see a mistyped key; the secrecy is in the 33.
    """
    body = PREFIX + "".join(secrets.choice(_ALPHABET) for _ in range(_ID_COUNT + _SECRET_COUNT))
    return body + _checksum(body)


def authenticate(database: Database, *, credential: str, now: datetime) -> Caller:
    """Who a credential belongs to; every bad one is refused alike, after the same work."""
    digest = _digest(credential)
    if not _FORM.fullmatch(credential) or credential[-_CHECK_COUNT:] != _checksum(
        credential[:-_CHECK_COUNT]
    ):
        raise Unauthenticated("The key is malformed.", error="invalid_token")
    key_id = key_id_of(credential)
    found = keys.credential(database, key_id)
    account_no, expected, key = found if found is not None else (0, _NOBODY, None)
    is_right = hmac.compare_digest(digest, expected)
    if key is None or not is_right:
        raise Unauthenticated("The key is not known.", error="invalid_token")
    if key.revoked_at is not None:
        raise Unauthenticated("The key has been revoked.", error="invalid_token")
    if key.expires_at is not None and key.expires_at <= now:
        raise Unauthenticated("The key has expired.", error="invalid_token")
    if key.last_used_at is None or now - key.last_used_at >= USED_EVERY:
        database.write(
            account_no,
            lambda connection: keys.mark_used(connection, account_no, key.key_id, now),
        )
    return Caller(
        account_no=account_no,
        scopes=frozenset(key.scopes),
        key_id=key.key_id,
        site_ids=frozenset(key.site_ids),
        grinder_ids=frozenset(key.grinder_ids),
    )


def create_key(
    database: Database,
    caller: Caller,
    *,
    name: str,
    scopes: Sequence[str] | None = None,
    site_ids: Sequence[str] = (),
    grinder_ids: Sequence[str] = (),
    expires_at: datetime | None = None,
    now: datetime,
) -> tuple[Key, str]:
    """Make a key and its secret, told this once; nobody can give more than they hold."""
    wanted = tuple(scope for scope in SCOPES if scopes is None or scope in scopes)
    if scopes is None:
        wanted = tuple(scope for scope in wanted if scope in caller.scopes)
    for scope in wanted:
        if scope not in caller.scopes:
            raise ScopeMissing(scope)
    if expires_at is not None and expires_at <= now:
        raise Invalid(Fault("must lie in the future", pointer="/expires_at"))
    secret = new_secret()
    key = Key(
        key_id=key_id_of(secret),
        name=name,
        scopes=wanted,
        site_ids=tuple(sorted(set(site_ids))),
        grinder_ids=tuple(sorted(set(grinder_ids))),
        last_four=secret[-4:],
        created_at=now,
        expires_at=expires_at,
    )

    def work(connection: Connection) -> None:
        bounds.check(connection, caller, key, "keys", now=now)
        keys.add(connection, caller.account_no, key, _digest(secret))

    database.write(caller.account_no, work)
    return key, secret


def list_keys(
    database: Database,
    caller: Caller,
    *,
    limit: int,
    position: tuple[Any, ...] | None,
    now: datetime,
) -> Page:
    """The keys within the caller's bounds."""

    def work(connection: Connection) -> Page:
        kept: list[Key] = []
        after = position[0] if position else None
        while len(kept) <= limit:
            found = keys.listed(connection, caller.account_no, limit=limit + 1, after=after)
            kept += bounds.within(connection, caller, found, now=now)
            if len(found) <= limit:
                break
            after = found[-1].key_id
        return page_of(kept, limit, lambda key: (key.key_id,))

    return database.read(caller.account_no, work)


def revoke_key(database: Database, caller: Caller, *, key_id: str, now: datetime) -> Key:
    def work(connection: Connection) -> Key:
        found = keys.by_id(connection, caller.account_no, key_id)
        if found is None or not bounds.within(connection, caller, [found], now=now):
            raise NotFound("key", key_id)
        keys.revoke(connection, caller.account_no, key_id, now)
        revoked = keys.by_id(connection, caller.account_no, key_id)
        assert revoked is not None
        return revoked

    return database.write(caller.account_no, work)


def key_id_of(secret: str) -> str:
    return secret[len(PREFIX) : len(PREFIX) + _ID_COUNT]


def _digest(credential: str) -> bytes:
    return sha256(credential.encode("utf-8", "surrogatepass")).digest()


def _checksum(body: str) -> str:
    number = zlib.crc32(body.encode("utf-8", "surrogatepass"))
    digits = ""
    for _ in range(_CHECK_COUNT):
        number, digit = divmod(number, len(_ALPHABET))
        digits = _ALPHABET[digit] + digits
    return digits
