"""Everything an account holds, page by page in an order that no later change disturbs.

A page goes on behind the last key of the page before. Keys never change, so what was there when
the first page was read is on some page, whatever is recorded meanwhile.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import Connection, Row, Table, select, tuple_

from ..core.stream_cells import StreamCell
from . import alerts, runs, stream_cells
from .alert_tables import alert_setting
from .alerts import AlertRow
from .entries import COLUMNS as ENTRY_COLUMNS
from .entries import EntryRow
from .fact_tables import entry, reading, watched
from .readings import COLUMNS as READING_COLUMNS
from .readings import ReadingRow
from .row_columns import RunRow
from .runs import COLUMNS
from .sums import Sums
from .tables import (
    HOUR_MS,
    SUM_NAMES,
    account,
    burr_set,
    fitting,
    grinder,
    grinder_fact,
    grinder_hour,
    grinder_state,
    run,
    run_more,
    run_seen,
    site,
    site_fact,
    source,
)


@dataclass(frozen=True)
class Places:
    """What an account consists of beside its records, as rows, all of one instant.

    Facts are those of a site or grinder, fittings those of a burr set, by its number.
    """

    account: Row[Any]
    sites: list[Row[Any]]
    site_facts: dict[int, list[Row[Any]]]
    grinders: list[Row[Any]]
    grinder_facts: dict[int, list[Row[Any]]]
    states: dict[int, Row[Any]]
    burr_sets: list[Row[Any]]
    fittings: dict[int, list[Row[Any]]]
    sources: dict[int, str]
    alert_settings: list[Row[Any]]


def places(connection: Connection, account_no: int) -> Places:
    """Sites, grinders, burr sets and sources, in the order of their numbers."""

    def rows(table: Table) -> list[Row[Any]]:
        ordered = select(table).where(table.c.account_no == account_no)
        return list(connection.execute(ordered.order_by(*table.primary_key.columns)))

    def by_number(table: Table, name: str) -> dict[int, list[Row[Any]]]:
        found: dict[int, list[Row[Any]]] = defaultdict(list)
        for row in rows(table):
            found[getattr(row, name)].append(row)
        return found

    return Places(
        account=connection.execute(select(account).where(account.c.account_no == account_no)).one(),
        sites=rows(site),
        site_facts=by_number(site_fact, "site_no"),
        grinders=rows(grinder),
        grinder_facts=by_number(grinder_fact, "grinder_no"),
        states={row.grinder_no: row for row in rows(grinder_state)},
        burr_sets=rows(burr_set),
        fittings=by_number(fitting, "burr_set_no"),
        sources={row.source_no: row.name for row in rows(source)},
        alert_settings=rows(alert_setting),
    )


def alert_rows(
    connection: Connection, account_no: int, *, after: str | None, limit: int
) -> list[AlertRow]:
    """The ledger of alerts, in the order of their ids."""
    return alerts.listed(connection, account_no, after=after, limit=limit)


def entry_rows(
    connection: Connection, account_no: int, *, after: tuple[int, str] | None, limit: int
) -> list[EntryRow]:
    wanted = [entry.c.account_no == account_no]
    if after is not None:
        wanted.append(tuple_(entry.c.kind, entry.c.entry_id) > after)
    ordered = select(*ENTRY_COLUMNS).where(*wanted).order_by(entry.c.kind, entry.c.entry_id)
    return [EntryRow(*row) for row in connection.execute(ordered.limit(limit))]


def reading_rows(
    connection: Connection, account_no: int, *, after: bytes | None, limit: int
) -> list[ReadingRow]:
    wanted = [reading.c.account_no == account_no]
    if after is not None:
        wanted.append(reading.c.reading_key > after)
    ordered = select(*READING_COLUMNS).where(*wanted).order_by(reading.c.reading_key)
    found = [ReadingRow(*row) for row in connection.execute(ordered.limit(limit))]
    return [
        row._replace(reading_key=bytes(row.reading_key), fingerprint=bytes(row.fingerprint))
        for row in found
    ]


def watched_rows(
    connection: Connection, account_no: int, *, after: tuple[int, int, int] | None, limit: int
) -> list[tuple[int, int, int]]:
    """(grinder, from, to) of every watched span."""
    key = (watched.c.grinder_no, watched.c.from_ms, watched.c.to_ms)
    wanted = [watched.c.account_no == account_no]
    if after is not None:
        wanted.append(tuple_(*key) > after)
    ordered = select(*key).where(*wanted).order_by(*key)
    return [tuple(row) for row in connection.execute(ordered.limit(limit))]


def run_rows(
    connection: Connection, account_no: int, *, after: bytes | None, limit: int
) -> list[RunRow]:
    wanted = [] if after is None else [run.c.run_key > after]
    ordered = select(*COLUMNS, run_more.c.more).order_by(run.c.run_key).limit(limit)
    return runs.with_more(connection, ordered, account_no, *wanted)


def seen_rows(
    connection: Connection, account_no: int, *, after: bytes | None, limit: int
) -> list[tuple[bytes, bytes]]:
    """Key and fingerprint of every run that was archived."""
    wanted = [run_seen.c.account_no == account_no]
    if after is not None:
        wanted.append(run_seen.c.run_key > after)
    ordered = (
        select(run_seen.c.run_key, run_seen.c.fingerprint)
        .where(*wanted)
        .order_by(run_seen.c.run_key)
        .limit(limit)
    )
    return [(bytes(key), bytes(fingerprint)) for key, fingerprint in connection.execute(ordered)]


class ArchivedHours(NamedTuple):
    """What counts in [from_hour, to_hour) of a grinder beyond the runs that are still there.

    ``sums`` by hour and purpose; ``kept`` are the runs still there, as they count; ``cells`` hold
    what the others tell about the flow.
    """

    archived_before: datetime
    from_hour: int
    to_hour: int
    sums: dict[tuple[int, int], Sums]
    kept: list[RunRow]
    cells: list[StreamCell]
    is_last: bool


def archived_hours(
    connection: Connection, account_no: int, grinder_no: int, *, from_hour: int, limit: int
) -> ArchivedHours | None:
    """The next hours, of ``limit`` sums or a few less, before the archive's end.

    None when nothing was ever archived. A page's sums and runs are read at one instant, so each
    archived run is in its sums or in its ``kept`` and never in both.
    """
    archived_before = connection.execute(
        select(grinder_state.c.archived_before).where(
            grinder_state.c.account_no == account_no, grinder_state.c.grinder_no == grinder_no
        )
    ).scalar_one_or_none()
    if archived_before is None:
        return None
    end_hour = -(-int(archived_before.timestamp() * 1000) // HOUR_MS)
    rows = connection.execute(
        select(grinder_hour.c.hour, grinder_hour.c.purpose, *(grinder_hour.c[n] for n in SUM_NAMES))
        .where(
            grinder_hour.c.account_no == account_no,
            grinder_hour.c.grinder_no == grinder_no,
            grinder_hour.c.hour >= from_hour,
            grinder_hour.c.hour < end_hour,
        )
        .order_by(grinder_hour.c.hour, grinder_hour.c.purpose)
        .limit(limit)
    ).all()
    is_last = len(rows) < limit
    to_hour = end_hour if is_last else rows[-1].hour  # the hour where the page broke off is next
    kept = runs.within(
        connection,
        account_no,
        grinder_no,
        low_ms=from_hour * HOUR_MS,
        high_ms=to_hour * HOUR_MS - 1,
    )
    return ArchivedHours(
        archived_before=archived_before,
        from_hour=from_hour,
        to_hour=to_hour,
        sums={
            (hour, purpose): Sums(*(int(value) for value in counted))
            for hour, purpose, *counted in rows
            if hour < to_hour
        },
        kept=kept,
        cells=stream_cells.archived(
            connection, account_no, grinder_no, from_hour=from_hour, to_hour=to_hour
        ),
        is_last=is_last,
    )
