"""Letting raw runs go: their sums and their share of cells stay, their ids are never forgotten."""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import Connection, bindparam, delete, insert, select

from . import stream_cells, stretches
from .row_columns import RunRow
from .runs import COLUMNS, with_more
from .tables import HOUR_MS, run, run_more, run_seen


def move(
    connection: Connection,
    account_no: int,
    grinder_no: int,
    *,
    before_ms: int,
    kept_hours: Iterable[int],
    limit: int,
) -> list[RunRow]:
    """Move the oldest runs before an instant to the list of seen ids; returns those moved.

    Runs started in one of ``kept_hours`` (hours since 1970) stay, and so does the last one before
    the instant: it tells when the grinder last ran.
    """
    last_ms = stretches.last_started_ms(connection, account_no, grinder_no, before_ms=before_ms)
    rows = with_more(
        connection,
        select(*COLUMNS, run_more.c.more).order_by(run.c.started_ms, run.c.run_key).limit(limit),
        account_no,
        run.c.grinder_no == grinder_no,
        run.c.started_ms < before_ms,
        *(() if last_ms is None else (run.c.started_ms != last_ms,)),
        *(
            ~run.c.started_ms.between(hour * HOUR_MS, (hour + 1) * HOUR_MS - 1)
            for hour in sorted(kept_hours)
        ),
    )
    if rows:
        connection.execute(
            insert(run_seen),
            [
                {"account_no": account_no, "run_key": row.run_key, "fingerprint": row.fingerprint}
                for row in rows
            ],
        )
        for table in (run_more, run):
            connection.execute(
                delete(table).where(
                    table.c.account_no == account_no, table.c.run_key == bindparam("gone")
                ),
                [{"gone": row.run_key} for row in rows],
            )
        stream_cells.archive(connection, account_no, grinder_no, rows)
    return rows
