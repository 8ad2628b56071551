"""What is counted for whoever watches: totals, latest readings, open alerts, what waits."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from operator import add as add_up
from typing import NamedTuple

from sqlalchemy import Connection, case, func, select

from .alert_tables import alert
from .claims import Backlog
from .many import Many, for_each
from .sums import CLEANING
from .tables import grinder_state
from .webhook_tables import FAILED, WAITING, delivery


class Totals(NamedTuple):
    """What is told of a grinder's runs; cleaning material is motor time and no coffee."""

    run_count: int = 0
    on_ms: int = 0
    coffee_mg: int = 0

    def plus(self, other: Totals) -> Totals:
        return Totals._make(map(add_up, self, other))


def early_revisions(connection: Connection, account_no: int) -> dict[int, int]:
    """Of each grinder that has runs, the last change that reached into the past; see ``early``."""
    states = grinder_state.c
    rows = connection.execute(
        select(states.grinder_no, states.early_revision).where(states.account_no == account_no)
    )
    return {int(number): int(revision) for number, revision in rows}


def totals(
    connection: Connection,
    account_no: int,
    grinder_nos: Iterable[int],
    *,
    from_day: int,
    until_day: int,
) -> dict[int, Totals]:
    """Totals of the days in [from, until), of the grinders that have any."""
    rows = _TOTALS.rows(
        connection,
        list(enumerate(sorted(set(grinder_nos)))),
        account_no=account_no,
        from_day=from_day,
        until_day=until_day,
    )
    return {row[0]: Totals(*map(int, row[1:])) for row in rows}


def open_alerts(connection: Connection, account_no: int) -> Mapping[tuple[int, str], int]:
    """How many alerts are noticed and open, by grinder and severity."""
    rows = connection.execute(
        select(alert.c.grinder_no, alert.c.severity, func.count())
        .where(alert.c.account_no == account_no, alert.c.closed_ms.is_(None))
        .group_by(alert.c.grinder_no, alert.c.severity)
    )
    return {(number, severity): int(count) for number, severity, count in rows}


def waiting(connection: Connection, account_no: int) -> Backlog:
    """What of an account waits to be delivered."""
    count, oldest_at = connection.execute(
        select(func.count(), func.min(delivery.c.made_at)).where(
            delivery.c.account_no == account_no, delivery.c.state == WAITING
        )
    ).one()
    return Backlog(int(count), oldest_at)


def overdue_since(connection: Connection, account_no: int, *, now: datetime) -> datetime | None:
    """Since when something is due that no worker has taken; None: nothing is."""
    since = case(
        (delivery.c.due_at > delivery.c.made_at, delivery.c.due_at), else_=delivery.c.made_at
    )
    due_at: datetime | None = connection.execute(
        select(func.min(since)).where(
            delivery.c.account_no == account_no,
            delivery.c.state == WAITING,
            delivery.c.due_at <= now,
        )
    ).scalar_one()
    return due_at


def given_up_count(connection: Connection, account_no: int) -> int:
    """Deliveries given up that are still in the log."""
    counted: int = connection.execute(
        select(func.count()).where(delivery.c.account_no == account_no, delivery.c.state == FAILED)
    ).scalar_one()
    return counted


_SUMS = (
    "CAST(sum(run_count) AS bigint), CAST(sum(on_ms) AS bigint),"
    f" CAST(sum(CASE WHEN purpose = {CLEANING} THEN 0 ELSE grams_mg END) AS bigint)"
)
_TOTALS = Many(
    for_each(
        "grinder_day AS kept",
        f"kept.grinder_no, {_SUMS}",
        "kept.account_no = :account_no AND kept.grinder_no = asked.grinder_no"
        " AND kept.day >= :from_day AND kept.day < :until_day",
        group_by="kept.grinder_no",
    ),
    asked=("number", "grinder_no"),
)
