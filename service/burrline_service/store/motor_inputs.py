"""What a motor's fit and estimate are made of: when it ran, what it read, how warm the room was."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from sqlalchemy import Connection, Select, bindparam, func, literal_column, select

from ..core.records import LONGEST_RUN_SECONDS
from . import readings
from .fact_tables import reading
from .many import Many
from .tables import run

LONGEST_RUN_MS = LONGEST_RUN_SECONDS * 1000
RECEIVED = 2  # of core.records.TIME_SOURCES: when it was is not known


class TimedRun(NamedTuple):
    """A run whose time is known; temperatures at its end in tenths of a degree."""

    started_ms: int
    on_ms: int
    motor_decicelsius: int | None
    ambient_decicelsius: int | None

    @property
    def ended_ms(self) -> int:
        return self.started_ms + self.on_ms


class TimedReading(NamedTuple):
    """A reading between or during runs, in tenths of a degree."""

    at_ms: int
    motor_decicelsius: int | None
    ambient_decicelsius: int | None


_on_ms = func.coalesce(run.c.on_ms, literal_column("0"))
_ended_ms = run.c.started_ms + _on_ms
_OF_GRINDER = (
    run.c.account_no == bindparam("account_no"),
    run.c.grinder_no == bindparam("grinder_no"),
    run.c.left_out == literal_column("0"),
    run.c.time_source != RECEIVED,
)
_READINGS = (
    reading.c.account_no == bindparam("account_no"),
    reading.c.grinder_no == bindparam("grinder_no"),
    reading.c.voided_ms.is_(None),
    reading.c.time_source != RECEIVED,
)
_RUNS = (
    select(run.c.started_ms, _on_ms, run.c.motor_decicelsius, run.c.ambient_decicelsius)
    .where(
        *_OF_GRINDER,
        run.c.started_ms >= bindparam("earliest_ms"),
        run.c.started_ms <= bindparam("to_ms"),
    )
    .order_by(run.c.started_ms, run.c.run_key)
)
_BETWEEN = (
    select(reading.c.at_ms, reading.c.motor_decicelsius, reading.c.ambient_decicelsius)
    .where(
        *_READINGS,
        reading.c.at_ms >= bindparam("from_ms"),
        reading.c.at_ms <= bindparam("to_ms"),
    )
    .order_by(reading.c.at_ms, reading.c.reading_key)
)
# The latest started is found at once; one that began before it and ended later can have begun
# at most the longest run earlier.
_LATEST_STARTED = (
    select(run.c.started_ms, _ended_ms)
    .where(
        *_OF_GRINDER,
        run.c.started_ms > bindparam("since_ms"),
        run.c.started_ms < bindparam("before_ms"),
        _ended_ms < bindparam("before_ms"),
        run.c.motor_decicelsius.is_not(None),
    )
    .order_by(run.c.started_ms.desc())
    .limit(1)
)
_LATEST_ENDED = select(func.max(_ended_ms)).where(
    *_OF_GRINDER,
    run.c.started_ms >= bindparam("since_ms"),
    run.c.started_ms <= bindparam("to_ms"),
    _ended_ms < bindparam("before_ms"),
    run.c.motor_decicelsius.is_not(None),
)
_LATEST_READING = (
    select(reading.c.at_ms)
    .where(
        *_READINGS,
        reading.c.at_ms > bindparam("since_ms"),
        reading.c.at_ms < bindparam("before_ms"),
        reading.c.motor_decicelsius.is_not(None),
    )
    .order_by(reading.c.at_ms.desc())
    .limit(1)
)
_HOT: Select[Any] = (
    select(literal_column("1"))
    .where(
        *_OF_GRINDER,
        run.c.started_ms >= bindparam("from_ms"),
        run.c.started_ms <= bindparam("to_ms"),
        _ended_ms <= bindparam("to_ms"),
        run.c.motor_decicelsius >= bindparam("from_decicelsius"),
    )
    .limit(1)
)
_HOT_READING: Select[Any] = (
    select(literal_column("1"))
    .where(
        *_READINGS,
        reading.c.at_ms >= bindparam("from_ms"),
        reading.c.at_ms <= bindparam("to_ms"),
        reading.c.motor_decicelsius >= bindparam("from_decicelsius"),
    )
    .limit(1)
)
_WERE_HOT = Many(
    "SELECT asked.grinder_no FROM {asked} WHERE EXISTS (SELECT 1 FROM run"
    " WHERE run.account_no = :account_no AND run.grinder_no = asked.grinder_no"
    " AND run.left_out = 0 AND run.started_ms >= :from_ms AND run.started_ms <= :to_ms"
    " AND run.motor_decicelsius >= asked.decicelsius)"
    " OR EXISTS (SELECT 1 FROM reading"
    " WHERE reading.account_no = :account_no AND reading.grinder_no = asked.grinder_no"
    " AND reading.at_ms >= :from_ms AND reading.at_ms <= :to_ms"
    " AND reading.motor_decicelsius >= asked.decicelsius)",
    asked=("grinder_no", "decicelsius"),
)
_RUNNING = (
    select(reading.c.run_key, func.min(reading.c.at_ms), func.max(reading.c.at_ms))
    .where(
        *_READINGS,
        reading.c.at_ms >= bindparam("from_ms"),
        reading.c.at_ms <= bindparam("to_ms"),
        reading.c.is_running.is_(True),
        reading.c.run_key.is_not(None),
    )
    .group_by(reading.c.run_key)
)


def runs_between(
    connection: Connection, account_no: int, grinder_no: int, *, from_ms: int, to_ms: int
) -> list[TimedRun]:
    """Runs that began by ``to_ms`` and lasted beyond ``from_ms``, earliest first."""
    rows = connection.execute(
        _RUNS,
        {
            "account_no": account_no,
            "grinder_no": grinder_no,
            "earliest_ms": from_ms - LONGEST_RUN_MS,
            "to_ms": to_ms,
        },
    ).all()
    return [TimedRun(*row) for row in rows if row[0] + row[1] > from_ms]


def runs_with_purpose(
    connection: Connection, account_no: int, grinder_no: int, *, from_ms: int, to_ms: int
) -> list[tuple[TimedRun, int]]:
    """Runs that began in [from, to], earliest first, each with its stored purpose."""
    rows = connection.execute(
        _RUNS.add_columns(run.c.purpose),
        {
            "account_no": account_no,
            "grinder_no": grinder_no,
            "earliest_ms": from_ms,
            "to_ms": to_ms,
        },
    ).all()
    return [(TimedRun(*row[:4]), row[4]) for row in rows]


def was_hot(
    connection: Connection,
    account_no: int,
    grinder_no: int,
    *,
    from_ms: int,
    to_ms: int,
    from_decicelsius: int,
) -> bool:
    """Whether any motor temperature of a window reached so much, in tenths of a degree."""
    window = {
        "account_no": account_no,
        "grinder_no": grinder_no,
        "from_ms": from_ms,
        "to_ms": to_ms,
        "from_decicelsius": from_decicelsius,
    }
    return any(connection.execute(one, window).first() is not None for one in (_HOT, _HOT_READING))


def were_hot(
    connection: Connection,
    account_no: int,
    lowest_decicelsius: Mapping[int, int],
    *,
    from_ms: int,
    to_ms: int,
) -> set[int]:
    """Of these grinders the ones of which ``was_hot`` is true, each with a bar of its own."""
    rows = _WERE_HOT.rows(
        connection,
        list(lowest_decicelsius.items()),
        account_no=account_no,
        from_ms=from_ms,
        to_ms=to_ms,
    )
    return {number for (number,) in rows}


def readings_between(
    connection: Connection, account_no: int, grinder_no: int, *, from_ms: int, to_ms: int
) -> list[TimedReading]:
    """Readings in [from, to], earliest first."""
    rows = connection.execute(
        _BETWEEN,
        {
            "account_no": account_no,
            "grinder_no": grinder_no,
            "from_ms": from_ms,
            "to_ms": to_ms,
        },
    )
    return [TimedReading(*row) for row in rows]


def open_spans(
    connection: Connection, account_no: int, grinder_no: int, *, from_ms: int, to_ms: int
) -> list[tuple[int, int]]:
    """Motor-on time of runs that had not come by ``to_ms``, by the readings that name them.

    Each from the first to the last reading that said the motor ran, as far as beyond ``from_ms``.
    """
    rows = connection.execute(
        _RUNNING,
        {
            "account_no": account_no,
            "grinder_no": grinder_no,
            "from_ms": from_ms - LONGEST_RUN_MS,
            "to_ms": to_ms,
        },
    ).all()
    if not rows:
        return []
    keys = [(grinder_no, bytes(row[0])) for row in rows]
    come = readings.closed_runs(connection, account_no, keys, until_ms=to_ms)
    return [
        (max(first, from_ms), last)
        for key, (_, first, last) in zip(keys, rows, strict=True)
        if key not in come and first < last > from_ms
    ]


def latest_reading_ms(
    connection: Connection, account_no: int, grinder_no: int, *, since_ms: int, before_ms: int
) -> int | None:
    """The instant of the last motor temperature before an instant, of runs begun since another."""
    bounds = {
        "account_no": account_no,
        "grinder_no": grinder_no,
        "since_ms": since_ms,
        "before_ms": before_ms,
    }
    found = [connection.execute(_LATEST_READING, bounds).scalar_one_or_none()]
    latest = connection.execute(_LATEST_STARTED, bounds).first()
    if latest is not None:
        started_ms, ended_ms = latest
        found.append(
            connection.execute(
                _LATEST_ENDED,
                bounds
                | {"since_ms": max(since_ms + 1, ended_ms - LONGEST_RUN_MS), "to_ms": started_ms},
            ).scalar_one()
        )
    return max((at_ms for at_ms in found if at_ms is not None), default=None)
