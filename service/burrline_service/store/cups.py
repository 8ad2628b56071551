"""Runs that a drink was made from: the latest ones of a stretch of time."""

from __future__ import annotations

from sqlalchemy import Connection, select

from .row_columns import RunRow
from .runs import COLUMNS, with_more
from .tables import run, run_more


def latest(
    connection: Connection,
    account_no: int,
    grinder_no: int,
    *,
    low_ms: int,
    high_ms: int,
    limit: int,
) -> list[RunRow]:
    """Runs with a brew begun in [low, high) that count, the latest ``limit``, latest first."""
    return with_more(
        connection,
        select(*COLUMNS, run_more.c.more)
        .order_by(run.c.started_ms.desc(), run.c.run_key.desc())
        .limit(limit),
        account_no,
        run.c.grinder_no == grinder_no,
        run.c.started_ms >= low_ms,
        run.c.started_ms < high_ms,
        run.c.left_out == 0,
        run_more.c.more["brew"].as_string().is_not(None),
    )
