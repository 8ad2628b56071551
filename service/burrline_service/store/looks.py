"""Which grinders are to be looked at, and how each stood when it was looked at last."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from sqlalchemy import Connection, bindparam, select, text
from sqlalchemy.dialects.postgresql import insert as insert_postgresql
from sqlalchemy.dialects.sqlite import insert as insert_sqlite

from .alert_tables import grinder_look
from .fact_tables import entry, reading
from .many import Many
from .tables import HOUR_MS, grinder_hour

SLACK_MS = 600_000
"""What was received so long before the last look may have become visible after it."""


class Look(NamedTuple):
    """A grinder's last look, and what differs now; ``look_count`` 0 = it never was looked at.

    ``is_set_anew``: its plate, its site or the settings of alerts differ.
    """

    grinder_no: int
    look_count: int
    looked_ms: int
    state_revision: int
    told: dict[str, Any]
    new_state_revision: int
    new_early_revision: int
    is_changed: bool
    is_set_anew: bool


def due(
    connection: Connection, account_no: int, *, now_ms: int, limit: int, salt: int
) -> list[Look]:
    """Grinders that changed since they were looked at, or whose time has come.

    ``salt`` gives several lookers different ones to begin with.
    """
    rows = connection.execute(
        _DUE, {"account_no": account_no, "now_ms": now_ms, "limit": limit, "salt": salt}
    )
    return [
        Look(
            row.grinder_no,
            row.look_count or 0,
            row.looked_ms or 0,
            row.looked_revision or 0,
            _json(row.told),
            row.revision,
            row.early_revision,
            bool(row.is_changed),
            bool(row.is_set_anew),
        )
        for row in rows
    ]


def touched_ms(
    connection: Connection, account_no: int, looks: Sequence[Look], *, low_ms: int
) -> dict[int, int]:
    """The earliest instant that changed since the last look, of grinders where any did.

    Runs are told by the hours they touched, all else by when it was received or voided; nothing
    before ``low_ms`` is looked for.
    """
    asked = [
        (look.grinder_no, look.state_revision, look.looked_ms - SLACK_MS, low_ms) for look in looks
    ]
    rows = _TOUCHED.rows(connection, asked, account_no=account_no)
    return {number: at_ms for number, at_ms in rows if at_ms is not None}


def hold(connection: Connection, account_no: int, looks: Sequence[Look]) -> set[int]:
    """Of these grinders the ones nobody else looked at meanwhile: theirs are held from here on.

    A grinder that another looker is writing about is left out.
    """
    known = {look.grinder_no: look.look_count for look in looks if look.look_count}
    statement = (
        select(grinder_look.c.grinder_no, grinder_look.c.look_count)
        .where(
            grinder_look.c.account_no == account_no, grinder_look.c.grinder_no.in_(sorted(known))
        )
        .order_by(grinder_look.c.grinder_no)
        .with_for_update(skip_locked=True)
    )
    held = {no for no, count in connection.execute(statement) if known[no] == count}
    kind: Any = insert_postgresql if connection.dialect.name == "postgresql" else insert_sqlite
    for look in sorted(looks):
        if look.look_count == 0:
            is_first = connection.execute(
                kind(grinder_look)
                .values(
                    account_no=account_no,
                    grinder_no=look.grinder_no,
                    **dict.fromkeys(_WATERMARKS, 0),
                    look_count=0,
                    looked_ms=0,
                    told={},
                )
                .on_conflict_do_nothing()
                .returning(grinder_look.c.grinder_no)
            ).first()
            if is_first is not None:
                held.add(look.grinder_no)
    return held


def write(connection: Connection, account_no: int, rows: Sequence[Mapping[str, Any]]) -> None:
    """Write how grinders that are held stood at this look."""
    if rows:
        connection.execute(_WRITE, [{"the_account_no": account_no, **row} for row in rows])


_WATERMARKS = (
    "state_revision",
    "grinder_revision",
    "site_no",
    "site_revision",
    "settings_revision",
)
_WRITE = (
    grinder_look.update()
    .where(
        grinder_look.c.account_no == bindparam("the_account_no"),
        grinder_look.c.grinder_no == bindparam("the_grinder_no"),
    )
    .values(
        {
            "look_count": grinder_look.c.look_count + 1,
            **{
                name: bindparam(name)
                for name in (*_WATERMARKS, "looked_ms", "next_look_ms", "told")
            },
        }
    )
)
_SET_ANEW = (
    "l.grinder_revision <> g.revision OR l.site_revision <> st.revision"
    " OR l.settings_revision <> coalesce(c.settings_revision, 0)"
)
_CHANGED = f"l.grinder_no IS NULL OR l.state_revision <> coalesce(s.revision, 0) OR {_SET_ANEW}"
_DUE = text(
    "SELECT g.grinder_no, l.look_count, l.looked_ms, l.state_revision AS looked_revision, l.told,"
    " coalesce(s.revision, 0) AS revision, coalesce(s.early_revision, 0) AS early_revision,"
    f" ({_CHANGED}) AS is_changed, ({_SET_ANEW}) AS is_set_anew"
    " FROM grinder AS g"
    " LEFT JOIN grinder_state AS s ON s.account_no = g.account_no AND s.grinder_no = g.grinder_no"
    " LEFT JOIN grinder_look AS l ON l.account_no = g.account_no AND l.grinder_no = g.grinder_no"
    " LEFT JOIN site AS st ON st.account_no = g.account_no AND st.site_no = l.site_no"
    " LEFT JOIN event_counter AS c ON c.account_no = g.account_no"
    f" WHERE g.account_no = :account_no AND ({_CHANGED} OR l.next_look_ms <= :now_ms)"
    " ORDER BY (g.grinder_no * CAST(:salt AS bigint)) % 65521 LIMIT :limit"
)
_OF_EACH = "account_no = :account_no AND {0}.grinder_no = asked.grinder_no"
_TOUCHED = Many(
    "SELECT asked.grinder_no, (SELECT min(at_ms) FROM ("
    f"SELECT CAST(min(hour) AS bigint) * {HOUR_MS} AS at_ms FROM {grinder_hour.name} AS h"
    " WHERE h.account_no = :account_no AND h.grinder_no = asked.grinder_no"
    f" AND h.hour >= asked.low_ms / {HOUR_MS} AND h.touched_revision > asked.revision"
    f" UNION ALL SELECT min(r.at_ms) FROM {reading.name} AS r"
    " WHERE r.account_no = :account_no AND r.grinder_no = asked.grinder_no"
    " AND r.at_ms >= asked.low_ms"
    " AND (r.received_ms >= asked.since_ms OR r.voided_ms >= asked.since_ms)"
    f" UNION ALL SELECT min(e.from_ms) FROM {entry.name} AS e"
    " WHERE e.account_no = :account_no AND e.grinder_no = asked.grinder_no"
    " AND (e.created_at >= asked.since_ms OR e.voided_at >= asked.since_ms)"
    ") AS touched WHERE at_ms IS NOT NULL) AS at_ms FROM {asked}",
    asked=("grinder_no", "revision", "since_ms", "low_ms"),
)


def _json(told: Any) -> dict[str, Any]:
    if told is None:
        return {}
    found: dict[str, Any] = json.loads(told) if isinstance(told, str) else told
    return found
