"""Times that senders watched: where nothing was reported then, nothing ran."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime

from ..core.errors import Fault, Invalid
from ..core.quality import EARLIEST_START_AT
from ..core.records import Caller, Watched
from ..store import grinders
from ..store.database import Connection
from ..store.grinders import GrinderRow
from ..store.types import to_milliseconds
from . import reach

Span = tuple[int, int, int]
"""A grinder's number and the ends of a span in ms since 1970."""


def spans_of(
    connection: Connection,
    caller: Caller,
    watched: Watched | None,
    of_runs: Mapping[str, int],
    now: datetime,
) -> list[Span]:
    """The span of each watched grinder, ending now at the latest.

    Without named grinders, those of the runs (their numbers by id). A span that begins before
    2020 or is yet to come is a wrong clock's: it is left out, so that no run beside it is lost.
    """
    if watched is None:
        return []
    numbers: Iterable[int] = of_runs.values()
    if watched.grinder_ids is not None:
        named = _named(connection, caller, watched.grinder_ids, now)
        numbers = [row.grinder_no for row in named.values()]
    until_at = min(watched.until_at, now)
    if watched.from_at < EARLIEST_START_AT or watched.from_at >= until_at:
        return []
    ends = to_milliseconds(watched.from_at), to_milliseconds(until_at)
    return sorted((grinder_no, *ends) for grinder_no in numbers)


def _named(
    connection: Connection, caller: Caller, grinder_ids: tuple[str, ...], now: datetime
) -> dict[str, GrinderRow]:
    found = {
        grinder_id: row
        for grinder_id, row in grinders.by_ids(
            connection, caller.account_no, grinder_ids, as_of=now
        ).items()
        if reach.may_see(caller, site_id=row.grinder.site_id, grinder_id=grinder_id)
    }
    faults = [
        Fault(f"there is no grinder named {name!r} here", pointer=f"/watched_grinder_ids/{index}")
        for index, name in enumerate(grinder_ids)
        if name not in found
    ]
    if faults:
        raise Invalid(*faults)
    return found
