"""A state row says when the past that kept fits know last changed."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select

from burrline_service.actions import entries, ingest, readings
from burrline_service.core.entered import Reading
from burrline_service.core.records import Caller
from burrline_service.store import early, motor_fits, sums
from burrline_service.store.database import Connection, Database
from burrline_service.store.tables import grinder_state
from burrline_service.store.types import to_milliseconds
from small_chain import MINUTE, NOW, SECOND, a_run, new_chain, send

STEP_MS = early.FIT_STEP_MS
BORDER_MS = 2_950_000 * STEP_MS


def revisions(database: Database, caller: Caller) -> tuple[int, int]:
    """(revision, early revision) of the only grinder."""

    def work(connection: Connection) -> Any:
        return connection.execute(
            select(grinder_state.c.revision, grinder_state.c.early_revision)
        ).one()

    revision, early_revision = database.read(caller.account_no, work)
    return revision, early_revision


@pytest.mark.parametrize(
    ("earliest_ms", "now_ms", "expected"),
    [
        (BORDER_MS, BORDER_MS, False),
        (BORDER_MS, BORDER_MS + STEP_MS - 1, False),
        (BORDER_MS - 1, BORDER_MS, True),
        (BORDER_MS, BORDER_MS + STEP_MS, True),
        (BORDER_MS + STEP_MS, BORDER_MS, False),
        (None, BORDER_MS, True),
        (BORDER_MS, None, True),
    ],
)
def test_what_lies_before_the_last_ten_minutes_is_early(
    earliest_ms: int | None, now_ms: int | None, expected: bool
) -> None:
    assert early.is_early(earliest_ms, now_ms) is expected


def test_a_late_run_is_early_and_a_fresh_one_is_not(database: Database) -> None:
    caller = new_chain(database)
    now = NOW + 5 * MINUTE
    send(database, caller, [a_run(1, NOW - MINUTE)], now=now)
    assert revisions(database, caller) == (1, 1)
    send(database, caller, [a_run(2, NOW + MINUTE)], now=now)
    assert revisions(database, caller) == (2, 1)
    send(database, caller, [a_run(3, NOW + MINUTE), a_run(4, NOW - SECOND)], now=now)
    assert revisions(database, caller) == (3, 3)


def test_the_first_run_of_all_may_be_a_fresh_one(database: Database) -> None:
    caller = new_chain(database)
    send(database, caller, [a_run(1, NOW)], now=NOW + MINUTE)
    assert revisions(database, caller) == (1, 0)


def test_readings_are_told_apart_in_the_same_way(database: Database) -> None:
    caller = new_chain(database)
    for at in (NOW + MINUTE, NOW - MINUTE, NOW + 2 * MINUTE):
        reading = Reading("bar-1", at=at, motor_celsius=40.0)
        readings.add_readings(database, caller, sent=[reading], now=NOW + 3 * MINUTE)
    assert revisions(database, caller) == (3, 2)


def test_voids_entries_and_corrected_runs_count_as_early(database: Database) -> None:
    caller = new_chain(database)
    now = NOW + 5 * MINUTE
    send(database, caller, [a_run(1, NOW + MINUTE)], now=now)
    ingest.void_run(database, caller, run_id="run-00000001", now=now)
    assert revisions(database, caller) == (2, 2)
    moved = {"grinder_id": "bar-1", "from_at": NOW - MINUTE, "reason": "its clock ran ahead"}
    fields = {**moved, "clock_offset_seconds": -600.0}
    entries.add_correction(database, caller, fields=fields, now=now)
    assert revisions(database, caller) == (3, 3)
    send(database, caller, [a_run(2, NOW + 2 * MINUTE)], now=now)  # which is put at 11:52
    assert revisions(database, caller) == (4, 4)


def test_a_kept_fit_holds_until_the_past_changes(database: Database) -> None:
    caller = new_chain(database)
    now = NOW + 5 * MINUTE
    send(database, caller, [a_run(1, NOW - MINUTE)], now=now)
    (grinder_no,) = _numbers(database, caller)
    window = {"fitted_ms": to_milliseconds(NOW), "from_ms": 5}

    def put(connection: Connection) -> None:
        motor_fits.put(connection, caller.account_no, grinder_no, **window, revision=1, fit="{}")

    def kept(**changed: int) -> str | None:
        return database.read(
            caller.account_no,
            lambda connection: motor_fits.kept(
                connection, caller.account_no, grinder_no, **{**window, **changed}
            ),
        )

    assert kept() is None
    assert database.write_if_free(caller.account_no, put)
    assert kept() == "{}"
    assert kept(from_ms=6) is None
    assert kept(fitted_ms=window["fitted_ms"] + 1) is None
    send(database, caller, [a_run(2, NOW)], now=now)
    assert kept() == "{}"
    send(database, caller, [a_run(3, NOW - timedelta(days=9))], now=now)
    assert kept() is None
    database.write_if_free(caller.account_no, put)  # of a revision that is outdated by now
    assert kept() is None


def test_what_may_be_left_out_is_not_written_while_somebody_writes(database: Database) -> None:
    caller = new_chain(database)
    send(database, caller, [a_run(1, NOW)])
    (grinder_no,) = _numbers(database, caller)
    done: list[bool] = []

    def touch(connection: Connection) -> None:
        sums.hold(connection, caller.account_no, [grinder_no])

    def work(connection: Connection) -> None:
        sums.hold(connection, caller.account_no, [grinder_no])
        done.append(database.write_if_free(caller.account_no, touch))

    database.write(caller.account_no, work)
    assert done == [False]
    assert database.write_if_free(caller.account_no, touch)


def _numbers(database: Database, caller: Caller) -> list[int]:
    return database.read(
        caller.account_no,
        lambda connection: list(connection.execute(select(grinder_state.c.grinder_no)).scalars()),
    )
