"""When a grinder's motor ran: the part of runs that duty and the motor's state are made of."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from typing import NamedTuple

from sqlalchemy import Connection, bindparam, literal_column, select

from ..core.records import LONGEST_RUN_SECONDS, TIME_SOURCES
from .many import Many, for_each
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


class RunEnd(NamedTuple):
    """When a run was on and how hot the motor was at its end."""

    started_ms: int
    on_ms: int | None
    motor_decicelsius: int | None


def reaching(
    connection: Connection, account_no: int, since_ms: Mapping[int, int], *, to_ms: int
) -> dict[int, list[Stretch]]:
    """Runs of each grinder that last into the time from an instant of its own on, earliest first.

    They begin before ``to_ms``. Of a run without seconds it is not known how long it lasted: those
    begun within the longest run before are among them. Voided ones are left out.
    """
    found: dict[int, list[Stretch]] = defaultdict(list)
    for number, run_key, *rest in _REACHING.rows(
        connection, list(since_ms.items()), account_no=account_no, to_ms=to_ms
    ):
        found[number].append(Stretch(bytes(run_key), *rest))
    for stretches in found.values():
        stretches.sort(key=lambda stretch: stretch.started_ms)
    return found


def run_ends(
    connection: Connection, account_no: int, since_ms: Mapping[int, int], *, until_ms: int
) -> dict[int, list[RunEnd]]:
    """Runs of known time that last into the time from an instant of each grinder's own on.

    They begin at ``until_ms`` or before.
    """
    found: dict[int, list[RunEnd]] = defaultdict(list)
    for number, *rest in _RUN_ENDS.rows(
        connection, list(since_ms.items()), account_no=account_no, to_ms=until_ms + 1
    ):
        found[number].append(RunEnd(*rest))
    return found


def last_started_ms(
    connection: Connection, account_no: int, grinder_no: int, *, before_ms: int
) -> int | None:
    return connection.execute(
        _LAST, {"account_no": account_no, "grinder_no": grinder_no, "before_ms": before_ms}
    ).scalar_one_or_none()


_REACHED = (
    "run.account_no = :account_no AND run.grinder_no = asked.grinder_no"
    f" AND run.left_out = 0 AND run.started_ms >= asked.since_ms - {LONGEST_RUN_MS}"
    " AND run.started_ms < :to_ms"
)
_LASTING = "run.started_ms + coalesce(run.on_ms, 0) >= asked.since_ms"
_REACHING = Many(
    for_each(
        "run",
        "run.grinder_no, run.run_key, run.started_ms, run.on_ms, run.grams_mg, run.time_source,"
        " run.part",
        f"{_REACHED} AND (run.on_ms IS NULL OR {_LASTING})",
    ),
    asked=("grinder_no", "since_ms"),
)
_RUN_ENDS = Many(
    for_each(
        "run",
        "run.grinder_no, run.started_ms, run.on_ms, run.motor_decicelsius",
        f"{_REACHED} AND {_LASTING} AND run.time_source <> {TIME_SOURCES.index('received')}",
    ),
    asked=("grinder_no", "since_ms"),
)
_LAST = (
    select(run.c.started_ms)
    .where(
        run.c.account_no == bindparam("account_no"),
        run.c.grinder_no == bindparam("grinder_no"),
        run.c.left_out == literal_column("0"),
        run.c.started_ms < bindparam("before_ms"),
    )
    .order_by(run.c.started_ms.desc())
    .limit(1)
)
