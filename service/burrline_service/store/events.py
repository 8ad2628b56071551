"""Events in the order of an account's positions: given out last, so that no reader passes one.

The counter's row stays locked from ``add`` to the end of the transaction: whoever comes second
waits, and gets the higher position. So positions become visible in their own order, and a reader
who has seen one will never find a lower one that is new.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import datetime
from itertools import takewhile
from typing import Any

from sqlalchemy import Connection, bindparam, delete, func, insert, select, update
from sqlalchemy.dialects.postgresql import insert as insert_postgresql
from sqlalchemy.dialects.sqlite import insert as insert_sqlite

from ..core.alert_records import EventRow
from .alert_tables import event, event_counter


def add(
    connection: Connection, account_no: int, events: Sequence[EventRow], *, now: datetime
) -> list[EventRow]:
    """Append events (their ``position`` is drawn here); the last thing but their deliveries."""
    if not events:
        return []
    last = _bump(connection, account_no, len(events))
    placed = [
        replace(one, position=last - len(events) + number) for number, one in enumerate(events, 1)
    ]
    connection.execute(
        insert(event),
        [
            {
                "account_no": account_no,
                "made_at": now,
                **{name: getattr(one, name) for name in _NAMES},
            }
            for one in placed
        ],
    )
    return placed


def after(
    connection: Connection,
    account_no: int,
    position: int,
    *,
    limit: int,
    grinder_nos: Collection[int] | None = None,
) -> list[EventRow]:
    """The events after a position, up to ``limit``; only those of some grinders where given."""
    statement = _AFTER
    if grinder_nos is not None:
        statement = statement.where(event.c.grinder_no.in_(sorted(grinder_nos)))
    rows = connection.execute(statement.limit(limit), {"account_no": account_no, "after": position})
    return [EventRow(*row) for row in rows]


def at_positions(
    connection: Connection, account_no: int, positions: Collection[int]
) -> list[EventRow]:
    rows = connection.execute(
        select(*_COLUMNS)
        .where(event.c.account_no == account_no, event.c.position.in_(sorted(positions)))
        .order_by(event.c.position)
    )
    return [EventRow(*row) for row in rows]


def release(connection: Connection, account_no: int, positions: Collection[int]) -> list[EventRow]:
    """Hold these events no longer; gives them as they are to be sent."""
    if not positions:
        return []
    connection.execute(
        update(event)
        .where(event.c.account_no == account_no, event.c.position.in_(sorted(positions)))
        .values(is_held=False)
    )
    return at_positions(connection, account_no, positions)


def first_position(connection: Connection, account_no: int, *, default: int) -> int:
    """The position of the earliest event that is kept."""
    found: int | None = connection.execute(_FIRST, {"account_no": account_no}).scalar_one()
    return default if found is None else found


def forget(connection: Connection, account_no: int, *, before: datetime, limit: int) -> int:
    """Drop the earliest events, up to ``limit``, as far as they were made before an instant."""
    first = connection.execute(
        select(event.c.position, event.c.made_at)
        .where(event.c.account_no == account_no)
        .order_by(event.c.position)
        .limit(limit)
    ).all()
    old = [row.position for row in takewhile(lambda row: row.made_at < before, first)]
    if old:
        connection.execute(
            delete(event).where(event.c.account_no == account_no, event.c.position <= old[-1])
        )
    return len(old)


def last_position(connection: Connection, account_no: int) -> int:
    """The position of the latest event, 0 when there is none."""
    found: int | None = connection.execute(_LAST, {"account_no": account_no}).scalar_one_or_none()
    return found or 0


def settings_revision(connection: Connection, account_no: int) -> int:
    """How often settings of alerts were changed in the account."""
    found: int | None = connection.execute(
        select(event_counter.c.settings_revision).where(event_counter.c.account_no == account_no)
    ).scalar_one_or_none()
    return found or 0


def count_settings_change(connection: Connection, account_no: int) -> None:
    _bump(connection, account_no, 0, change_count=1)


def _bump(connection: Connection, account_no: int, count: int, *, change_count: int = 0) -> int:
    kind: Any = insert_postgresql if connection.dialect.name == "postgresql" else insert_sqlite
    table = event_counter.c
    last: int = connection.execute(
        kind(event_counter)
        .values(account_no=account_no, last_position=count, settings_revision=change_count)
        .on_conflict_do_update(
            index_elements=["account_no"],
            set_={
                "last_position": table.last_position + count,
                "settings_revision": table.settings_revision + change_count,
            },
        )
        .returning(table.last_position)
    ).scalar_one()
    return last


_NAMES = tuple(EventRow.__dataclass_fields__)
_COLUMNS = tuple(event.c[name] for name in _NAMES)
_AFTER = (
    select(*_COLUMNS)
    .where(event.c.account_no == bindparam("account_no"), event.c.position > bindparam("after"))
    .order_by(event.c.position)
)
_FIRST = select(func.min(event.c.position)).where(event.c.account_no == bindparam("account_no"))
_LAST = select(event_counter.c.last_position).where(
    event_counter.c.account_no == bindparam("account_no")
)
