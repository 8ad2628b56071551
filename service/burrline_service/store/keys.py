"""Access keys: digests only, never secrets."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, insert, select, update

from ..core.records import Key
from .database import Database
from .tables import access_key
from .types import to_instant

_PUBLIC = (
    access_key.c.key_id,
    access_key.c.name,
    access_key.c.scopes,
    access_key.c.site_ids,
    access_key.c.grinder_ids,
    access_key.c.last_four,
    access_key.c.created_at,
    access_key.c.expires_at,
    access_key.c.revoked_at,
    access_key.c.last_used_at,
)


def add(connection: Connection, account_no: int, key: Key, digest: bytes) -> None:
    connection.execute(
        insert(access_key).values(
            account_no=account_no,
            key_id=key.key_id,
            digest=digest,
            last_four=key.last_four,
            name=key.name,
            scopes=list(key.scopes),
            site_ids=list(key.site_ids),
            grinder_ids=list(key.grinder_ids),
            created_at=key.created_at,
            expires_at=key.expires_at,
        )
    )


def credential(database: Database, key_id: str) -> tuple[int, bytes, Key] | None:
    """Account, digest and key by the key's id, before any account is known."""
    if not (key_id.isascii() and key_id.isalnum()):  # it goes into the text of a statement
        return None
    name_key = "" if database.is_sqlite else _NAME_KEY.format(key_id)
    rows = database.look_up(name_key + _CREDENTIAL.format(key_id))
    if not rows:
        return None
    account_no, digest, *values = rows[0]
    told: dict[str, Any] = dict(zip(_NAMES, values, strict=True))
    for name in _LISTS:
        if isinstance(told[name], str):
            told[name] = json.loads(told[name])
    for name in _INSTANTS:
        told[name] = None if told[name] is None else to_instant(told[name])
    return account_no, bytes(digest), _key(told)


_NAMES = tuple(column.name for column in _PUBLIC)
_LISTS = ("scopes", "site_ids", "grinder_ids")
_INSTANTS = ("created_at", "expires_at", "revoked_at", "last_used_at")
_NAME_KEY = "SELECT set_config('burrline.key_id', '{0}', true); "
_CREDENTIAL = (
    f"SELECT account_no, digest, {', '.join(_NAMES)} FROM access_key WHERE key_id = '{{0}}'"
)


def listed(connection: Connection, account_no: int, *, limit: int, after: str | None) -> list[Key]:
    statement = (
        select(*_PUBLIC)
        .where(access_key.c.account_no == account_no)
        .order_by(access_key.c.key_id)
        .limit(limit)
    )
    if after is not None:
        statement = statement.where(access_key.c.key_id > after)
    return [_key(dict(row._mapping)) for row in connection.execute(statement)]


def by_id(connection: Connection, account_no: int, key_id: str) -> Key | None:
    row = connection.execute(
        select(*_PUBLIC).where(access_key.c.account_no == account_no, access_key.c.key_id == key_id)
    ).first()
    return None if row is None else _key(dict(row._mapping))


def revoke(connection: Connection, account_no: int, key_id: str, now: datetime) -> None:
    """Mark the key revoked; the first revocation's instant stays."""
    connection.execute(
        update(access_key)
        .where(
            access_key.c.account_no == account_no,
            access_key.c.key_id == key_id,
            access_key.c.revoked_at.is_(None),
        )
        .values(revoked_at=now)
    )


def mark_used(connection: Connection, account_no: int, key_id: str, now: datetime) -> None:
    connection.execute(
        update(access_key)
        .where(access_key.c.account_no == account_no, access_key.c.key_id == key_id)
        .values(last_used_at=now)
    )


def _key(told: Mapping[str, Any]) -> Key:
    return Key(**{**told, **{name: tuple(told[name]) for name in _LISTS}})
