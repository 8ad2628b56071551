"""The forecast alert: lead before an overheat, silence over healthy motors, purity."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest

from burrline_service.actions import (
    alerting,
    entries,
    heating,
    ingest,
    motor_fitting,
    motor_now,
    places,
)
from burrline_service.core.answers import Alert
from burrline_service.core.records import Caller, Run
from burrline_service.store.database import Database
from small_chain import DAY, HOUR, MINUTE, NOW, new_chain, send, status
from warm_motors import warm_runs, working_spans

MOTOR = {"sensor": "housing", "limit_celsius": 95.0}
RUSH_AT = NOW - 3 * HOUR


def spans(*, with_rush: bool) -> list[tuple[datetime, float]]:
    """Four days of easy work; then, on the fifth, 150 s runs with rests of 30 s for an hour."""
    easy = working_spans(RUSH_AT - 10 * HOUR, days=4)
    rush = [(RUSH_AT + number * timedelta(seconds=180), 150.0) for number in range(20)]
    return [*easy, *rush] if with_rush else easy


RUNS = warm_runs(spans(with_rush=True))


def alerts(database: Database, caller: Caller, **asked: Any) -> list[Alert]:
    asked = {"grinder_id": "bar-1", "limit": 200, "position": None, "now": NOW, **asked}
    return list(alerting.list_alerts(database, caller, **asked).items)


def of_kind(kind: str, found: list[Alert]) -> list[Alert]:
    return [alert for alert in found if alert.kind == kind]


def test_an_overheat_is_told_before_it_happens(database: Database) -> None:
    caller = new_chain(database, motor=MOTOR)
    send(database, caller, RUNS)
    (heating,) = of_kind("motor_heating", alerts(database, caller))
    overheat = of_kind("motor_overheat", alerts(database, caller))[-1]
    assert heating.severity == "caution"
    lead_seconds = (overheat.opened_at - heating.opened_at).total_seconds()
    assert 60.0 < lead_seconds < 900.0
    assert heating.facts["limit_celsius"] == 95.0
    told_seconds, probability = heating.facts["lead_seconds"], heating.facts["reach_probability"]
    assert told_seconds is not None
    assert probability is not None
    assert 0 < told_seconds <= 600.0
    assert 0 < probability <= 1.0
    assert heating.closed_at is not None


def test_it_is_open_at_its_time_and_so_in_a_status(database: Database) -> None:
    caller = new_chain(database, motor=MOTOR)
    send(database, caller, RUNS)
    (told,) = of_kind("motor_heating", alerts(database, caller))
    at = told.opened_at + MINUTE
    (open_one,) = of_kind("motor_heating", alerts(database, caller, as_of=at, state="open"))
    assert (open_one.opened_at, open_one.closed_at) == (told.opened_at, None)
    kinds = {alert.kind: alert.opened_at for alert in status(database, caller, as_of=at).alerts}
    assert kinds["motor_heating"] == told.opened_at
    before = status(database, caller, as_of=told.opened_at - timedelta(milliseconds=1))
    assert "motor_heating" not in {alert.kind for alert in before.alerts}


def test_a_healthy_motor_is_left_in_peace(database: Database) -> None:
    caller = new_chain(database, motor={"sensor": "housing", "limit_celsius": 110.0})
    send(database, caller, warm_runs(spans(with_rush=False)))
    assert of_kind("motor_heating", alerts(database, caller)) == []


def test_without_a_limit_nothing_is_forecast(database: Database) -> None:
    caller = new_chain(database, motor={"sensor": "housing", "thermal_class": 155})
    send(database, caller, RUNS)
    assert of_kind("motor_heating", alerts(database, caller)) == []


def test_another_motor_is_not_forecast_by_the_one_before(database: Database) -> None:
    caller = new_chain(database, motor=MOTOR)
    send(database, caller, RUNS)
    fields = {"task": "motor_replaced", "at": RUSH_AT}
    entry, _ = entries.record_care(database, caller, grinder_id="bar-1", fields=fields, now=NOW)
    assert of_kind("motor_heating", alerts(database, caller)) == []
    entries.void_care(database, caller, care_id=entry.care_id, now=NOW)
    assert len(of_kind("motor_heating", alerts(database, caller))) == 1


def test_a_past_instant_is_answered_as_by_a_service_that_knew_no_more(database: Database) -> None:
    caller = new_chain(database, motor=MOTOR)
    send(database, caller, RUNS[::-1])
    (told,) = of_kind("motor_heating", alerts(database, caller))
    voided = RUNS[7]
    ingest.void_run(database, caller, run_id=voided.run_id, now=NOW)
    (told,) = of_kind("motor_heating", alerts(database, caller))
    for minutes in (-1.0, 0.0, 4.0, 11.0, 70.0):
        at = told.opened_at + minutes * MINUTE
        alone = new_chain(database, motor=MOTOR)
        send(database, alone, [run for run in _begun(at) if run is not voided])
        asked: dict[str, Any] = {"as_of": at, "from_at": at - DAY}
        assert alerts(database, caller, **asked) == alerts(database, alone, **asked)


def test_how_far_back_is_asked_changes_nothing(database: Database) -> None:
    caller = new_chain(database, motor=MOTOR)
    send(database, caller, RUNS)
    (told,) = of_kind("motor_heating", alerts(database, caller))
    assert told.closed_at is not None
    for from_at in (told.opened_at + MINUTE, told.closed_at, told.opened_at - 6 * HOUR):
        found = alerts(database, caller, from_at=from_at)
        assert of_kind("motor_heating", found) == [told]


def test_a_status_and_the_list_of_alerts_tell_the_same_at_any_instant(database: Database) -> None:
    caller = new_chain(database, motor=MOTOR)
    send(database, caller, RUNS)
    seen = set()
    for minutes in range(-5, 75, 4):
        at = RUSH_AT + minutes * MINUTE
        listed = {
            (alert.kind, alert.opened_at)
            for alert in alerts(database, caller, as_of=at, state="open")
        }
        shown = {
            (alert.kind, alert.opened_at) for alert in status(database, caller, as_of=at).alerts
        }
        assert shown == listed
        seen |= {kind for kind, _ in listed}
    assert "motor_heating" in seen


def forget() -> None:
    for memory in (heating.JUDGED, motor_fitting.REMEMBERED, motor_now.HEATS):
        memory.clear()  # type: ignore[attr-defined]


def test_what_was_judged_before_is_remembered_only_while_its_facts_stand(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    caller = new_chain(database, motor=MOTOR)
    late, rest = RUNS[-12], [run for run in RUNS if run is not RUNS[-12]]
    send(database, caller, rest)
    count = 0
    real = heating.judge_heating

    def counted(*args: Any, **more: Any) -> Any:
        nonlocal count
        judged = real(*args, **more)
        count += sum(
            one.limit_celsius is not None and one.at_ms not in more["kept"] for one in judged
        )
        return judged

    monkeypatch.setattr(heating, "judge_heating", counted)

    def changes() -> Any:
        yield
        yield send(database, caller, [late])
        yield ingest.void_run(database, caller, run_id=RUNS[-15].run_id, now=NOW)
        fields = {"task": "vents_cleaned", "at": RUSH_AT - DAY}
        entry, _ = entries.record_care(database, caller, grinder_id="bar-1", fields=fields, now=NOW)
        yield entry
        yield entries.void_care(database, caller, care_id=entry.care_id, now=NOW)
        plate = {"motor": {**MOTOR, "limit_celsius": 99.0}, "effective_at": RUSH_AT + 30 * MINUTE}
        yield places.update_grinder(
            database, caller, grinder_id="bar-1", fields=plate, if_match=frozenset({-1}), now=NOW
        )

    told = []
    for _ in changes():
        remembered = [alerts(database, caller), alerts(database, caller, as_of=NOW - 2 * HOUR)]
        before = count
        assert alerts(database, caller) == remembered[0]
        assert count == before  # nothing was judged again
        forget()
        assert [
            alerts(database, caller), alerts(database, caller, as_of=NOW - 2 * HOUR)
        ] == remembered  # fmt: skip
        told.append(remembered)
    assert len({repr(one) for one in told}) >= 4


def _begun(at: datetime) -> list[Run]:
    return [run for run in RUNS if run.started_at is not None and run.started_at <= at]
