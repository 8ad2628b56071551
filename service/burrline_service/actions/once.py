"""Doing a request once: its effect and its answer are kept together, in one transaction."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from hashlib import sha256

from ..core.errors import KeyReused
from ..core.records import Caller
from ..store import state
from ..store.database import Connection, Database, DatabaseWithin

KEPT_FOR = timedelta(days=30)


@dataclass(frozen=True)
class Reply:
    status: int
    headers: dict[str, str] = field(default_factory=dict)
    body: bytes = b""


def perform(
    database: Database,
    caller: Caller,
    *,
    key: str,
    fingerprint: bytes,
    now: datetime,
    produce: Callable[[Database], Reply],
) -> tuple[Reply, bool]:
    """Run ``produce`` unless this key was answered before; returns the reply, is it a replay.

    A refusal raised by ``produce`` undoes everything, the claim on the key included, so the same
    request may be sent again once its cause is gone. The caller's bounds belong to the request:
    a kept reply is no way around them.
    """
    fingerprint = _bounded(fingerprint, caller)

    def work(connection: Connection) -> tuple[Reply, bool]:
        kept = state.claim_reply(connection, caller.account_no, key, fingerprint, now)
        if kept is not None:
            if kept.fingerprint != fingerprint:
                raise KeyReused
            return Reply(kept.status, kept.headers, kept.body), True
        reply = produce(DatabaseWithin(connection, is_sqlite=database.is_sqlite))
        state.keep_reply(
            connection,
            caller.account_no,
            key,
            status=reply.status,
            headers=reply.headers,
            body=reply.body,
        )
        return reply, False

    return database.write(caller.account_no, work)


def _bounded(fingerprint: bytes, caller: Caller) -> bytes:
    bounds = json.dumps([sorted(caller.site_ids), sorted(caller.grinder_ids)])
    return sha256(fingerprint + bounds.encode()).digest()
