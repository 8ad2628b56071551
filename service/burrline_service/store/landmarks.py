"""What one look finds of each grinder: its state, its first and last run, its last reading."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, NamedTuple

from sqlalchemy import Connection

from ..core.records import TIME_SOURCES
from .entries import CHECKPOINT
from .many import Many
from .state import State
from .stretches import LONGEST_RUN_MS
from .types import to_instant

RECEIVED = TIME_SOURCES.index("received")


class Landmarks(NamedTuple):
    """Of one grinder; instants in ms since 1970, None where there is nothing.

    ``first_ms`` is the start of the first run of known time, ``last_ms`` that of the last run
    begun by the end asked for; ``motor`` is the latest motor temperature by the instant asked for
    (its instant, tenths of a degree); ``is_watched`` says that somebody watched before then,
    ``goes_on`` that runs begin at the end asked for or later, ``has_checkpoints`` that the grind
    was measured by the instant.
    """

    kept: State
    first_ms: int | None
    last_ms: int | None
    motor: tuple[int, int] | None
    is_watched: bool
    goes_on: bool
    has_checkpoints: bool


def of_grinders(
    connection: Connection,
    account_no: int,
    grinder_nos: Iterable[int],
    *,
    at_ms: int,
    end_ms: int,
    motor_from_ms: int,
) -> dict[int, Landmarks]:
    """The landmarks of each grinder at an instant, runs being looked at up to ``end_ms``.

    Motor temperatures count from after ``motor_from_ms``.
    """
    rows = _LANDMARKS.rows(
        connection,
        [(number,) for number in sorted(set(grinder_nos))],
        account_no=account_no,
        at_ms=at_ms,
        end_ms=end_ms,
        from_ms=motor_from_ms,
    )
    return {
        row.grinder_no: Landmarks(
            State()
            if row.revision is None
            else State(
                row.revision,
                None if row.archived_ms is None else to_instant(row.archived_ms),
                bool(row.is_shared),
                row.early_revision,
            ),
            row.first_ms,
            row.last_ms,
            _latest(row),
            bool(row.is_watched),
            bool(row.goes_on),
            bool(row.has_checkpoints),
        )
        for row in rows
    }


def latest_motors(
    connection: Connection,
    account_no: int,
    grinder_nos: Iterable[int],
    *,
    at_ms: int,
    motor_from_ms: int,
) -> dict[int, tuple[int, int]]:
    """Of the landmarks the motor temperatures alone, of the grinders that have one."""
    rows = _MOTORS.rows(
        connection,
        [(number,) for number in sorted(set(grinder_nos))],
        account_no=account_no,
        at_ms=at_ms,
        from_ms=motor_from_ms,
    )
    return {row.grinder_no: motor for row in rows if (motor := _latest(row)) is not None}


# An instant and a temperature in one number, so that one maximum finds the latest, and of several
# at one instant the hottest.
_CODE_STEPS, _CODE_ZERO = 100_000, 50_000


def _latest(row: Any) -> tuple[int, int] | None:
    codes = (row.at_end, row.beside)
    return max((_reading(code) for code in codes if code is not None), default=None)


def _reading(code: int) -> tuple[int, int]:
    at_ms, decicelsius = divmod(code, _CODE_STEPS)
    return at_ms, decicelsius - _CODE_ZERO


def _coded(at: str, of: str) -> str:
    return f"max(({at}) * {_CODE_STEPS} + {of}.motor_decicelsius + {_CODE_ZERO})"


_ENDED = "run.started_ms + coalesce(run.on_ms, 0)"
_RUNS = (
    " FROM run WHERE run.account_no = :account_no AND run.grinder_no = asked.grinder_no"
    " AND run.left_out = 0"
)
_WITH_READING = (
    f"{_RUNS} AND run.time_source <> {RECEIVED} AND run.motor_decicelsius IS NOT NULL"
    f" AND run.started_ms > :from_ms AND run.started_ms <= :at_ms AND {_ENDED} <= :at_ms"
)
# a run that ends later than the last one begun lasts into it: it began not long before
_AT_END = (
    f"(SELECT {_coded(_ENDED, 'run')}{_WITH_READING} AND run.started_ms >="
    f" (SELECT run.started_ms{_WITH_READING} ORDER BY run.started_ms DESC LIMIT 1)"
    f" - {LONGEST_RUN_MS})"
)
_BESIDE = (
    f"(SELECT {_coded('reading.at_ms', 'reading')} FROM reading"
    " WHERE reading.account_no = :account_no AND reading.grinder_no = asked.grinder_no"
    " AND reading.at_ms = (SELECT last.at_ms FROM reading AS last"
    " WHERE last.account_no = :account_no AND last.grinder_no = asked.grinder_no"
    " AND last.at_ms > :from_ms AND last.at_ms <= :at_ms AND last.motor_decicelsius IS NOT NULL"
    f" AND last.voided_ms IS NULL AND last.time_source <> {RECEIVED}"
    " ORDER BY last.at_ms DESC LIMIT 1)"
    " AND reading.motor_decicelsius IS NOT NULL AND reading.voided_ms IS NULL"
    f" AND reading.time_source <> {RECEIVED})"
)
_MOTORS = Many(
    f"SELECT asked.grinder_no, {_AT_END} AS at_end, {_BESIDE} AS beside FROM {{asked}}",
    asked=("grinder_no",),
)
_LANDMARKS = Many(
    "SELECT asked.grinder_no, kept.revision, kept.archived_before AS archived_ms, kept.is_shared,"
    " kept.early_revision,"
    f" (SELECT run.started_ms{_RUNS} AND run.time_source <> {RECEIVED}"
    " ORDER BY run.started_ms LIMIT 1) AS first_ms,"
    f" (SELECT run.started_ms{_RUNS} AND run.started_ms < :end_ms"
    " ORDER BY run.started_ms DESC LIMIT 1) AS last_ms,"
    # a run that ends later than the last one begun lasts into it: it began not long before
    f" {_AT_END} AS at_end, {_BESIDE} AS beside,"
    " EXISTS (SELECT 1 FROM watched WHERE watched.account_no = :account_no"
    " AND watched.grinder_no = asked.grinder_no AND watched.from_ms <= :at_ms) AS is_watched,"
    " EXISTS (SELECT 1 FROM run AS later WHERE later.account_no = :account_no"
    " AND later.grinder_no = asked.grinder_no AND later.started_ms >= :end_ms) AS goes_on,"
    " EXISTS (SELECT 1 FROM entry WHERE entry.account_no = :account_no"
    f" AND entry.grinder_no = asked.grinder_no AND entry.kind = {CHECKPOINT}"
    " AND entry.from_ms <= :at_ms AND entry.voided_at IS NULL) AS has_checkpoints"
    " FROM {asked} LEFT JOIN grinder_state AS kept"
    " ON kept.account_no = :account_no AND kept.grinder_no = asked.grinder_no",
    asked=("grinder_no",),
)
