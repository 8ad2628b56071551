"""A motor's model, put together from runs, readings, care and the plate; memos change nothing."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Any

import pytest
from sqlalchemy import delete, select

from burrline_service.actions import (
    entries,
    ingest,
    motor_fitting,
    motor_report,
    places,
    readings,
    run_readiness,
)
from burrline_service.core.entered import Reading
from burrline_service.core.motor_answers import MotorReport, RunReadiness
from burrline_service.core.records import Caller, Run
from burrline_service.store.database import Connection, Database
from burrline_service.store.motor_tables import motor_fit
from small_chain import DAY, HOUR, MINUTE, NOW, SECOND, a_run, new_chain, send
from warm_motors import TRUE_MOTOR, rest_readings, true_celsius, warm_runs, working_spans

MOTOR = {"sensor": "housing", "caution_celsius": 80.0, "limit_celsius": 125.0}
UNTIL = NOW - 13 * MINUTE
SPANS = working_spans(UNTIL, days=3)
RUNS = warm_runs(SPANS)


def told(
    database: Database, caller: Caller, runs: list[Run] = RUNS, reads: list[Reading] | None = None
) -> None:
    assert set(send(database, caller, runs)) == {"accepted"}
    if reads:
        readings.add_readings(database, caller, sent=reads, now=NOW)


def motor(database: Database, caller: Caller, **asked: Any) -> MotorReport:
    asked = {"now": NOW, **asked}
    return motor_report.get_motor(database, caller, grinder_id="bar-1", **asked)


def ready(database: Database, caller: Caller, seconds: float, **asked: Any) -> RunReadiness:
    asked = {"now": NOW, **asked}
    return run_readiness.get_readiness(
        database, caller, grinder_id="bar-1", run_seconds=seconds, **asked
    )


def memos(database: Database, caller: Caller) -> list[tuple[int, str]]:
    def work(connection: Connection) -> list[tuple[int, str]]:
        rows = connection.execute(select(motor_fit.c.fitted_ms, motor_fit.c.fit))
        return [(row.fitted_ms, row.fit) for row in rows]

    return database.read(caller.account_no, work)


def forget(database: Database, caller: Caller) -> None:
    motor_fitting.REMEMBERED.clear()
    database.write(caller.account_no, lambda connection: connection.execute(delete(motor_fit)))


# --- what it tells ------------------------------------------------------------------------------


def test_the_hidden_motor_is_found_within_its_intervals(database: Database) -> None:
    caller = new_chain(database, motor=MOTOR)
    told(database, caller)
    found = motor(database, caller, run_seconds=120.0)
    assert (found.model, found.body, found.ambient_source) == ("identified", "housing", "estimated")
    for name in (
        "rise_kelvin",
        "heating_time_constant_seconds",
        "cooling_time_constant_seconds",
        "ambient_celsius",
    ):
        limits, true = getattr(found.parameters, name), getattr(TRUE_MOTOR, name)
        assert limits.low < limits.best < limits.high
        assert limits.best == pytest.approx(true, rel=0.15)
    assert found.estimate_celsius == pytest.approx(true_celsius(SPANS, NOW), abs=2.0)
    assert found.low_celsius is not None
    assert found.low_celsius < found.estimate_celsius
    assert (found.reading_count, found.used_count) == (len(RUNS), len(RUNS))
    assert found.fitted_at == found.read_at
    assert found.longest_run_seconds == max(seconds for _, seconds in SPANS)
    assert found.valid_up_to_seconds == pytest.approx(1.5 * found.longest_run_seconds, abs=0.001)
    assert (found.limit_celsius, found.suspected_trip) == (125.0, None)
    assert found.seconds_to_limit is not None
    assert found.sustainable_duty_fraction is not None
    assert found.rest_seconds == 0.0
    assert "125" in found.sentence
    assert all(caution.text and caution.source for caution in found.cautions)


def test_without_readings_nothing_is_claimed(database: Database) -> None:
    caller = new_chain(database)
    send(database, caller, [a_run(1, NOW - HOUR)])
    found = motor(database, caller)
    assert (found.model, found.body, found.reading_count) == ("insufficient", "unknown", 0)
    assert found.estimate_celsius is None
    assert found.reading_celsius is None
    assert found.limit_celsius is None
    assert found.fitted_at is None
    assert "No temperature limit" in found.sentence


def test_a_housing_is_not_held_to_the_windings_class(database: Database) -> None:
    caller = new_chain(database, motor={"sensor": "housing", "thermal_class": 155})
    told(database, caller)
    assert motor(database, caller).limit_celsius is None
    assert ready(database, caller, 60.0).limited_by == "no_limit_known"
    winding = new_chain(database, motor={"sensor": "winding", "thermal_class": 155})
    told(database, winding)
    found = motor(database, winding)
    assert (found.body, found.limit_celsius) == ("winding", 155.0)


def test_measured_ambient_says_so_also_when_it_was_read_long_ago(database: Database) -> None:
    caller = new_chain(database, motor=MOTOR)
    room = [
        replace(run, ambient_celsius=22.0) if index < len(RUNS) // 2 else run
        for index, run in enumerate(RUNS)
    ]
    told(database, caller, room)
    for at in (NOW, NOW + 26 * HOUR):
        found = motor(database, caller, now=at)
        assert found.ambient_source == "measured"
        assert found.estimate_celsius == pytest.approx(true_celsius(SPANS, at), abs=2.5)


def test_readings_between_runs_count(database: Database) -> None:
    caller = new_chain(database, motor=MOTOR)
    reads = [one for one in rest_readings(SPANS) if one.at is not None and one.at < NOW]
    told(database, caller, reads=reads)
    assert motor(database, caller).reading_count == len(RUNS) + len(reads)


# --- segments -----------------------------------------------------------------------------------


def care(database: Database, caller: Caller, task: str, at: datetime) -> str:
    fields = {"task": task, "at": at}
    entry, _ = entries.record_care(database, caller, grinder_id="bar-1", fields=fields, now=NOW)
    return entry.care_id


@pytest.mark.parametrize("task", ["motor_replaced", "vents_cleaned"])
def test_another_motor_or_other_cooling_begins_anew(database: Database, task: str) -> None:
    caller = new_chain(database, motor=MOTOR)
    told(database, caller)
    before = motor(database, caller)
    since = UNTIL - DAY - 12 * HOUR
    care_id = care(database, caller, task, since)
    found = motor(database, caller)
    assert (found.segment.started_at, found.segment.reason) == (since, task)
    assert found.reading_count == sum(at > since for at, _ in SPANS) < before.reading_count
    assert motor(database, caller, as_of=since - SECOND).segment.reason is None
    entries.void_care(database, caller, care_id=care_id, now=NOW)
    assert motor(database, caller) == before


def test_care_after_the_last_reading_leaves_nothing_to_go_by(database: Database) -> None:
    caller = new_chain(database, motor=MOTOR)
    told(database, caller)
    care(database, caller, "motor_replaced", NOW - SECOND)
    found = motor(database, caller)
    assert (found.model, found.reading_count, found.estimate_celsius) == ("insufficient", 0, None)


def test_a_changed_plate_begins_anew_and_a_completed_one_does_not(database: Database) -> None:
    caller = new_chain(database, motor=MOTOR)
    told(database, caller)

    def change(**fields: Any) -> None:
        places.update_grinder(
            database, caller, grinder_id="bar-1", fields=fields, if_match=frozenset({-1}), now=NOW
        )

    at = UNTIL - DAY
    change(motor={"thermal_class": 155, "limit_celsius": 120.0}, effective_at=at)
    change(serial="M-17", effective_at=at)
    assert motor(database, caller).segment.reason is None
    change(serial="M-18", effective_at=at + HOUR)
    found = motor(database, caller)
    assert (found.segment.started_at, found.segment.reason) == (at + HOUR, "plate_changed")


# --- memos --------------------------------------------------------------------------------------


def test_with_and_without_a_memo_the_answer_is_the_same_to_the_last_bit(
    database: Database,
) -> None:
    caller = new_chain(database, motor=MOTOR)
    told(database, caller)
    fresh = motor(database, caller)
    (kept,) = memos(database, caller)
    assert repr(motor(database, caller)) == repr(fresh)
    motor_fitting.REMEMBERED.clear()
    assert repr(motor(database, caller)) == repr(fresh)
    assert memos(database, caller) == [kept]
    readiness = ready(database, caller, 120.0)
    forget(database, caller)
    assert repr(ready(database, caller, 120.0)) == repr(readiness)
    assert memos(database, caller) == [kept]


def test_a_memo_that_is_wrong_would_be_seen(database: Database) -> None:
    """What is kept is what is used: so that the test above does not pass by accident."""
    caller = new_chain(database, motor=MOTOR)
    told(database, caller)
    fresh = motor(database, caller)
    head = "1 housing\n"

    def spoil(connection: Connection) -> None:
        (text,) = connection.execute(select(motor_fit.c.fit)).one()
        assert text.startswith(head)
        spoiled = text.replace('"reading_count":', '"reading_count":1')
        connection.execute(motor_fit.update().values(fit=spoiled))

    database.write(caller.account_no, spoil)
    assert motor(database, caller) == fresh  # this process remembers what was true
    motor_fitting.REMEMBERED.clear()
    assert motor(database, caller).reading_count != fresh.reading_count


@pytest.mark.parametrize("text", ["", "1 housing\n{}", "1 housing\nspoiled", "0 housing\n{}"])
def test_a_memo_that_cannot_be_read_is_worked_out_anew(database: Database, text: str) -> None:
    caller = new_chain(database, motor=MOTOR)
    told(database, caller)
    fresh = motor(database, caller)
    database.write(
        caller.account_no,
        lambda connection: connection.execute(motor_fit.update().values(fit=text)),
    )
    motor_fitting.REMEMBERED.clear()
    assert motor(database, caller) == fresh


def test_late_runs_voids_and_corrections_outdate_a_memo(database: Database) -> None:
    caller = new_chain(database, motor=MOTOR)
    late, others = RUNS[10], [run for run in RUNS if run is not RUNS[10]]
    told(database, caller, others)
    first = motor(database, caller)
    told(database, caller, [late])
    second = motor(database, caller)
    assert second.reading_count == first.reading_count + 1
    ingest.void_run(database, caller, run_id=late.run_id, now=NOW)
    assert motor(database, caller) == first
    fields = {"grinder_id": "bar-1", "from_at": UNTIL - DAY, "to_at": UNTIL, "reason": "a cup"}
    correction, _ = entries.add_correction(
        database, caller, fields={**fields, "is_void": True}, now=NOW
    )
    assert motor(database, caller).reading_count < first.reading_count
    entries.revoke_correction(database, caller, correction_id=correction.correction_id, now=NOW)
    assert motor(database, caller) == first


def test_a_fresh_run_leaves_the_memo_and_changes_the_estimate(database: Database) -> None:
    caller = new_chain(database, motor=MOTOR)
    told(database, caller)
    before = motor(database, caller, now=NOW + 8 * MINUTE)
    kept = memos(database, caller)
    run = a_run(7000, NOW + 2 * MINUTE, seconds=300.0)
    send(database, caller, [run], now=NOW + 8 * MINUTE)
    after = motor(database, caller, now=NOW + 8 * MINUTE)
    assert memos(database, caller) == kept
    assert after.fitted_at == before.fitted_at
    assert after.estimate_celsius is not None
    assert before.estimate_celsius is not None
    assert after.estimate_celsius > before.estimate_celsius + 10.0


# --- past instants ------------------------------------------------------------------------------


def test_a_past_instant_is_answered_as_by_a_service_that_knew_no_more(database: Database) -> None:
    at = NOW - DAY - 5 * HOUR
    caller, alone = (new_chain(database, motor=MOTOR) for _ in range(2))
    reads = [one for one in rest_readings(SPANS) if one.at is not None and one.at < NOW]
    told(database, caller, RUNS[::-1], reads)
    care(database, caller, "vents_cleaned", at + MINUTE)
    voided = RUNS[5]
    ingest.void_run(database, caller, run_id=voided.run_id, now=NOW)
    begun = [run for run in RUNS if run.started_at is not None and run.started_at <= at]
    told(
        database,
        alone,
        [run for run in begun if run is not voided],
        [one for one in reads if one.at is not None and one.at <= at],
    )
    slow_clock = {"grinder_id": "bar-1", "reason": "its clock was slow", "from_at": at - 3 * HOUR}
    for one in (caller, alone):
        fields = {**slow_clock, "to_at": at - 2 * HOUR, "clock_offset_seconds": 45.0}
        entries.add_correction(database, one, fields=fields, now=NOW)
    for back in (0.0, 3.0, 11.0, 250.0):
        instant = at - back * MINUTE
        found, expected = (motor(database, one, as_of=instant) for one in (caller, alone))
        assert repr(found) == repr(expected)
        found, expected = (ready(database, one, 90.0, as_of=instant) for one in (caller, alone))
        assert repr(found) == repr(expected)
    assert found.as_of == instant


def test_a_run_in_progress_is_cut_and_its_reading_not_known_yet(database: Database) -> None:
    caller = new_chain(database, motor=MOTOR)
    told(database, caller)
    told(database, caller, [a_run(1, NOW - 2 * MINUTE, seconds=600.0, motor_celsius=99.0)])
    found = motor(database, caller)
    assert found.reading_celsius != 99.0
    spans = [*SPANS, (NOW - 2 * MINUTE, 600.0)]
    assert found.estimate_celsius == pytest.approx(true_celsius(spans, NOW), abs=2.5)


# --- trips --------------------------------------------------------------------------------------


def hot_stop(database: Database, caller: Caller) -> None:
    """A long run that ends over the limit, a silence of 15 min, and a restart."""
    hot = a_run(1, NOW - HOUR, seconds=600.0, motor_celsius=128.0)
    told(database, caller, [hot, a_run(2, NOW - 35 * MINUTE, seconds=90.0, motor_celsius=110.0)])


def test_a_suspected_trip_holds_until_somebody_looked(database: Database) -> None:
    duty = {"kind": "intermittent", "duty_fraction": 0.6}
    caller = new_chain(database, motor=MOTOR, rated_duty=duty)
    hot_stop(database, caller)
    found = motor(database, caller).suspected_trip
    assert found is not None
    assert (found.stopped_at, found.restarted_at) == (NOW - 50 * MINUTE, NOW - 35 * MINUTE)
    assert found.stopped_celsius == 128.0
    suspected = ready(database, caller, 10.0)
    assert (suspected.state, suspected.limited_by) == ("unknown", "suspected_trip")
    assert suspected.longest_run_seconds is None

    care_id = care(database, caller, "trip_checked", NOW - MINUTE)
    assert motor(database, caller).suspected_trip is None
    assert ready(database, caller, 10.0).limited_by != "suspected_trip"
    assert ready(database, caller, 10.0, as_of=NOW - 2 * MINUTE).limited_by == "suspected_trip"
    entries.void_care(database, caller, care_id=care_id, now=NOW)
    assert repr(ready(database, caller, 10.0)) == repr(suspected)


def test_another_motor_is_not_suspected_for_the_one_before(database: Database) -> None:
    caller = new_chain(database, motor=MOTOR)
    hot_stop(database, caller)
    care(database, caller, "motor_replaced", NOW - 10 * MINUTE)
    assert motor(database, caller).suspected_trip is None


def test_a_fresh_reading_over_the_limit_is_waited_for_even_where_the_model_doubts_it(
    database: Database,
) -> None:
    caller = new_chain(database, motor={**MOTOR, "limit_celsius": 90.0})
    told(database, caller)
    assert ready(database, caller, 20.0).state == "ready"
    wild = Reading("bar-1", at=NOW - 2 * MINUTE, motor_celsius=93.0)
    readings.add_readings(database, caller, sent=[wild], now=NOW)
    found = ready(database, caller, 20.0)
    assert (found.state, found.limited_by) == ("wait", "temperature")
    assert found.wait_seconds is not None
    assert found.wait_seconds >= 13 * 60.0
    assert found.ready_at is not None
    assert ready(database, caller, 20.0, now=found.ready_at).state == "ready"
