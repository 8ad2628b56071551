"""What is let go with time: raw runs beyond the retention, replies kept for repeats,
events and alerts."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import partial

from ..store import accounts, alerts, archive, burr_sets, entries, events, grinders, state, sums
from ..store.database import Connection, Database
from ..store.tables import HOUR_MS
from ..store.types import to_milliseconds
from .asked import LOOK_BACK
from .once import KEPT_FOR

CHUNK_COUNT = 500
EVENTS_KEPT_FOR = timedelta(days=92)
"""A follower that was away for longer is told so (our choice, no source)."""
ALERTS_KEPT_FOR = timedelta(days=400)
"""So long who has seen an alert that is over; far longer than facts that come late amend any."""


def archive_runs(
    database: Database,
    *,
    retained_days: int,
    now: datetime,
    is_stopping: Callable[[], bool] = lambda: False,
) -> int:
    """Move runs older than the retention out of the raw store, chunk by chunk.

    Their sums by hour and day stay, and their ids stay known, so a late copy is still a
    duplicate. Runs in an hour in which a burr set or a motor came or went, a purpose began or
    ended, or doses of a checkpoint were ground, stay too: only they can tell which is which.
    Answers for instants within the retention look back a little further; what they need stays as
    well.
    """
    horizon = (now - timedelta(days=retained_days)).replace(minute=0, second=0, microsecond=0)
    moved = 0
    for account_no in _account_nos(database):
        for grinder_no in database.read(
            account_no, partial(grinders.all_nos, account_no=account_no)
        ):
            chunk = partial(
                _archive_chunk, account_no=account_no, grinder_no=grinder_no, horizon=horizon
            )
            while not is_stopping() and (count := database.write(account_no, chunk)):
                moved += count
    return moved


def forget_replies(database: Database, *, now: datetime) -> int:
    """Drop replies too old to be asked for again."""
    forgotten = 0
    for account_no in _account_nos(database):
        forget = partial(state.forget_replies, account_no=account_no, before=now - KEPT_FOR)
        forgotten += database.write(account_no, forget)
    return forgotten


def forget_alerts(
    database: Database, *, now: datetime, is_stopping: Callable[[], bool] = lambda: False
) -> int:
    """Drop events that are long told, and alerts that are long over, some at a time."""
    forgotten = 0
    for account_no in _account_nos(database):
        tell = partial(
            events.forget, account_no=account_no, before=now - EVENTS_KEPT_FOR, limit=CHUNK_COUNT
        )
        while not is_stopping() and (count := database.write(account_no, tell)):
            forgotten += count
        over = partial(alerts.forget, account_no=account_no, before=now - ALERTS_KEPT_FOR)
        forgotten += database.write(account_no, over)
    return forgotten


def _account_nos(database: Database) -> list[int]:
    return [account.account_no for account in database.read(None, accounts.all_of_them)]


def _archive_chunk(
    connection: Connection, account_no: int, grinder_no: int, horizon: datetime
) -> int:
    sums.hold(connection, account_no, [grinder_no])
    kept_hours = set()
    for row in burr_sets.fittings_around(connection, account_no, grinder_nos=[grinder_no]):
        for at in (row.fitted_at, row.removed_at):
            if at is not None:
                kept_hours.add(to_milliseconds(at.astimezone(UTC)) // HOUR_MS)
    kinds = [entries.PERIOD, entries.CARE, entries.CHECKPOINT]
    told = entries.in_force(connection, account_no, [grinder_no], kinds)
    kept_hours |= {at_ms // HOUR_MS for row in told for at_ms in entries.cuts_of(row)}
    moved = archive.move(
        connection,
        account_no,
        grinder_no,
        before_ms=to_milliseconds(horizon - LOOK_BACK),
        kept_hours=kept_hours,
        limit=CHUNK_COUNT,
    )
    kept = state.of_grinder(connection, account_no, grinder_no).archived_before
    if moved and (kept is None or kept < horizon):
        state.set_archived_before(connection, account_no, grinder_no, horizon)
    return len(moved)
