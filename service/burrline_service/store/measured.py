"""What is counted for whoever watches: totals, latest readings, open alerts, what waits."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from sqlalchemy import Connection, case, func, select

from .alert_tables import alert
from .claims import Backlog
from .fact_tables import reading
from .tables import grinder_day
from .types import to_milliseconds
from .webhook_tables import FAILED, WAITING, delivery


def totals(connection: Connection, account_no: int) -> dict[int, tuple[int, int, int]]:
    """Runs, milliseconds and milligrams of each grinder since its first run."""
    days = grinder_day.c
    rows = connection.execute(
        select(
            days.grinder_no,
            func.sum(days.run_count),
            func.sum(days.on_ms),
            func.sum(days.grams_mg),
        )
        .where(days.account_no == account_no)
        .group_by(days.grinder_no)
    )
    return {number: (int(runs), int(on_ms), int(mg)) for number, runs, on_ms, mg in rows}


def latest_celsius(
    connection: Connection, account_no: int, grinder_nos: list[int], *, since: datetime
) -> dict[int, float]:
    """The latest temperature of each motor that was read since an instant."""
    rows = connection.execute(
        select(reading.c.grinder_no, reading.c.motor_decicelsius)
        .where(
            reading.c.account_no == account_no,
            reading.c.grinder_no.in_(grinder_nos),
            reading.c.at_ms >= to_milliseconds(since),
            reading.c.motor_decicelsius.is_not(None),
            reading.c.voided_ms.is_(None),
        )
        .order_by(reading.c.at_ms)
    )
    return {number: tenths / 10 for number, tenths in rows}


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
