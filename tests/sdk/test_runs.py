"""Runs sent by the SDK: what is filled in, how many go at once, what is left after a failure."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal
from typing import Any

import pytest
import requests
import responses

from burrline import Client, errors, models
from fake_time import BEGINNING_AT

URL = "http://burrline.test:8460"
BATCH = f"{URL}/v1/runs/batch"
UUID7 = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}")


def sent(wire: responses.RequestsMock, index: int = -1) -> Any:
    return json.loads(wire.calls[index].request.body or b"")


def a_run(number: int, **more: object) -> dict[str, object]:
    return {"run_id": f"bar-1-{number:06}", "grinder_id": "bar-1", "grams": 18.0, **more}


class Receiver:
    """Answers batches: refuses too many lines as told, rejects lines whose grams are negative."""

    def __init__(
        self, wire: responses.RequestsMock, *, most_lines: int = 10**9, too_much: object = 413
    ) -> None:
        self.most_lines, self.too_much = most_lines, too_much
        self.batches: list[list[dict[str, Any]]] = []
        self.sizes_bytes: list[int] = []
        self.tried_line_counts: list[int] = []
        wire.add_callback("POST", BATCH, self.answer, content_type="application/json")

    def answer(self, request: requests.PreparedRequest) -> tuple[int, dict[str, str], str]:
        content = request.body
        assert isinstance(content, bytes)
        runs = json.loads(content)["runs"]
        self.tried_line_counts.append(len(runs))
        if len(runs) > self.most_lines:
            if isinstance(self.too_much, Exception):
                raise self.too_much
            return (413, {}, json.dumps({"title": "Too large"}))
        self.sizes_bytes.append(len(content))
        self.batches.append(runs)
        bad = [index for index, run in enumerate(runs) if run["grams"] < 0]
        outcome = {
            "received": len(runs),
            "accepted": len(runs) - len(bad),
            "duplicates": 0,
            "conflicts": 0,
            "rejected": len(bad),
            "problems": [
                {
                    "index": index,
                    "run_id": runs[index]["run_id"],
                    "outcome": "rejected",
                    "errors": [
                        {"detail": "must be at least 0", "pointer": f"#/runs/{index}/grams"},
                        {"detail": "is wrong as a whole", "pointer": f"#/runs/{index}"},
                        {"detail": "has no place"},
                    ],
                }
                for index in bad
            ],
        }
        return (200, {}, json.dumps(outcome))


# --- one run ------------------------------------------------------------------------------------


def test_a_run_by_name_gets_an_id_and_the_time_it_must_have_begun(
    client: Client, wire: responses.RequestsMock
) -> None:
    outcome = {"run_id": "bar-1-000001", "outcome": "accepted", "findings": []}
    wire.post(f"{URL}/v1/runs", json=outcome, status=201)
    client.add_run(grinder_id="bar-1", grams=18.2, seconds=7.4, setting=5.0, motor_celsius=41.5)
    body = sent(wire)
    run_id = body.pop("run_id")
    assert UUID7.fullmatch(run_id)
    assert int(run_id.replace("-", "")[:12], 16) == int(BEGINNING_AT.timestamp() * 1000)
    assert body == {
        "grinder_id": "bar-1",
        "grams": 18.2,
        "seconds": 7.4,
        "setting": 5.0,
        "motor_celsius": 41.5,
        "started_at": "2026-03-01T09:29:52.600Z",
    }


def test_a_run_whose_length_is_unknown_began_now(
    client: Client, wire: responses.RequestsMock
) -> None:
    outcome = {"run_id": "bar-1-000001", "outcome": "accepted", "findings": []}
    wire.post(f"{URL}/v1/runs", json=outcome, status=201)
    client.add_run({"grinder_id": "bar-1", "grams": Decimal("18.2")})
    assert sent(wire)["started_at"] == "2026-03-01T09:30:00.000Z"
    assert sent(wire)["grams"] == 18.2


def test_a_run_may_be_a_mapping_a_model_or_names_and_stays_as_it_was(
    client: Client, wire: responses.RequestsMock
) -> None:
    outcome = {"run_id": "bar-1-000001", "outcome": "duplicate", "findings": []}
    wire.post(f"{URL}/v1/runs", json=outcome)
    started_at = datetime(2026, 2, 28, 23, 0, 0, 123456, tzinfo=timezone(timedelta(hours=-5)))
    brew = {"method": "espresso", "beverage_grams": 37.1}
    given: dict[str, Any] = {
        "run_id": "bar-1-000001",
        "grinder_id": "bar-1",
        "started_at": started_at,
        "seconds": 8,
        "brew": brew,
    }
    before = dict(given)
    model = models.NewRun(**{**given, "brew": models.BrewInput(**brew)})
    assert client.add_run(given).outcome == "duplicate"
    client.add_run(model)
    client.add_run(**given)
    client.add_run({"grinder_id": "elsewhere"}, **given)
    assert given == before
    bodies = [json.loads(call.request.body or b"") for call in wire.calls]
    assert bodies[0] == {
        "run_id": "bar-1-000001",
        "grinder_id": "bar-1",
        "started_at": "2026-03-01T04:00:00.123Z",
        "seconds": 8,
        "brew": brew,
    }
    assert bodies == [bodies[0]] * 4


def test_what_cannot_be_sent_is_refused_before_anything_is_sent(client: Client) -> None:
    with pytest.raises(ValueError, match="has no time zone"):
        client.add_run(grinder_id="bar-1", grams=18, started_at=datetime(2026, 3, 1))  # noqa: DTZ001
    with pytest.raises(ValueError, match="not a number that can be sent"):
        client.add_run(grinder_id="bar-1", grams=float("nan"))
    with pytest.raises(TypeError, match="bytes"):
        client.add_run({"grinder_id": b"bar-1"})


def test_a_run_that_failed_is_in_the_errors_remaining_with_its_id(
    make_client: Callable[..., Client], wire: responses.RequestsMock
) -> None:
    client = make_client(deadline_seconds=1)
    wire.post(f"{URL}/v1/runs", status=503)
    with pytest.raises(errors.ServerError) as raised:
        client.add_run(grinder_id="bar-1", grams=18.2)
    (line,) = raised.value.remaining
    assert line == sent(wire)
    receiver = Receiver(wire)
    client.add_runs(raised.value.remaining)
    assert receiver.batches == [[line]]


def test_another_run_under_the_same_id_is_a_conflict(
    client: Client, wire: responses.RequestsMock
) -> None:
    problem = {"type": "urn:burrline:problem:run-conflict", "title": "The run id has other content"}
    wire.post(f"{URL}/v1/runs", json=problem, status=409)
    with pytest.raises(errors.Conflict) as raised:
        client.add_run(a_run(1))
    assert raised.value.type == "urn:burrline:problem:run-conflict"


# --- many runs ----------------------------------------------------------------------------------


def test_no_runs_are_no_request(client: Client) -> None:
    outcome = client.add_runs([])
    assert (outcome.received, outcome.problems) == (0, ())


def test_many_runs_go_in_order_in_requests_of_bounded_lines_and_bytes(
    client: Client, wire: responses.RequestsMock
) -> None:
    receiver = Receiver(wire)
    short = [a_run(number) for number in range(11_001)]
    assert client.add_runs(iter(short)).accepted == 11_001
    assert max(map(len, receiver.batches)) <= 5000
    assert [run for batch in receiver.batches for run in batch] == short

    receiver.batches.clear()
    receiver.sizes_bytes.clear()
    long = [a_run(number, coffee_lot="ö" * 180) for number in range(4_000)]
    assert client.add_runs(long).accepted == 4_000
    assert max(receiver.sizes_bytes) <= 512 * 1024
    assert min(receiver.sizes_bytes[:-1]) > 500 * 1024
    assert [run for batch in receiver.batches for run in batch] == long


def test_lines_without_an_id_get_one_and_their_time_is_left_to_the_service(
    client: Client, wire: responses.RequestsMock
) -> None:
    receiver = Receiver(wire)
    lines: list[dict[str, Any]] = [{"grinder_id": "bar-1", "grams": 18, "run_id": None}] * 3
    client.add_runs(lines)
    ids = [run["run_id"] for run in receiver.batches[0]]
    assert len(set(ids)) == 3
    assert all(map(UUID7.fullmatch, ids))
    assert all("started_at" not in run for run in receiver.batches[0])
    assert lines[0]["run_id"] is None


def test_places_in_problems_count_within_the_whole_input(
    client: Client, wire: responses.RequestsMock
) -> None:
    Receiver(wire)
    lines = [a_run(number) for number in range(6_000)]
    for bad in (3, 5_001, 5_999):
        lines[bad]["grams"] = -1.0
    outcome = client.add_runs(lines)
    assert (outcome.received, outcome.accepted, outcome.rejected) == (6000, 5997, 3)
    assert [problem.index for problem in outcome.problems] == [3, 5_001, 5_999]
    for problem in outcome.problems:
        assert problem.run_id == lines[problem.index]["run_id"]
        assert [fault.pointer for fault in problem.errors] == [
            f"#/runs/{problem.index}/grams",
            f"#/runs/{problem.index}",
            None,
        ]


@pytest.mark.parametrize("too_much", [413, requests.ConnectionError("Broken pipe")], ids=str)
def test_a_batch_that_is_too_much_is_halved_until_it_passes(
    too_much: object, client: Client, wire: responses.RequestsMock
) -> None:
    receiver = Receiver(wire, most_lines=300, too_much=too_much)
    lines = [a_run(number) for number in range(1_000)]
    lines[999]["grams"] = -1.0
    outcome = client.add_runs(lines)
    assert (outcome.received, outcome.accepted, outcome.rejected) == (1000, 999, 1)
    assert [problem.index for problem in outcome.problems] == [999]
    assert [run for batch in receiver.batches for run in batch] == lines
    tries = 1 if too_much == 413 else 3
    assert receiver.tried_line_counts == (
        [1000] * tries + [500] * tries + [250, 250] + [500] * tries + [250, 250]
    )


def test_one_run_that_is_too_large_by_itself_is_rejected_and_does_not_stop_the_others(
    client: Client, wire: responses.RequestsMock
) -> None:
    receiver = Receiver(wire)
    wire.remove("POST", BATCH)

    def answer(request: requests.PreparedRequest) -> tuple[int, dict[str, str], str]:
        if "x" * 1000 in (request.body or b"").decode():  # type: ignore[union-attr]
            return (413, {}, json.dumps({"title": "Too large"}))
        return receiver.answer(request)

    wire.add_callback("POST", BATCH, answer, content_type="application/json")
    lines = [a_run(number) for number in range(9)]
    lines[4]["coffee_lot"] = "x" * 1000
    outcome = client.add_runs(lines)
    assert (outcome.received, outcome.accepted, outcome.rejected) == (9, 8, 1)
    assert outcome.problems == (
        models.BatchProblem(
            index=4,
            run_id="bar-1-000004",
            outcome="rejected",
            errors=(models.Fault(detail="413 Too large"),),
        ),
    )


def test_fewer_runs_received_than_sent_is_an_error_and_nothing_is_called_recorded(
    client: Client, wire: responses.RequestsMock
) -> None:
    counts = {"received": 519, "accepted": 519, "duplicates": 0, "conflicts": 0, "rejected": 0}
    wire.post(BATCH, json={**counts, "problems": []})
    lines = [a_run(number) for number in range(900)]
    with pytest.raises(
        errors.TransportError, match="900 runs were sent, but 519 arrived"
    ) as raised:
        client.add_runs(lines)
    assert list(raised.value.remaining) == lines


def test_after_a_failure_the_runs_of_the_requests_not_answered_remain(
    make_client: Callable[..., Client], wire: responses.RequestsMock
) -> None:
    client = make_client(deadline_seconds=1)
    receiver = Receiver(wire)
    wire.remove("POST", BATCH)
    lines: list[dict[str, Any]] = [
        {key: value for key, value in a_run(number).items() if key != "run_id"}
        for number in range(12_000)
    ]

    def answer(request: requests.PreparedRequest) -> tuple[int, dict[str, str], str]:
        return receiver.answer(request) if not receiver.batches else (503, {}, "")

    wire.add_callback("POST", BATCH, answer, content_type="application/json")
    with pytest.raises(errors.ServerError) as raised:
        client.add_runs(lines)
    remaining = raised.value.remaining
    recorded = receiver.batches[0]
    assert len(recorded) + len(remaining) == 12_000
    assert len({line["run_id"] for line in (*recorded, *remaining)}) == 12_000


def test_connections_that_break_over_a_single_run_are_raised(
    make_client: Callable[..., Client], wire: responses.RequestsMock
) -> None:
    wire.post(BATCH, body=requests.ConnectionError("reset"))
    lines = [a_run(number) for number in range(4)]
    with pytest.raises(errors.TransportError) as raised:
        make_client(deadline_seconds=20).add_runs(lines)
    assert list(raised.value.remaining) == lines
    assert [len(json.loads(call.request.body or b"")["runs"]) for call in wire.calls][:7] == [
        4, 4, 4, 2, 2, 2, 1,
    ]  # fmt: skip


def test_ages_in_later_requests_count_the_time_the_earlier_ones_took(
    client: Client, wire: responses.RequestsMock
) -> None:
    receiver = Receiver(wire)
    wire.remove("POST", BATCH)
    wire.post(BATCH, status=503, headers={"Retry-After": "9"})
    wire.add_callback("POST", BATCH, receiver.answer, content_type="application/json")
    client.add_runs(a_run(number, age_seconds=60) for number in range(5_001))
    first, second = receiver.batches
    assert {run["age_seconds"] for run in first} == {69.5}
    assert {run["age_seconds"] for run in second} == {69.5}


# --- reading back -------------------------------------------------------------------------------


def test_runs_are_listed_between_two_instants(client: Client, wire: responses.RequestsMock) -> None:
    wire.get(f"{URL}/v1/grinders/bar-1/runs", json={"items": [], "next_cursor": None})
    from_at = datetime(2026, 3, 1, tzinfo=UTC)
    assert list(client.list_runs("bar-1", from_at=from_at, to_at=from_at + timedelta(days=1))) == []
    assert wire.calls[0].request.params == {  # type: ignore[attr-defined]
        "from": "2026-03-01T00:00:00.000Z",
        "to": "2026-03-02T00:00:00.000Z",
    }
