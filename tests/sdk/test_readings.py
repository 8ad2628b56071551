"""Readings sent by the SDK, times watched beside runs, and devices without a clock."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
import requests
import responses

from burrline import Client, errors, models
from fake_time import BEGINNING_AT, FakeTime

URL = "http://burrline.test:8460"
READINGS = f"{URL}/v1/readings"
UUID7 = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}")
COUNTS = {"accepted": 0, "duplicates": 0, "conflicts": 0, "rejected": 0, "problems": []}
ONE = {**COUNTS, "received": 1, "accepted": 1}


def sent(wire: responses.RequestsMock, index: int = -1) -> Any:
    return json.loads(wire.calls[index].request.body or b"")


def take_all(wire: responses.RequestsMock, path: str, member: str, most_lines: int) -> list[Any]:
    """Answers batches of at most so many lines; gives the bodies that were taken."""
    taken: list[Any] = []

    def answer(request: requests.PreparedRequest) -> tuple[int, dict[str, str], str]:
        body = json.loads(request.body or b"")
        lines = body[member]
        if len(lines) > most_lines:
            return (413, {}, json.dumps({"title": "Too large"}))
        taken.append(body)
        bad = [index for index, line in enumerate(lines) if line.get("motor_celsius") == 500]
        problems = [
            {
                "index": index,
                "reading_id": lines[index]["reading_id"],
                "outcome": "rejected",
                "errors": [
                    {"detail": "at most 400", "pointer": f"#/readings/{index}/motor_celsius"}
                ],
            }
            for index in bad
        ]
        counts = {"received": len(lines), "accepted": len(lines) - len(bad), "rejected": len(bad)}
        return (200, {}, json.dumps({**COUNTS, **counts, "problems": problems}))

    wire.add_callback("POST", path, answer, content_type="application/json")
    return taken


def test_one_reading_is_given_by_name_as_a_mapping_or_as_a_model(
    client: Client, wire: responses.RequestsMock
) -> None:
    wire.post(READINGS, json=ONE)
    told = {"grinder_id": "bar-1", "reading_id": "bar-1-t-01", "motor_celsius": 47.5}
    for given in (told, models.NewReading(**told)):  # type: ignore[arg-type]
        assert client.add_readings(given, is_running=False, at=BEGINNING_AT).accepted == 1
    client.add_readings(**told, is_running=False, at=BEGINNING_AT)  # type: ignore[arg-type]
    expected = {**told, "is_running": False, "at": "2026-03-01T09:30:00.000Z"}
    assert [sent(wire, index) for index in range(3)] == [expected] * 3


def test_a_reading_without_a_time_was_read_when_it_was_given(
    client: Client, wire: responses.RequestsMock, fake_time: FakeTime
) -> None:
    wire.post(READINGS, status=503)
    wire.post(READINGS, json=ONE)
    client.add_readings(grinder_id="bar-1", is_running=True)
    first, second = sent(wire, 0), sent(wire, 1)
    assert UUID7.fullmatch(first["reading_id"])
    assert first["reading_id"] == second["reading_id"]
    assert first["age_seconds"] == 0
    assert second["age_seconds"] == fake_time.passed_seconds > 0


def test_one_reading_that_is_refused_is_an_error_that_holds_it(
    client: Client, wire: responses.RequestsMock
) -> None:
    wire.post(READINGS, status=404, json={"title": "Nothing here"})
    with pytest.raises(errors.NotFound) as raised:
        client.add_readings(grinder_id="bar-9", reading_id="bar-9-t-01", motor_celsius=40, at=None)
    assert raised.value.remaining == (
        {"grinder_id": "bar-9", "reading_id": "bar-9-t-01", "motor_celsius": 40, "age_seconds": 0},
    )


def test_many_readings_go_in_pieces_and_places_count_over_all(
    client: Client, wire: responses.RequestsMock
) -> None:
    taken = take_all(wire, READINGS, "readings", most_lines=2)
    outcome = client.add_readings(
        {"grinder_id": "bar-1", "motor_celsius": 500 if number == 4 else 40, "age_seconds": number}
        for number in range(5)
    )
    assert (outcome.received, outcome.accepted, outcome.rejected) == (5, 4, 1)
    assert [len(body["readings"]) for body in taken] == [2, 1, 2]  # halves
    (problem,) = outcome.problems
    assert problem.index == 4
    assert problem.errors[0].pointer == "#/readings/4/motor_celsius"
    assert client.add_readings([]).received == 0


def test_a_reading_too_large_to_be_sent_at_all_is_rejected_alone(
    client: Client, wire: responses.RequestsMock
) -> None:
    take_all(wire, READINGS, "readings", most_lines=0)
    outcome = client.add_readings([{"grinder_id": "bar-1", "reading_id": "bar-1-t-01"}])
    assert (outcome.received, outcome.rejected) == (1, 1)
    assert outcome.problems[0].reading_id == "bar-1-t-01"


def test_values_by_name_do_not_go_with_many_readings(client: Client) -> None:
    with pytest.raises(ValueError, match="many readings"):
        client.add_readings([{"grinder_id": "bar-1", "motor_celsius": 40}], source="probe")


# --- watched times ------------------------------------------------------------------------------


def test_what_was_watched_goes_with_every_request_of_runs(
    client: Client, wire: responses.RequestsMock
) -> None:
    taken = take_all(wire, f"{URL}/v1/runs/batch", "runs", most_lines=2)
    since = BEGINNING_AT - timedelta(hours=2)
    runs = [{"grinder_id": "bar-1", "grams": 18, "age_seconds": number} for number in range(3)]
    client.add_runs(runs, watched_from=since, watched_until=BEGINNING_AT)
    beside = [{name: body[name] for name in body if name != "runs"} for body in taken]
    ends = {
        "watched_from": "2026-03-01T07:30:00.000Z",
        "watched_until": "2026-03-01T09:30:00.000Z",
    }
    assert beside == [ends] * 2


def test_nothing_ran_can_be_said_without_a_run(
    client: Client, wire: responses.RequestsMock
) -> None:
    taken = take_all(wire, f"{URL}/v1/runs/batch", "runs", most_lines=2)
    since = BEGINNING_AT - timedelta(hours=2)
    outcome = client.add_runs([], watched_from=since, watched_grinder_ids=["bar-1"])
    assert outcome.received == 0
    assert taken == [
        {
            "runs": [],
            "watched_from": "2026-03-01T07:30:00.000Z",
            "watched_until": "2026-03-01T09:30:00.000Z",  # now
            "watched_grinder_ids": ["bar-1"],
        }
    ]


# --- devices without a clock --------------------------------------------------------------------


def test_a_devices_boot_and_uptime_are_told_as_of_each_try(
    make_client: Callable[..., Client], wire: responses.RequestsMock, fake_time: FakeTime
) -> None:
    client = make_client(device_clock=lambda: ("17", 100 + fake_time.passed_seconds))
    wire.post(f"{URL}/v1/runs", status=503)
    wire.post(
        f"{URL}/v1/runs",
        status=201,
        json={"run_id": "bar-1-000017", "outcome": "accepted", "findings": []},
    )
    client.add_run(grinder_id="bar-1", grams=18, boot_id="17", uptime_seconds=90.5)
    assert [call.request.headers["X-Device-Boot"] for call in wire.calls] == ["17", "17"]
    uptimes = [float(call.request.headers["X-Device-Uptime"]) for call in wire.calls]
    assert uptimes == [100, round(100 + fake_time.passed_seconds, 3)]
    line = sent(wire)
    assert (line["boot_id"], line["uptime_seconds"]) == ("17", 90.5)
    assert "started_at" not in line


def test_nobody_else_is_told_of_the_devices_clock(
    make_client: Callable[..., Client], wire: responses.RequestsMock
) -> None:
    wire.get(f"{URL}/v1/sites", json={"items": [], "next_cursor": None})
    list(make_client(device_clock=lambda: ("17", 100.0)).list_sites())
    assert not {"X-Device-Boot", "X-Device-Uptime"} & set(wire.calls[0].request.headers)
