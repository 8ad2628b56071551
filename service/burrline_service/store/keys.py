"""Access keys: digests only, never secrets."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import Connection, insert, select, text, update

from ..core.records import Key
from .tables import access_key

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


def credential(connection: Connection, key_id: str) -> tuple[int, bytes, Key] | None:
    """Account, digest and key by the key's id, before any account is known."""
    if connection.dialect.name == "postgresql":
        connection.execute(
            text("SELECT set_config('burrline.key_id', :key_id, true)"), {"key_id": key_id}
        )
    row = connection.execute(
        select(access_key.c.account_no, access_key.c.digest, *_PUBLIC).where(
            access_key.c.key_id == key_id
        )
    ).first()
    return None if row is None else (row.account_no, bytes(row.digest), _key(row))


def listed(connection: Connection, account_no: int, *, limit: int, after: str | None) -> list[Key]:
    statement = (
        select(*_PUBLIC)
        .where(access_key.c.account_no == account_no)
        .order_by(access_key.c.key_id)
        .limit(limit)
    )
    if after is not None:
        statement = statement.where(access_key.c.key_id > after)
    return [_key(row) for row in connection.execute(statement)]


def by_id(connection: Connection, account_no: int, key_id: str) -> Key | None:
    row = connection.execute(
        select(*_PUBLIC).where(access_key.c.account_no == account_no, access_key.c.key_id == key_id)
    ).first()
    return None if row is None else _key(row)


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


def _key(row: Any) -> Key:
    return Key(
        key_id=row.key_id,
        name=row.name,
        scopes=tuple(row.scopes),
        site_ids=tuple(row.site_ids),
        grinder_ids=tuple(row.grinder_ids),
        last_four=row.last_four,
        created_at=row.created_at,
        expires_at=row.expires_at,
        revoked_at=row.revoked_at,
        last_used_at=row.last_used_at,
    )
