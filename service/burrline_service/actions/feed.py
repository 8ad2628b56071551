"""The feed: what was told, in the order of positions, and what is new since one of them."""

from __future__ import annotations

from datetime import datetime

from ..core.alert_records import Event, EventRow, Feed
from ..core.errors import BadCursor
from ..core.records import Caller
from ..store import events, grinders
from ..store.database import Connection, Database
from . import reach

PAGE_COUNT = 200
GRINDER_LIMIT = 200


def read_feed(
    database: Database, caller: Caller, *, position: int | None, limit: int, now: datetime
) -> Feed:
    """The events after a position; None stands for the latest, of which there is nothing after.

    A key bound to sites or grinders sees those of the grinders it may see now; its position moves
    on over the others. A position of which there may be events that are forgotten by now, or that
    was never given out (a backup was put back), is refused: to go on from it would lose some.
    """

    def work(connection: Connection) -> Feed:
        last = events.last_position(connection, caller.account_no)
        if position is None:
            return Feed((), last)
        if position == last:
            return Feed((), position)
        first = events.first_position(connection, caller.account_no, default=last + 1)
        if position > last or 0 < position < first - 1:
            raise BadCursor
        within = _within(connection, caller, now=now)
        rows = events.after(
            connection, caller.account_no, position, limit=limit, grinder_nos=within
        )
        # a full page goes on after its last one, a short one after all that was there
        reached = rows[-1].position if len(rows) == limit else last
        return Feed(tuple(_event(row) for row in rows), reached)

    return database.read(caller.account_no, work)


def has_more(database: Database, caller: Caller, *, position: int) -> bool:
    """Whether anything was told after a position: one row is read, no more."""
    return database.read(
        caller.account_no,
        lambda connection: events.last_position(connection, caller.account_no) > position,
    )


def _within(connection: Connection, caller: Caller, *, now: datetime) -> list[int] | None:
    """The numbers of the grinders a bound key may see, None where it may see all."""
    if not caller.is_bound:
        return None
    numbers: list[int] = []
    after = None
    while True:
        page = grinders.listed(
            connection,
            caller.account_no,
            as_of=now,
            limit=GRINDER_LIMIT,
            after=after,
            within=reach.within(caller),
        )
        numbers += [row.grinder_no for row in page]
        if len(page) < GRINDER_LIMIT:
            return numbers
        after = page[-1].grinder.grinder_id


def _event(row: EventRow) -> Event:
    return Event(row.event_id, row.type, row.at, row.is_late, row.is_held, row.body)
