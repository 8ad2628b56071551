"""What is kept once per grinder, and answers kept for repeated requests."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, bindparam, delete, select, update
from sqlalchemy.dialects.postgresql import insert as insert_postgresql
from sqlalchemy.dialects.sqlite import insert as insert_sqlite

from . import arrays
from .tables import grinder_state, reply, source


@dataclass(frozen=True)
class State:
    revision: int = 0
    archived_before: datetime | None = None
    is_shared: bool = False
    early_revision: int = 0


_OF_GRINDER = select(
    grinder_state.c.revision,
    grinder_state.c.archived_before,
    grinder_state.c.is_shared,
    grinder_state.c.early_revision,
).where(
    grinder_state.c.account_no == bindparam("account_no"),
    grinder_state.c.grinder_no == bindparam("grinder_no"),
)
_OF_GRINDERS = select(*_OF_GRINDER.selected_columns, grinder_state.c.grinder_no).where(
    grinder_state.c.account_no == bindparam("account_no"),
    grinder_state.c.grinder_no.in_(bindparam("grinder_nos", expanding=True)),
)


def of_grinder(connection: Connection, account_no: int, grinder_no: int) -> State:
    row = connection.execute(
        _OF_GRINDER, {"account_no": account_no, "grinder_no": grinder_no}
    ).first()
    return State() if row is None else State(*row)


def of_grinders(
    connection: Connection, account_no: int, grinder_nos: Iterable[int]
) -> dict[int, State]:
    numbers = sorted(set(grinder_nos))
    rows = connection.execute(_OF_GRINDERS, {"account_no": account_no, "grinder_nos": numbers})
    found = {row.grinder_no: State(*row[:-1]) for row in rows}
    return {number: found.get(number, State()) for number in numbers}


def set_archived_before(
    connection: Connection, account_no: int, grinder_no: int, at: datetime
) -> None:
    connection.execute(
        update(grinder_state)
        .where(grinder_state.c.account_no == account_no, grinder_state.c.grinder_no == grinder_no)
        .values(archived_before=at)
    )


def mark_first_source(
    connection: Connection, account_no: int, first_source_nos: Mapping[int, int]
) -> None:
    """Write the first source of grinders (by number) that had none, their rows locked."""
    if not first_source_nos:
        return
    if connection.dialect.name == "postgresql":
        columns = map(arrays.integers, zip(*sorted(first_source_nos.items()), strict=True))
        connection.exec_driver_sql(_MARK_FIRST, (*columns, account_no))
    else:
        rows = [(first, account_no, number) for number, first in first_source_nos.items()]
        connection.exec_driver_sql(_MARK_FIRST_SQLITE, rows)


_MARK_FIRST = (
    "UPDATE grinder_state AS s SET first_source_no = u.first_source_no"
    " FROM unnest(%s::int4[], %s::int4[]) AS u (grinder_no, first_source_no)"
    " WHERE s.account_no = %s AND s.grinder_no = u.grinder_no"
)
_MARK_FIRST_SQLITE = (
    "UPDATE grinder_state SET first_source_no = ? WHERE account_no = ? AND grinder_no = ?"
)


def source_names(
    connection: Connection, account_no: int, source_nos: Iterable[int]
) -> dict[int, str]:
    rows = connection.execute(
        select(source.c.source_no, source.c.name).where(
            source.c.account_no == account_no, source.c.source_no.in_(sorted(set(source_nos)))
        )
    )
    return {row.source_no: row.name for row in rows}


def source_nos(connection: Connection, account_no: int, names: Iterable[str]) -> dict[str, int]:
    """The numbers of the named sources that are known."""
    rows = connection.execute(
        select(source.c.name, source.c.source_no).where(
            source.c.account_no == account_no, source.c.name.in_(sorted(set(names)))
        )
    )
    return {row.name: row.source_no for row in rows}


def add_source(connection: Connection, account_no: int, name: str, source_no: int) -> None:
    insert = insert_postgresql if connection.dialect.name == "postgresql" else insert_sqlite
    connection.execute(
        insert(source)
        .values(account_no=account_no, source_no=source_no, name=name)
        .on_conflict_do_nothing()
    )


@dataclass(frozen=True)
class KeptReply:
    fingerprint: bytes
    status: int
    headers: dict[str, str]
    body: bytes


def claim_reply(
    connection: Connection, account_no: int, reply_key: str, fingerprint: bytes, now: datetime
) -> KeptReply | None:
    """Claim the key for this request (None), or the reply somebody already got for it.

    A concurrent claim of the same key waits here until the first one commits or gives up.
    """
    insert = insert_postgresql if connection.dialect.name == "postgresql" else insert_sqlite
    claimed = connection.execute(
        insert(reply)
        .values(
            account_no=account_no,
            reply_key=reply_key,
            fingerprint=fingerprint,
            status=0,
            headers={},
            body=b"",
            created_at=now,
        )
        .on_conflict_do_nothing()
        .returning(reply.c.reply_key)  # an insert's row count is not to be relied on
    ).first()
    if claimed is not None:
        return None
    row = connection.execute(
        select(reply.c.fingerprint, reply.c.status, reply.c.headers, reply.c.body).where(
            reply.c.account_no == account_no, reply.c.reply_key == reply_key
        )
    ).one()
    return KeptReply(bytes(row[0]), row[1], dict(row[2]), bytes(row[3]))


def keep_reply(
    connection: Connection,
    account_no: int,
    reply_key: str,
    *,
    status: int,
    headers: dict[str, str],
    body: bytes,
) -> None:
    connection.execute(
        update(reply)
        .where(reply.c.account_no == account_no, reply.c.reply_key == reply_key)
        .values(status=status, headers=headers, body=body)
    )


def forget_replies(connection: Connection, account_no: int, *, before: datetime) -> int:
    return connection.execute(
        delete(reply).where(reply.c.account_no == account_no, reply.c.created_at < before)
    ).rowcount
