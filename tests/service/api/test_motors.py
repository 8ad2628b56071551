"""Duty, motor and readiness over HTTP: every answer is held to the document."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from answers import CheckedClient
from burrline_service.api.instants import instant_text
from conftest import Clock
from warm_motors import rest_readings, warm_runs, working_spans

TYPE = "urn:burrline:problem:"
PLATE = {
    "rated_duty": {"kind": "intermittent", "duty_fraction": 0.25},
    "motor": {"sensor": "housing", "caution_celsius": 80, "limit_celsius": 125},
}


@pytest.fixture
def client(http: CheckedClient, clock: Clock) -> CheckedClient:
    """A client of an account with ``bar-1``, which has a rating and a limit, and ``bar-2``."""
    site = {"site_id": "mill-lane", "name": "Mill Lane", "time_zone": "Europe/Oslo"}
    assert http.post("/v1/sites", json=site).status_code == 201
    for grinder_id, plate in (("bar-1", PLATE), ("bar-2", {})):
        grinder = {"grinder_id": grinder_id, "site_id": "mill-lane", "name": grinder_id, **plate}
        assert http.post("/v1/grinders", json=grinder).status_code == 201
    clock.pass_by(hours=9)
    return http


@pytest.fixture
def worked(client: CheckedClient, clock: Clock) -> CheckedClient:
    """The same after three days of runs of ``bar-1`` with readings, the last half an hour ago."""
    spans = working_spans(clock() - timedelta(minutes=30), days=3)
    lines = [
        {
            "run_id": run.run_id,
            "grinder_id": run.grinder_id,
            "started_at": instant_text(run.started_at or clock()),
            "seconds": run.seconds,
            "motor_celsius": run.motor_celsius,
        }
        for run in warm_runs(spans)
    ]
    assert client.post("/v1/runs/batch", json={"runs": lines}).json["accepted"] == len(lines)
    reads = [
        {
            "grinder_id": "bar-1",
            "at": instant_text(one.at),
            "motor_celsius": one.motor_celsius,
            "ambient_celsius": 22.0,
        }
        for one in rest_readings(spans)
        if one.at is not None and one.at < clock()
    ]
    answer = client.post("/v1/readings", json={"readings": reads})
    assert answer.json["accepted"] == len(reads)
    return client


def get(client: CheckedClient, path: str, status: int = 200) -> Any:
    answer = client.get(f"/v1/grinders/{path}")
    assert answer.status_code == status, answer.get_data(as_text=True)
    return answer.json


def parameters(answer: Any) -> list[str]:
    return [error["parameter"] for error in answer["errors"]]


def test_the_motor_of_a_well_read_grinder_is_identified(worked: CheckedClient) -> None:
    found = get(worked, "bar-1/motor?run_seconds=90")
    assert (found["model"], found["body"], found["run_seconds"]) == ("identified", "housing", 90)
    for name, limits in found["parameters"].items():
        assert limits["low"] < limits["best"] < limits["high"], name
    assert found["low_celsius"] < found["estimate_celsius"] < found["high_celsius"]
    assert found["ambient_source"] == "measured"
    assert found["suspected_trip"] is None
    assert found["cautions"]


def test_a_grinder_nobody_reads_says_so(client: CheckedClient) -> None:
    found = get(client, "bar-2/motor")
    assert (found["model"], found["body"]) == ("insufficient", "unknown")
    assert set(found["parameters"].values()) == {None}
    assert found["segment"] == {"started_at": None, "reason": None}
    assert (found["estimate_celsius"], found["limit_celsius"]) == (None, None)
    assert found["run_seconds"] == 60


def test_readiness_says_ready_wait_never_and_unknown(worked: CheckedClient, clock: Clock) -> None:
    found = get(worked, "bar-1/readiness?run_seconds=20")
    assert (found["state"], found["limited_by"], found["wait_seconds"]) == ("ready", None, 0)
    assert found["ready_at"] == found["as_of"]
    assert get(worked, "bar-1/readiness?run_seconds=150.5")["state"] == "never"
    run = {"run_id": "bar-1-late-1", "grinder_id": "bar-1", "age_seconds": 130, "seconds": 130}
    assert worked.post("/v1/runs", json=run).status_code == 201
    found = get(worked, "bar-1/readiness?run_seconds=30")
    assert (found["state"], found["limited_by"]) == ("wait", "duty")
    # 130 s ran until now: 10 s of them must have left the last ten minutes when 30 s are over
    assert found["wait_seconds"] == 600 - 130 + 10 - 30
    at = clock() + timedelta(seconds=found["wait_seconds"])
    assert found["ready_at"] == instant_text(at)
    found = get(worked, "bar-2/readiness?run_seconds=30")
    assert (found["state"], found["limited_by"]) == ("unknown", "no_limit_known")


@pytest.mark.parametrize(
    "query",
    ["", "run_seconds=", "run_seconds=0", "run_seconds=-5", "run_seconds=1e2", "run_seconds=nan",
     "run_seconds=21601", "run_seconds=+5", "run_seconds=%201", "run_seconds=1_0"],
)  # fmt: skip
def test_a_run_has_a_length_that_can_be(client: CheckedClient, query: str) -> None:
    assert parameters(get(client, f"bar-1/readiness?{query}", 422)) == ["run_seconds"]


def test_duty_of_a_stretch_is_told_by_the_sites_hours(worked: CheckedClient, clock: Clock) -> None:
    low, high = (instant_text(clock() - timedelta(hours=back)) for back in (3, 1))
    found = get(worked, f"bar-1/duty?from={low}&to={high}")
    assert (found["from"], found["to"], found["time_zone"]) == (low, high, "Europe/Oslo")
    assert (found["cycle_seconds"], found["rated_on_seconds"]) == (600, 150)
    assert found["coverage_fraction"] == 1
    assert 0 < found["rolling_maximum_on_seconds"] <= 600
    assert len(found["hours"]) == 2
    assert sum(hour["on_seconds"] for hour in found["hours"]) == pytest.approx(found["on_seconds"])
    day = get(worked, "bar-1/duty")
    assert day["to"] == day["as_of"]
    assert len(day["hours"]) == 24


def test_a_stretch_that_cannot_be_is_refused(client: CheckedClient, clock: Clock) -> None:
    now = instant_text(clock())
    assert parameters(get(client, f"bar-1/duty?from={now}&to={now}", 422)) == ["from"]
    early = instant_text(clock() - timedelta(days=93))
    assert parameters(get(client, f"bar-1/duty?from={early}", 422)) == ["from"]


@pytest.mark.parametrize("path", ["duty?", "motor?", "readiness?run_seconds=5&"])
def test_no_instant_to_come_and_no_grinder_that_is_not_there(
    client: CheckedClient, clock: Clock, path: str
) -> None:
    later = instant_text(clock() + timedelta(seconds=1))
    found = get(client, f"bar-1/{path}as_of={later}", 422)
    assert found["type"] == f"{TYPE}future-instant"
    assert get(client, f"bar-9/{path}", 404)["type"] == f"{TYPE}not-found"


def test_a_past_instant_can_be_asked_of_all_three(worked: CheckedClient, clock: Clock) -> None:
    at = instant_text(clock() - timedelta(hours=5))
    for path in ("duty?", "motor?", "readiness?run_seconds=5&"):
        answers = [worked.get(f"/v1/grinders/bar-1/{path}as_of={at}") for _ in range(2)]
        assert answers[0].json["as_of"] == at
        assert answers[0].get_data() == answers[1].get_data()


def test_a_suspected_trip_is_told_and_taken_away_by_care(
    client: CheckedClient, clock: Clock
) -> None:
    hot = {"run_id": "hot-run-1", "grinder_id": "bar-1", "age_seconds": 3600, "seconds": 600}
    after = {"run_id": "hot-run-2", "grinder_id": "bar-1", "age_seconds": 1800, "seconds": 60}
    assert client.post("/v1/runs", json={**hot, "motor_celsius": 128}).status_code == 201
    assert client.post("/v1/runs", json=after).status_code == 201
    found = get(client, "bar-1/readiness?run_seconds=5")
    assert (found["state"], found["limited_by"]) == ("unknown", "suspected_trip")
    trip = get(client, "bar-1/motor")["suspected_trip"]
    assert trip["stopped_celsius"] == 128
    care = {"care_id": "looked-at-it", "task": "trip_checked"}
    assert client.post("/v1/grinders/bar-1/care", json=care).status_code == 201
    assert get(client, "bar-1/motor")["suspected_trip"] is None
    assert client.post("/v1/care/looked-at-it/void").status_code == 200
    assert get(client, "bar-1/motor")["suspected_trip"] == trip
