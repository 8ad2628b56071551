"""Questions answered from the runs: lists, and the state of a grinder at an instant."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from ..core.answers import Status
from ..core.records import Caller, Page, StoredRun
from ..store import grinders, runs
from ..store.database import Connection, Database
from ..store.types import to_milliseconds
from . import reach, reading_back, standing
from .ingest import read_run, visible_run
from .standing import Memos


def get_run(database: Database, caller: Caller, *, run_id: str, now: datetime) -> StoredRun:
    def work(connection: Connection) -> StoredRun:
        found, grinder = visible_run(connection, caller, run_id, now=now)
        return read_run(connection, caller, found.run_key, grinder)

    return database.read(caller.account_no, work)


def list_runs(
    database: Database,
    caller: Caller,
    *,
    grinder_id: str,
    from_at: datetime | None = None,
    to_at: datetime | None = None,
    limit: int,
    position: tuple[Any, ...] | None,
    now: datetime,
) -> Page:
    """Runs of a grinder in the order of their start, voided ones marked."""

    def work(connection: Connection) -> Page:
        grinder = reach.grinder_of(connection, caller, grinder_id, now=now)
        rows = runs.listed(
            connection,
            caller.account_no,
            grinder.grinder_no,
            from_ms=None if from_at is None else to_milliseconds(from_at),
            to_ms=None if to_at is None else to_milliseconds(to_at),
            limit=limit + 1,
            after=None if position is None else (position[0], bytes.fromhex(position[1])),
        )
        kept = rows[:limit]
        items = tuple(reading_back.stored_runs(connection, caller.account_no, grinder, kept))
        last = kept[-1] if len(rows) > limit else None
        return Page(items, None if last is None else (last.started_ms, last.run_key.hex()))

    return database.read(caller.account_no, work)


def get_status(
    database: Database,
    caller: Caller,
    *,
    grinder_id: str,
    as_of: datetime | None = None,
    now: datetime,
) -> Status:
    """The state of one grinder, now or at a past instant, from every fact known by now."""

    def work(connection: Connection) -> tuple[list[Status], Memos]:
        found = reach.grinder_of(connection, caller, grinder_id, now=now)
        if as_of is not None:
            reach.check_instant(connection, caller, found, as_of=as_of, now=now)
            found = grinders.by_nos(connection, caller.account_no, [found.grinder_no], as_of=as_of)[
                found.grinder_no
            ]
        return standing.statuses_of(connection, caller.account_no, [found], as_of=as_of, now=now)

    (status,), memos = database.read(caller.account_no, work)
    standing.keep(database, caller.account_no, memos)
    return status


def get_fleet(
    database: Database,
    caller: Caller,
    *,
    site_id: str | None = None,
    limit: int,
    position: tuple[Any, ...] | None,
    now: datetime,
) -> Page:
    """The state of every grinder the caller may see, a page at a time."""

    def work(connection: Connection) -> tuple[Page, Memos]:
        found = grinders.listed(
            connection,
            caller.account_no,
            as_of=now,
            limit=limit + 1,
            after=position[0] if position else None,
            site_id=site_id,
            within=reach.within(caller),
        )
        kept = found[:limit]
        items, memos = standing.statuses_of(
            connection, caller.account_no, kept, as_of=None, now=now
        )
        more = len(found) > limit
        return Page(tuple(items), (kept[-1].grinder.grinder_id,) if more else None), memos

    page, memos = database.read(caller.account_no, work)
    standing.keep(database, caller.account_no, memos)
    return page
