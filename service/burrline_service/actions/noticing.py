"""Noticing: episodes folded anew are held to the ledger, and what differs is told.

One look at some grinders is one short transaction: the ledger, the events, their deliveries and
the mark up to where was looked. Killed before its end it has done nothing, and the next look finds
the same. The fold itself reads one snapshot and holds nobody up.
"""

from __future__ import annotations

import logging
import secrets
from collections.abc import Callable, Collection, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial

from ..core.errors import Refusal
from ..core.uuids import uuid7
from ..store import accounts, alerts, events, flows, grinders, looks, outbox
from ..store.alerts import AlertRow
from ..store.database import Connection, Database
from ..store.early import fit_border_ms
from ..store.looks import Look
from ..store.tables import DAY_MS
from ..store.types import to_milliseconds
from .alert_rules import rules_of
from .all_episodes import held_of
from .episodes_held import Rules
from .telling import FORECAST_BACK_MS, SETTLING_MS, WAITS, Found, compare

BATCH_COUNT = 50
ROUND_COUNT = 20
"""So many batches of an account a turn has, so that it ends however much is always due."""
PUT_OFF_FOR = timedelta(minutes=1)
PutOff = dict[tuple[int, int], datetime]
"""By account and grinder, until when a look is put off that failed."""
LOOK_BACK_MS = 92 * DAY_MS
"""Facts told later than this change no ledger; lists, folded anew, show them all the same."""
SETTINGS_BACK_MS = 7 * DAY_MS
"""How far a changed plate or site is followed back."""
RECENT_MS = 3_600_000
"""So long before its last look a grinder is folded again at the least."""
NEAR_MS = 3 * RECENT_MS
FAR_BACK = ("flow_low", "clock_suspect")

logger = logging.getLogger("burrline.work")
_SALT = secrets.randbelow(65_520) + 1


def watch(
    database: Database,
    *,
    now: datetime,
    clock: Callable[[], datetime] | None = None,
    is_stopping: Callable[[], bool] = lambda: False,
    put_off: PutOff | None = None,
    draw: Callable[[datetime], str] | None = None,
) -> int:
    """Look at every grinder that is due; returns how many events there were to tell.

    Accounts take turns, some grinders each. A turn ends even where something is always due; with
    a ``clock`` each round looks at its own instant. A grinder that cannot be folded, which is a
    bug, holds up no other: it is ``put_off`` for a while.
    """
    put_off = {} if put_off is None else put_off
    waiting = [account.account_no for account in database.read(None, accounts.all_of_them)]
    count = 0
    for _ in range(ROUND_COUNT):
        still: list[int] = []
        for account_no in waiting:
            if is_stopping():
                return count
            looked, told = _look_safely(database, account_no, put_off, now=now, draw=draw)
            count += told
            if looked >= BATCH_COUNT:
                still.append(account_no)
        waiting = still
        if not waiting:
            break
        now = now if clock is None else clock()
    return count


def _look_safely(
    database: Database,
    account_no: int,
    put_off: PutOff,
    *,
    now: datetime,
    draw: Callable[[datetime], str] | None,
) -> tuple[int, int]:
    """Look at some grinders; where that fails, at each by itself."""
    without = {no for (account, no), until in put_off.items() if account == account_no}
    for number in list(without):
        if put_off[account_no, number] <= now:
            del put_off[account_no, number]
            without.discard(number)
    try:
        return look_once(database, account_no, now=now, without=without, draw=draw)
    except Refusal:
        raise
    except Exception:
        logger.exception("a look at grinders of account %d failed", account_no)
    due = database.read(account_no, partial(_due, account_no=account_no, now=now, without=without))
    told = 0
    for look in due:
        only = {look.grinder_no}
        try:
            told += look_once(database, account_no, now=now, without=without, only=only, draw=draw)[
                1
            ]
        except Refusal:
            raise
        except Exception:
            logger.exception("grinder %d of account %d is put off", look.grinder_no, account_no)
            put_off[account_no, look.grinder_no] = now + PUT_OFF_FOR
    return len(due), told


def look_once(
    database: Database,
    account_no: int,
    *,
    now: datetime,
    limit: int = BATCH_COUNT,
    without: Collection[int] = (),
    only: Collection[int] | None = None,
    draw: Callable[[datetime], str] | None = None,
) -> tuple[int, int]:
    """Look at some grinders of an account; how many were due, and how many events that made."""

    def find(connection: Connection) -> list[Found]:
        due = _due(connection, account_no, now, without, limit=limit)
        due = [look for look in due if only is None or look.grinder_no in only]
        return _find(connection, account_no, due, now, draw or _draw) if due else []

    found = database.read(account_no, find)
    if not found:
        return 0, 0
    told = database.write(account_no, partial(_write, account_no=account_no, found=found, now=now))
    return len(found), told


def _draw(at: datetime) -> str:
    return uuid7(to_milliseconds(at), secrets.randbits(12), secrets.randbits(62))


def _due(
    connection: Connection,
    account_no: int,
    now: datetime,
    without: Collection[int] = (),
    *,
    limit: int = BATCH_COUNT,
) -> list[Look]:
    now_ms = to_milliseconds(now)
    due = looks.due(connection, account_no, now_ms=now_ms, limit=limit + len(without), salt=_SALT)
    return [look for look in due if look.grinder_no not in without][:limit]


def _find(
    connection: Connection,
    account_no: int,
    due: Sequence[Look],
    now: datetime,
    draw: Callable[[datetime], str],
) -> list[Found]:
    now_ms = to_milliseconds(now)
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
            calm_ms={
                look.grinder_no: fit_border_ms(look.looked_ms)
                for look in group
                if look in near and _is_calm(look, told.get(look.grinder_no, ()), rules)
            },
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


def _is_calm(look: Look, told: Sequence[AlertRow], rules: Rules) -> bool:
    """Whether the last look, by the same past and rules, found nothing of what looks far back.

    What must hold for a while before it is told may go on though the ledger knows nothing of it.
    """
    return (
        look.look_count > 0
        and not look.is_set_anew
        and look.new_early_revision <= look.state_revision
        and not any(row.entry.kind in FAR_BACK for row in told)
        and not any(dated.rules["flow_low"]["minimum_seconds"] for dated in rules[look.grinder_no])
    )


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
        if look.new_early_revision > look.state_revision:
            early.append(look)
        if look.is_set_anew:
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
    changed = [row for one in kept for row in one.changed]
    alerts.change(connection, account_no, changed)
    alerts.release(connection, account_no, positions)
    looks.write(connection, account_no, [one.watermarks for one in kept])
    released = events.release(connection, account_no, positions)
    told = events.add(connection, account_no, [e for one in kept for e in one.told], now=now)
    placed = {e.alert_id: e.position for e in told if e.is_held}
    waiting = [
        replace(row, held_position=placed[row.entry.alert_id])
        for row in (*added, *changed)
        if row.held_position == WAITS
    ]
    alerts.change(connection, account_no, waiting)
    outbox.fan_out(connection, account_no, [*released, *told], now=now)
    return len(told)
