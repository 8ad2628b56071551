"""The ledger of alerts that were noticed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, bindparam, delete, insert, or_, select, update

from ..core.ledger import Entry
from ..core.uuids import uuid7
from .alert_tables import alert
from .types import to_milliseconds


@dataclass(frozen=True)
class AlertRow:
    """An entry of the ledger with what only the store knows of it."""

    entry: Entry
    grinder_no: int
    noticed_at: datetime
    acknowledged_at: datetime | None = None
    acknowledged_by: str | None = None
    held_position: int | None = None


def since(
    connection: Connection, account_no: int, from_ms: Mapping[int, int]
) -> dict[int, list[AlertRow]]:
    """Of each grinder, what was open at or after an instant of its own, and what is held back."""
    found: dict[int, list[AlertRow]] = defaultdict(list)
    if not from_ms:
        return found
    rows = connection.execute(
        _SINCE,
        {
            "account_no": account_no,
            "grinder_nos": sorted(from_ms),
            "from_ms": min(from_ms.values()),
        },
    )
    for row in map(_row, rows):
        closed_ms = row.entry.closed_ms
        is_held = row.held_position is not None
        if is_held or closed_ms is None or closed_ms >= from_ms[row.grinder_no]:
            found[row.grinder_no].append(row)
    return found


def by_id(connection: Connection, account_no: int, alert_id: str) -> AlertRow | None:
    row = connection.execute(
        select(*_COLUMNS).where(alert.c.account_no == account_no, alert.c.alert_id == alert_id)
    ).first()
    return None if row is None else _row(row)


def listed(
    connection: Connection, account_no: int, *, after: str | None, limit: int
) -> list[AlertRow]:
    """Entries in the order of their ids."""
    wanted = [alert.c.account_no == account_no]
    if after is not None:
        wanted.append(alert.c.alert_id > after)
    ordered = select(*_COLUMNS).where(*wanted).order_by(alert.c.alert_id).limit(limit)
    return [_row(row) for row in connection.execute(ordered)]


def add(connection: Connection, account_no: int, rows: Sequence[AlertRow]) -> None:
    if rows:
        connection.execute(insert(alert), [_values(account_no, row) for row in rows])


def change(connection: Connection, account_no: int, rows: Sequence[AlertRow]) -> None:
    """Write what is known of these now, all but who acknowledged them."""
    names = ("severity", "opened_ms", "closed_ms", "reason", "facts", "held_position")
    for row in rows:
        values = _values(account_no, row)
        connection.execute(
            update(alert)
            .where(alert.c.account_no == account_no, alert.c.alert_id == row.entry.alert_id)
            .values({name: values[name] for name in names})
        )


def release(connection: Connection, account_no: int, positions: Collection[int]) -> None:
    """Hold the events at these positions no longer."""
    if positions:
        connection.execute(
            update(alert)
            .where(alert.c.account_no == account_no, alert.c.held_position.in_(sorted(positions)))
            .values(held_position=None)
        )


def forget(connection: Connection, account_no: int, *, before: datetime) -> int:
    """Drop entries that were noticed, and closed, before an instant."""
    before_ms = to_milliseconds(before)
    return connection.execute(
        delete(alert).where(
            alert.c.account_no == account_no,
            alert.c.alert_id < uuid7(before_ms, 0, 0),  # the key, which begins with when
            alert.c.closed_ms < before_ms,
        )
    ).rowcount


def acknowledge(
    connection: Connection, account_no: int, alert_id: str, *, by: str, now: datetime
) -> None:
    """Write who has seen it first; a second time changes nothing."""
    connection.execute(
        update(alert)
        .where(
            alert.c.account_no == account_no,
            alert.c.alert_id == alert_id,
            alert.c.acknowledged_at.is_(None),
        )
        .values(acknowledged_at=now, acknowledged_by=by)
    )


_ENTRY_NAMES = tuple(Entry.__dataclass_fields__)
_OTHER_NAMES = ("grinder_no", "noticed_at", "acknowledged_at", "acknowledged_by", "held_position")
_COLUMNS = tuple(alert.c[name] for name in (*_ENTRY_NAMES, *_OTHER_NAMES))
_SINCE = (
    select(*_COLUMNS)
    .where(
        alert.c.account_no == bindparam("account_no"),
        alert.c.grinder_no.in_(bindparam("grinder_nos", expanding=True)),
        or_(
            alert.c.closed_ms.is_(None),
            alert.c.closed_ms >= bindparam("from_ms"),
            alert.c.held_position.is_not(None),
        ),
    )
    .order_by(alert.c.opened_ms, alert.c.alert_id)
)


def _row(row: Any) -> AlertRow:
    count = len(_ENTRY_NAMES)
    return AlertRow(Entry(*row[:count]), *row[count:])


def _values(account_no: int, row: AlertRow) -> dict[str, Any]:
    return {
        "account_no": account_no,
        **{name: getattr(row.entry, name) for name in _ENTRY_NAMES},
        "facts": dict(row.entry.facts),
        **{name: getattr(row, name) for name in _OTHER_NAMES},
    }
