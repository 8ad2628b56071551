"""Noticing: episodes folded anew are held to the ledger, and what differs is told.

One look at some grinders is one short transaction: the ledger, the events, their deliveries and
the mark up to where was looked. Killed before its end it has done nothing, and the next look finds
the same. The fold itself reads one snapshot and holds nobody up.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from functools import partial

from ..core.alert_records import ALERT_OPENED
from ..core.uuids import uuid7
from ..store import accounts, alerts, events, flows, grinders, looks, outbox
from ..store.database import Connection, Database
from ..store.looks import Look
from ..store.tables import DAY_MS
from ..store.types import to_milliseconds
from .alert_rules import rules_of
from .all_episodes import held_of
from .telling import FORECAST_BACK_MS, SETTLING_MS, WAITS, Found, compare

BATCH_COUNT = 50
LOOK_BACK_MS = 92 * DAY_MS
"""Facts told later than this change no ledger; lists, folded anew, show them all the same."""
SETTINGS_BACK_MS = 7 * DAY_MS
"""How far a changed plate or site is followed back."""
RECENT_MS = 3_600_000
"""So long before its last look a grinder is folded again at the least."""
NEAR_MS = 2 * RECENT_MS

_SALT = secrets.randbelow(65_520) + 1


def watch(
    database: Database,
    *,
    now: datetime,
    is_stopping: Callable[[], bool] = lambda: False,
    draw: Callable[[datetime], str] | None = None,
) -> int:
    """Look at every grinder that is due; returns how many events there were to tell."""
    count = 0
    for account in database.read(None, accounts.all_of_them):
        while not is_stopping():
            looked, told = look_once(database, account.account_no, now=now, draw=draw)
            count += told
            if looked < BATCH_COUNT:
                break
    return count


def look_once(
    database: Database,
    account_no: int,
    *,
    now: datetime,
    limit: int = BATCH_COUNT,
    draw: Callable[[datetime], str] | None = None,
) -> tuple[int, int]:
    """Look at some grinders of an account; how many were due, and how many events that made."""
    find = partial(_find, account_no=account_no, now=now, limit=limit, draw=draw or _draw)
    found = database.read(account_no, find)
    if not found:
        return 0, 0
    told = database.write(account_no, partial(_write, account_no=account_no, found=found, now=now))
    return len(found), told


def _draw(at: datetime) -> str:
    return uuid7(to_milliseconds(at), secrets.randbits(12), secrets.randbits(62))


def _find(
    connection: Connection,
    account_no: int,
    now: datetime,
    limit: int,
    draw: Callable[[datetime], str],
) -> list[Found]:
    now_ms = to_milliseconds(now)
    due = looks.due(connection, account_no, now_ms=now_ms, limit=limit, salt=_SALT)
    if not due:
        return []
    rows = grinders.by_nos(connection, account_no, [look.grinder_no for look in due], as_of=now)
    settings_revision = events.settings_revision(connection, account_no)
    rules = rules_of(rows.values())
    since = _since(connection, account_no, due, now_ms)
    # those that are folded from about now on share their statements; one with a past has its own
    near = [look for look in due if since[look.grinder_no] >= now_ms - NEAR_MS]
    since |= dict.fromkeys(
        (look.grinder_no for look in near),
        min((since[look.grinder_no] for look in near), default=now_ms),
    )
    told = alerts.since(connection, account_no, since)
    ahead = flows.next_facts(connection, account_no, dict.fromkeys(rows, now_ms))
    groups = [near] if near else []
    groups += [[look] for look in due if look not in near]
    found: list[Found] = []
    for group in groups:
        held = held_of(
            connection,
            account_no,
            [rows[look.grinder_no] for look in group],
            rules,
            from_ms=since[group[0].grinder_no],
            until_ms=now_ms,
            is_now=True,
            heating_from_ms=now_ms - FORECAST_BACK_MS,
        )
        for look in group:
            row = rows[look.grinder_no]
            one = Found(
                look,
                row,
                {
                    "the_grinder_no": look.grinder_no,
                    "state_revision": look.new_state_revision,
                    "grinder_revision": row.grinder.revision,
                    "site_no": row.site_no,
                    "site_revision": row.site.revision,
                    "settings_revision": settings_revision,
                    "looked_ms": now_ms,
                },
            )
            next_ms = compare(
                connection,
                account_no,
                one,
                held[look.grinder_no],
                told.get(look.grinder_no, []),
                rules,
                from_ms=since[look.grinder_no],
                now=now,
                draw=draw,
            )
            if look.grinder_no in ahead:
                next_ms = min(next_ms, ahead[look.grinder_no] + SETTLING_MS)
            one.watermarks["next_look_ms"] = next_ms
            found.append(one)
    return found


def _since(
    connection: Connection, account_no: int, due: Sequence[Look], now_ms: int
) -> dict[int, int]:
    """From when on each grinder is folded: what changed, and a little before the last look."""
    since = {}
    low_ms = max(0, now_ms - LOOK_BACK_MS)
    early = []
    for look in due:
        if look.look_count == 0:
            since[look.grinder_no] = low_ms
            continue
        since[look.grinder_no] = min(look.looked_ms, now_ms) - RECENT_MS
        if look.new_state_revision != look.state_revision:
            if look.new_early_revision > look.state_revision:
                early.append(look)
        elif look.is_changed:
            since[look.grinder_no] = min(since[look.grinder_no], now_ms - SETTINGS_BACK_MS)
    for number, at_ms in looks.touched_ms(connection, account_no, early, low_ms=low_ms).items():
        since[number] = max(low_ms, min(since[number], at_ms))
    first = {number: low_ms for number, at_ms in since.items() if at_ms == low_ms}
    if first:  # nothing to fold before the first run
        for number, at_ms in flows.first_starts(connection, account_no, first).items():
            since[number] = max(low_ms, min(at_ms, now_ms - RECENT_MS))
    return since


def _write(connection: Connection, account_no: int, found: Sequence[Found], now: datetime) -> int:
    """Write what was found, but of grinders that somebody else looked at meanwhile."""
    held = looks.hold(connection, account_no, [one.look for one in found])
    kept = [one for one in found if one.look.grinder_no in held]
    added = [row for one in kept for row in one.added]
    positions = [position for one in kept for position in one.released]
    alerts.add(connection, account_no, added)
    alerts.change(connection, account_no, [row for one in kept for row in one.changed])
    alerts.release(connection, account_no, positions)
    looks.write(connection, account_no, [one.watermarks for one in kept])
    released = events.release(connection, account_no, positions)
    told = events.add(connection, account_no, [e for one in kept for e in one.told], now=now)
    placed = {e.alert_id: e.position for e in told if e.type == ALERT_OPENED and e.is_held}
    waiting = [
        replace(row, held_position=placed[row.entry.alert_id])
        for row in added
        if row.held_position == WAITS
    ]
    alerts.change(connection, account_no, waiting)
    outbox.fan_out(connection, account_no, [*released, *told], now=now)
    return len(told)
