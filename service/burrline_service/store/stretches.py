"""When a grinder's motor ran: the part of runs that duty and the motor's state are made of."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from sqlalchemy import Connection, bindparam, func, literal_column, select

from ..core.records import LONGEST_RUN_SECONDS
from .tables import run

LONGEST_RUN_MS = LONGEST_RUN_SECONDS * 1000


class Stretch(NamedTuple):
    """What duty needs of a run."""

    run_key: bytes
    started_ms: int
    on_ms: int | None
    grams_mg: int | None
    time_source: int
    part: int | None


_OF_GRINDER = (
    run.c.account_no == bindparam("account_no"),
    run.c.grinder_no == bindparam("grinder_no"),
    run.c.left_out == literal_column("0"),
)
_TIMED_BY = run.c.time_source.in_(bindparam("time_sources", expanding=True))
_ended_ms = run.c.started_ms + func.coalesce(run.c.on_ms, literal_column("0"))

_REACHING = (
    select(
        run.c.run_key,
        run.c.started_ms,
        run.c.on_ms,
        run.c.grams_mg,
        run.c.time_source,
        run.c.part,
    )
    .where(
        *_OF_GRINDER,
        run.c.started_ms >= bindparam("earliest_ms"),
        run.c.started_ms < bindparam("to_ms"),
        (_ended_ms >= bindparam("since_ms")) | run.c.on_ms.is_(None),
    )
    .order_by(run.c.started_ms)
)
_FIRST = select(run.c.started_ms).where(*_OF_GRINDER, _TIMED_BY).order_by(run.c.started_ms).limit(1)
_LAST = (
    select(run.c.started_ms)
    .where(*_OF_GRINDER, run.c.started_ms < bindparam("before_ms"))
    .order_by(run.c.started_ms.desc())
    .limit(1)
)
_READING = (
    select(_ended_ms, run.c.motor_decicelsius)
    .where(
        *_OF_GRINDER,
        run.c.started_ms > bindparam("from_ms"),
        run.c.started_ms <= bindparam("to_ms"),
        _ended_ms <= bindparam("to_ms"),
        run.c.motor_decicelsius.is_not(None),
        _TIMED_BY,
    )
    .order_by(_ended_ms.desc(), run.c.motor_decicelsius.desc())
    .limit(1)
)


def reaching(
    connection: Connection, account_no: int, grinder_no: int, *, since_ms: int, to_ms: int
) -> list[Stretch]:
    """Runs started before ``to_ms`` that last into the time from ``since_ms`` on, earliest first.

    Of a run without seconds it is not known how long it lasted: those begun within the longest
    run before are among them. Voided ones are left out.
    """
    rows = connection.execute(
        _REACHING,
        {
            "account_no": account_no,
            "grinder_no": grinder_no,
            "earliest_ms": since_ms - LONGEST_RUN_MS,
            "since_ms": since_ms,
            "to_ms": to_ms,
        },
    )
    return [Stretch(bytes(row[0]), *row[1:]) for row in rows.all()]


def first_started_ms(
    connection: Connection, account_no: int, grinder_no: int, *, time_sources: Sequence[int]
) -> int | None:
    """Start of the first known run whose time is one of the given sources."""
    return connection.execute(
        _FIRST,
        {"account_no": account_no, "grinder_no": grinder_no, "time_sources": time_sources},
    ).scalar_one_or_none()


def last_started_ms(
    connection: Connection, account_no: int, grinder_no: int, *, before_ms: int
) -> int | None:
    return connection.execute(
        _LAST, {"account_no": account_no, "grinder_no": grinder_no, "before_ms": before_ms}
    ).scalar_one_or_none()


def motor_reading(
    connection: Connection,
    account_no: int,
    grinder_no: int,
    *,
    from_ms: int,
    to_ms: int,
    time_sources: Sequence[int],
) -> tuple[int, int] | None:
    """The latest reading at a run's end inside (from, to]: its instant and tenths of a degree."""
    row = connection.execute(
        _READING,
        {
            "account_no": account_no,
            "grinder_no": grinder_no,
            "from_ms": from_ms,
            "to_ms": to_ms,
            "time_sources": time_sources,
        },
    ).first()
    return None if row is None else (row[0], row[1])


class RunEnd(NamedTuple):
    """When a run was on and how hot the motor was at its end."""

    started_ms: int
    on_ms: int | None
    motor_decicelsius: int | None


_RUN_ENDS = select(run.c.started_ms, run.c.on_ms, run.c.motor_decicelsius).where(
    *_OF_GRINDER,
    run.c.started_ms >= bindparam("from_ms"),
    run.c.started_ms <= bindparam("to_ms"),
    _TIMED_BY,
)


def run_ends(
    connection: Connection,
    account_no: int,
    grinder_no: int,
    *,
    from_ms: int,
    to_ms: int,
    time_sources: Sequence[int],
) -> list[RunEnd]:
    """Runs started in [from, to] whose time is known."""
    rows = connection.execute(
        _RUN_ENDS,
        {
            "account_no": account_no,
            "grinder_no": grinder_no,
            "from_ms": from_ms,
            "to_ms": to_ms,
            "time_sources": time_sources,
        },
    )
    return [RunEnd(*row) for row in rows]
