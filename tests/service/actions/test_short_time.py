"""A short-time rating that names no rest asks for a cold motor, with a sensor or without."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from burrline_service.actions import duty_report, run_readiness
from burrline_service.core.motor_answers import RunReadiness
from burrline_service.core.records import Caller
from burrline_service.store.database import Database
from small_chain import DAY, HOUR, MINUTE, NOW, a_run, new_chain, send

PLATE = {"rated_duty": {"kind": "short_time", "on_seconds": 300.0}}


def ready(database: Database, caller: Caller, seconds: float, **asked: Any) -> RunReadiness:
    asked = {"now": NOW, **asked}
    return run_readiness.get_readiness(
        database, caller, grinder_id="bar-1", run_seconds=seconds, **asked
    )


def longest(database: Database, caller: Caller, **asked: Any) -> float | None:
    asked = {"now": NOW, **asked}
    return duty_report.get_duty(database, caller, grinder_id="bar-1", **asked).longest_run_seconds


def chain(database: Database, *runs: tuple[timedelta, float]) -> Caller:
    caller = new_chain(database, **PLATE)
    sent = [a_run(0, NOW - 5 * DAY)]
    sent += [
        a_run(number, NOW - before, seconds=seconds)
        for number, (before, seconds) in enumerate(runs, 1)
    ]
    assert set(send(database, caller, sent)) == {"accepted"}
    return caller


def test_the_first_run_of_the_day_may_last_as_long_as_the_plate_says(database: Database) -> None:
    caller = chain(database, (14 * HOUR, 200.0))
    found = ready(database, caller, 300.0)
    assert (found.state, found.limited_by, found.longest_run_seconds) == ("ready", None, 300.0)
    assert longest(database, caller) == 300.0
    assert (ready(database, caller, 301.0).state, ready(database, caller, 301.0).limited_by) == (
        "never", "duty",
    )  # fmt: skip


@pytest.mark.parametrize(
    "before", [timedelta(seconds=200), timedelta(minutes=11), timedelta(hours=7)]
)
def test_runs_since_the_last_long_rest_are_counted_together(
    database: Database, before: timedelta
) -> None:
    caller = chain(database, (20 * HOUR, 280.0), (before, 180.0))
    assert ready(database, caller, 120.0).state == "ready"
    assert longest(database, caller) == 120.0
    found = ready(database, caller, 121.0)
    assert (found.state, found.limited_by, found.longest_run_seconds) == ("unknown", "duty", 120.0)
    assert "of rest it is taken for cold" in found.sentence
    rested = NOW - before + timedelta(seconds=180) + 8 * HOUR
    assert ready(database, caller, 300.0, now=rested - MINUTE).state == "unknown"
    assert ready(database, caller, 300.0, now=rested).state == "ready"


def test_time_that_nobody_knows_is_no_rest(database: Database) -> None:
    caller = new_chain(database, **PLATE)
    assert (ready(database, caller, 10.0).state, longest(database, caller)) == ("unknown", None)
    send(database, caller, [a_run(1, NOW - 2 * HOUR)])  # what was before it, nobody told
    found = ready(database, caller, 10.0)
    assert (found.state, found.limited_by) == ("unknown", "duty")
    assert "only if the motor stood in unknown time; after 6 h 8 s of rest" in found.sentence
    assert longest(database, caller) is None
    later = NOW + 6 * HOUR + 8 * timedelta(seconds=1)
    assert ready(database, caller, 300.0, now=later).state == "ready"
