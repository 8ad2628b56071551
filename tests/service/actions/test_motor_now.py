"""The motor in a status is that of the motor's own answer, whatever this process remembers."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from burrline_service.actions import (
    entries,
    ingest,
    motor_fitting,
    motor_now,
    motor_report,
    places,
    readings,
    run_readiness,
)
from burrline_service.core.entered import Reading
from burrline_service.core.records import Caller, Run
from burrline_service.store.database import Database
from small_chain import HOUR, MINUTE, NOW, SECOND, a_run, new_chain, send, status, status_text
from warm_motors import warm_runs, working_spans

MOTOR = {"sensor": "housing", "caution_celsius": 80.0, "limit_celsius": 125.0}
RUNS = warm_runs(working_spans(NOW - 13 * MINUTE, days=3))
TOLD_BY_BOTH = (
    "model", "estimate_celsius", "low_celsius", "high_celsius", "limit_celsius",
    "seconds_to_limit", "rest_seconds", "caution_celsius",
)  # fmt: skip


def chain(database: Database) -> Caller:
    caller = new_chain(database, motor=MOTOR)
    assert set(send(database, caller, RUNS)) == {"accepted"}
    return caller


def forget() -> None:
    motor_fitting.REMEMBERED.clear()
    motor_now.HEATS.clear()


def agreed(
    database: Database, caller: Caller, at: datetime, *, as_of: datetime | None = None
) -> Any:
    """The motor of a status, the same with memory and without, and as ``get_motor`` says."""
    asked: dict[str, Any] = {"now": at, "as_of": as_of}
    with_memory = status(database, caller, **asked)
    report = motor_report.get_motor(database, caller, grinder_id="bar-1", **asked)
    forget()
    without = status(database, caller, **asked)
    assert status_text(with_memory) == status_text(without)
    for name in TOLD_BY_BOTH:
        assert getattr(without.motor, name) == getattr(report, name), name
    return without.motor


def warmed(database: Database, caller: Caller, *instants: datetime, now: datetime) -> None:
    """Ask for these instants, so that this process remembers what holds at them."""
    forget()
    for at in instants:
        status(database, caller, now=now, as_of=at)


def test_a_resting_motor_cools_alike_with_and_without_memory(database: Database) -> None:
    caller = chain(database)
    seen = []
    for minutes in range(24):
        at = NOW + minutes * MINUTE + timedelta(milliseconds=37 * minutes)
        status(database, caller, now=at - 20 * SECOND)
        seen.append(agreed(database, caller, at).estimate_celsius)
        status(database, caller, now=at)
    assert seen == sorted(seen, reverse=True)
    assert seen[0] > seen[-1]


def test_a_day_later_and_at_its_edges_memory_changes_nothing(database: Database) -> None:
    caller = chain(database)
    last = max(
        run.started_at + timedelta(seconds=run.seconds or 0)
        for run in RUNS
        if run.started_at is not None
    )
    for offset in (-61 * SECOND, -SECOND, timedelta(0), SECOND, 3 * MINUTE, 11 * MINUTE):
        at = last + 24 * HOUR + offset
        status(database, caller, now=at - 30 * SECOND)
        agreed(database, caller, at)


def test_a_run_told_ahead_of_the_clock_warms_the_motor_once_it_began(database: Database) -> None:
    caller = chain(database)
    at = NOW + MINUTE
    ahead = a_run(1, at + 2 * MINUTE, seconds=300.0, grams=None)
    assert send(database, caller, [ahead], now=at) == ["accepted"]
    before = agreed(database, caller, at)
    status(database, caller, now=at)
    later = agreed(database, caller, at + 7 * MINUTE)
    assert later.estimate_celsius > before.estimate_celsius + 10.0
    running = agreed(database, caller, at + 4 * MINUTE)
    assert before.estimate_celsius < running.estimate_celsius < later.estimate_celsius


def test_a_run_in_progress_is_followed_to_its_end_and_beyond(database: Database) -> None:
    caller = chain(database)
    start = NOW + MINUTE
    send(database, caller, [a_run(1, start, seconds=240.0, grams=None)], now=start + 5 * MINUTE)
    asked = [start + seconds * SECOND for seconds in (-30, 0, 1, 120, 239, 240, 241, 400, 120, -30)]
    warmed(database, caller, *asked, now=NOW + HOUR)
    for at in asked:
        agreed(database, caller, NOW + HOUR, as_of=at)
        status(database, caller, now=NOW + HOUR, as_of=at)


CHANGED_AT = NOW + 4 * MINUTE


def set_limit(database: Database, caller: Caller) -> None:
    fields = {"motor": {**MOTOR, "limit_celsius": 90.0}, "effective_at": CHANGED_AT}
    places.update_grinder(
        database,
        caller,
        grinder_id="bar-1",
        fields=fields,
        if_match=frozenset({-1}),
        now=NOW + HOUR,
    )


def set_serial(database: Database, caller: Caller) -> None:
    for serial, at in (("A1", NOW - 60 * HOUR), ("A2", CHANGED_AT)):
        places.update_grinder(
            database, caller, grinder_id="bar-1", if_match=frozenset({-1}), now=NOW + HOUR,
            fields={"serial": serial, "effective_at": at},
        )  # fmt: skip


def clean_vents(database: Database, caller: Caller) -> None:
    fields = {"task": "vents_cleaned", "at": CHANGED_AT}
    entries.record_care(database, caller, grinder_id="bar-1", fields=fields, now=NOW + HOUR)


def tell_that_it_runs(database: Database, caller: Caller) -> None:
    sent = [
        Reading("bar-1", at=CHANGED_AT + seconds * SECOND, is_running=True, run_id="open-run-1")
        for seconds in (0, 60)
    ]
    readings.add_readings(database, caller, sent=sent, now=NOW + HOUR)


def read_it(database: Database, caller: Caller) -> None:
    sent = [Reading("bar-1", at=CHANGED_AT, motor_celsius=41.0)]
    readings.add_readings(database, caller, sent=sent, now=NOW + HOUR)


def tell_a_late_run(database: Database, caller: Caller) -> None:
    send(database, caller, [a_run(9, CHANGED_AT, seconds=50.0)], now=NOW + HOUR)


def void_the_last_run(database: Database, caller: Caller) -> None:
    ingest.void_run(database, caller, run_id=RUNS[-1].run_id, now=NOW + HOUR)


def correct_the_clock(database: Database, caller: Caller) -> None:
    fields = {
        "grinder_id": "bar-1", "from_at": NOW - 2 * HOUR, "to_at": NOW,
        "clock_offset_seconds": -300.0, "reason": "the clock was fast",
    }  # fmt: skip
    entries.add_correction(database, caller, fields=fields, now=NOW + HOUR)


@pytest.mark.parametrize(
    "change",
    [
        set_limit, set_serial, clean_vents, tell_that_it_runs, read_it, tell_a_late_run,
        void_the_last_run, correct_the_clock,
    ],
)  # fmt: skip
def test_what_is_entered_later_counts_from_its_own_instant_on_whatever_is_remembered(
    database: Database, change: Any
) -> None:
    caller = chain(database)
    asked = [CHANGED_AT + seconds * SECOND for seconds in (-181, -1, 0, 1, 90, 300)]
    warmed(database, caller, *asked, now=NOW + HOUR)
    change(database, caller)
    for at in asked:
        agreed(database, caller, NOW + HOUR, as_of=at)
        warmed(database, caller, asked[0], now=NOW + HOUR)
        agreed(database, caller, NOW + HOUR, as_of=at)
        warmed(database, caller, *asked[::-1], now=NOW + HOUR)


def test_a_grinder_without_a_sensor_and_readings_is_not_looked_at(database: Database) -> None:
    caller = new_chain(database)
    send(database, caller, [a_run(1, NOW - HOUR)])
    assert status(database, caller).motor.model == "insufficient"
    assert agreed_nothing(database, caller)


def agreed_nothing(database: Database, caller: Caller) -> bool:
    report = motor_report.get_motor(database, caller, grinder_id="bar-1", now=NOW)
    return report.model == "insufficient" and report.estimate_celsius is None


def test_a_wild_room_sensor_does_not_make_memory_matter(database: Database) -> None:
    caller = new_chain(database, motor=MOTOR)
    room = [replace(run, ambient_celsius=22.0 + index % 3) for index, run in enumerate(RUNS)]
    send(database, caller, room)
    for at in (NOW, NOW + 2 * MINUTE, NOW + 25 * HOUR):
        assert isinstance(room[0], Run)
        status(database, caller, now=at - 10 * SECOND)
        agreed(database, caller, at)


@pytest.mark.parametrize("change", [set_serial, clean_vents])
def test_a_hot_reading_stands_when_the_motor_is_said_to_be_another(
    database: Database, change: Any
) -> None:
    caller = new_chain(database, motor=MOTOR)
    hot = replace(RUNS[-1], started_at=CHANGED_AT - 3 * MINUTE, seconds=60.0, motor_celsius=131.0)
    send(database, caller, [*RUNS[:-1], hot], now=NOW + HOUR)
    change(database, caller)
    asked: dict[str, Any] = {"as_of": CHANGED_AT + 2 * MINUTE, "now": NOW + HOUR}
    assert status(database, caller, **asked).motor.state == "over"
    report = motor_report.get_motor(database, caller, grinder_id="bar-1", **asked)
    assert (report.model, report.reading_celsius) == ("insufficient", 131.0)
    ready = run_readiness.get_readiness(
        database, caller, grinder_id="bar-1", run_seconds=20.0, **asked
    )
    assert (ready.state, ready.limited_by) == ("wait", "temperature")
