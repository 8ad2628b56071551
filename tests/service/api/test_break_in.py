"""How far burrs have broken in, over HTTP: kilograms from the runs, verdict from checkpoints."""

from __future__ import annotations

import itertools
import math
from datetime import datetime, timedelta
from typing import Any

import pytest

from answers import CheckedClient
from burrline_service.actions import noticing
from burrline_service.api.instants import instant_text, read_instant
from burrline_service.store.database import Database
from conftest import Clock

DAY = timedelta(days=1)
KILOGRAMS = (0, 5, 10, 20, 40)
TAU_KILOGRAMS, CHANGE_MICROMETRES = 6.0, 36.0


@pytest.fixture
def client(http: CheckedClient, clock: Clock) -> CheckedClient:
    """A client of an account with the grinders ``bar-1`` and ``bar-2``; a year goes by."""
    site = {"site_id": "mill-lane", "name": "Mill Lane", "time_zone": "Europe/Oslo"}
    assert http.post("/v1/sites", json=site).status_code == 201
    for grinder_id in ("bar-1", "bar-2"):
        grinder = {"grinder_id": grinder_id, "site_id": "mill-lane", "name": grinder_id}
        assert http.post("/v1/grinders", json=grinder).status_code == 201
    clock.pass_by(days=365)
    return http


def fit(client: CheckedClient, at: datetime, grinder_id: str = "bar-1", **more: Any) -> None:
    body = {
        "burr_set_id": "north-98-a",
        "geometry": "flat",
        "diameter_millimetres": 98,
        "burr_model": "N98",
        "prior_grams": 0,
        "fitted_at": instant_text(at),
    }
    answer = client.post(f"/v1/grinders/{grinder_id}/burr-sets", json=body | more)
    assert answer.status_code == 201, answer.json


def ground(at: datetime, kilograms: float, grinder_id: str = "bar-1") -> list[dict[str, Any]]:
    """Runs of a kilogram each, a minute apart, begun at an instant."""
    return [
        {
            "run_id": f"{grinder_id}-{at:%Y%m%d}-{number:04}",
            "grinder_id": grinder_id,
            "started_at": instant_text(at + number * timedelta(minutes=1)),
            "grams": 1000.0,
            "seconds": 30.0,
        }
        for number in range(round(kilograms))
    ]


def doses(kilograms: float, change: float = CHANGE_MICROMETRES) -> list[dict[str, Any]]:
    """Three doses of a set that settles with tau, their D50 4 micrometres apart."""
    done = change * -math.expm1(-kilograms / TAU_KILOGRAMS)
    return [
        {
            "dose_grams": 25,
            "distribution": {
                "kind": "percentiles",
                "d50_micrometres": round(300 + done + off, 3),
                "fines_fraction": round(0.14 - done / 900 + off / 1000, 6),
            },
        }
        for off in (-4.0, 0.0, 4.0)
    ]


def checkpoint(at: datetime, kilograms: float, **more: Any) -> dict[str, Any]:
    return {
        "checkpoint_id": f"north-98-a-{kilograms:02}kg",
        "ground_at": instant_text(at),
        "method": "laser",
        "instrument_id": "laser-1",
        "coffee_lot": "lot-7",
        "setting": 7,
        "replicates": doses(kilograms),
        **more,
    }


def life(began: datetime) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Runs and checkpoints of a set that breaks in over weeks, a checkpoint each tenth day."""
    runs, checkpoints = [], []
    so_far = 0
    for number, kilograms in enumerate(KILOGRAMS):
        at = began + 10 * number * DAY
        runs += ground(at + timedelta(hours=1), kilograms - so_far)
        checkpoints.append(checkpoint(at + timedelta(hours=5), kilograms))
        so_far = kilograms
    return runs, checkpoints


def send(client: CheckedClient, runs: list[dict[str, Any]]) -> None:
    answer = client.post("/v1/runs/batch", json={"runs": runs})
    assert answer.json["rejected"] == 0, answer.json


def measure(client: CheckedClient, body: dict[str, Any], grinder_id: str = "bar-1") -> Any:
    answer = client.post(f"/v1/grinders/{grinder_id}/checkpoints", json=body)
    assert answer.status_code == 201, answer.json
    return answer.json


def break_in(client: CheckedClient, grinder_id: str = "bar-1", **query: str) -> Any:
    answer = client.get(f"/v1/grinders/{grinder_id}/break-in", query_string=query)
    assert answer.status_code == 200, answer.json
    return answer.json


# --- kilograms ------------------------------------------------------------------------------------


def test_kilograms_are_counted_from_the_runs_begun_before_the_doses_were_ground(
    client: CheckedClient, clock: Clock
) -> None:
    began = clock() - 100 * DAY
    at = began + DAY
    fit(client, began)
    send(client, ground(at, 3))
    sent = checkpoint(at + timedelta(minutes=1), 1)
    made = measure(client, sent)
    told = ("burr_set_id", "burr_grams", "burr_grams_basis")
    assert [made[name] for name in told] == ["north-98-a", 1000.0, "runs"]
    late = ground(at - timedelta(hours=1), 2)
    send(client, [{**run, "run_id": f"late-{run['run_id']}"} for run in late])
    (listed,) = client.get("/v1/grinders/bar-1/checkpoints").json["items"]
    read = client.get(f"/v1/checkpoints/{sent['checkpoint_id']}").json
    assert listed["burr_grams"] == read["burr_grams"] == 3000.0
    again = client.post("/v1/grinders/bar-1/checkpoints", json=sent)
    assert (again.status_code, again.json) == (200, read)
    voided = client.post(f"/v1/checkpoints/{sent['checkpoint_id']}/void").json
    assert voided == {**read, "voided_at": instant_text(clock())}


def test_given_kilograms_count_and_without_a_set_there_are_none(
    client: CheckedClient, clock: Clock
) -> None:
    at = clock() - 50 * DAY
    before = measure(client, checkpoint(at - DAY, 0))
    assert (before["burr_set_id"], before["burr_grams"]) == (None, None)
    assert before["burr_grams_basis"] is None
    fit(client, at)
    given = measure(client, checkpoint(at + DAY, 5, burr_grams=5012.4))
    assert (given["burr_grams"], given["burr_grams_basis"]) == (5012.4, "given")
    assert given["burr_set_id"] == "north-98-a"


def test_doses_ground_at_different_times_stand_at_the_mean_of_their_kilograms(
    client: CheckedClient, clock: Clock
) -> None:
    at = clock() - 50 * DAY
    fit(client, at - 3 * DAY)
    send(client, ground(at, 9))
    replicates = [
        {**dose, "ground_at": instant_text(at + timedelta(minutes=minutes))}
        for dose, minutes in zip(doses(3), (1, 3, 8), strict=True)
    ]
    made = measure(client, checkpoint(at, 4, replicates=replicates))
    assert made["burr_grams"] == (1000 + 3000 + 8000) / 3
    # a dose ground after another set came in was not ground by this one
    fit(client, at + timedelta(minutes=5), burr_set_id="north-98-b")
    read = client.get(f"/v1/checkpoints/{made['checkpoint_id']}").json
    assert (read["burr_set_id"], read["burr_grams"]) == ("north-98-a", None)


def test_a_set_takes_its_kilograms_along_and_another_machine_is_another_curve(
    client: CheckedClient, clock: Clock
) -> None:
    began = clock() - 100 * DAY
    fit(client, began)
    send(client, ground(began + DAY, 4))
    measure(client, checkpoint(began + 2 * DAY, 4))
    moved = {"burr_set_id": "north-98-a", "fitted_at": instant_text(began + 10 * DAY)}
    assert client.post("/v1/grinders/bar-2/burr-sets", json=moved).status_code == 201
    send(client, ground(began + 11 * DAY, 3, "bar-2"))
    there = measure(client, checkpoint(began + 12 * DAY, 7), "bar-2")
    assert there["burr_grams"] == 7000.0
    answer = break_in(client, "bar-2")
    first, second = answer["checkpoints"]
    assert [one["code"] for one in first["left_out"]] == ["grinder_changed"]
    assert (first["is_joined"], second["is_joined"]) == (False, True)
    assert break_in(client, "bar-1")["stage"] == "unknown"


# --- the verdict ----------------------------------------------------------------------------------


def test_checkpoints_prove_that_a_set_has_settled(client: CheckedClient, clock: Clock) -> None:
    began = clock() - 100 * DAY
    fit(client, began)
    runs, checkpoints = life(began)
    send(client, runs)
    for body in checkpoints:
        measure(client, body)
    answer = break_in(client)
    assert (answer["stage"], answer["basis"], answer["verdict"]) == (
        "settled",
        "measured",
        "settled",
    )
    assert "settled" in answer["sentence"]
    # the truth of the made-up set lies within its limits
    tau = answer["fit"]["tau_grams"]
    assert tau["low"] < 1000 * TAU_KILOGRAMS < tau["high"]
    d50 = answer["fit"]["d50_micrometres"]
    assert d50["start"]["low"] < 300 < d50["start"]["high"]
    assert d50["settled"]["low"] < 300 + CHANGE_MICROMETRES < d50["settled"]["high"]
    assert d50["most_to_come"] < d50["smallest_change"]
    assert answer["fit"]["fines_fraction"]["is_judged"]
    assert answer["remaining_grams"] == 0
    assert answer["next_checkpoint_grams"] is None
    assert [one["burr_grams"] for one in answer["checkpoints"]] == [1000.0 * m for m in KILOGRAMS]
    assert all(one["is_joined"] for one in answer["checkpoints"])
    second = {one["response"]: one for one in answer["checkpoints"][1]["compared"]}
    done = CHANGE_MICROMETRES * -math.expm1(-5 / TAU_KILOGRAMS)
    assert second["d50"]["difference"]["change"] == pytest.approx(done, abs=0.01)
    assert second["d50"]["difference"]["verdict"] == "rose"
    curve = answer["curve"]["d50_micrometres"]
    assert all(one["low"] <= one["best"] <= one["high"] for one in curve)
    assert answer["changes"][-1]["to_stage"] == "settled"
    assert answer["forecast"]["prior"]["class_name"] == "98 mm flat burrs"
    # a status and the fleet page say the same
    status = client.get("/v1/grinders/bar-1/status").json["break_in"]
    assert status == {name: answer[name] for name in status}
    fleet = client.get("/v1/fleet").json["items"]
    assert fleet[0]["break_in"] == status
    # with the decisive ones taken out it is not proven any more
    for kilograms in (20, 40):
        client.post(f"/v1/checkpoints/north-98-a-{kilograms:02}kg/void")
    assert break_in(client)["stage"] != "settled"


def test_without_checkpoints_it_is_the_expectation(client: CheckedClient, clock: Clock) -> None:
    fit(client, clock() - 30 * DAY)
    answer = break_in(client)
    assert (answer["stage"], answer["basis"], answer["checkpoints"]) == ("new", "expected", [])
    assert answer["fit"]["tau_grams"] == {"low": None, "best": None, "high": None}
    assert answer["forecast"]["response"] is None
    assert answer["forecast"]["remaining_grams"]["high"] == answer["high_remaining_grams"]
    assert break_in(client, "bar-2")["forecast"] is None  # no set is in


def test_the_order_of_sending_changes_no_byte(client: CheckedClient, clock: Clock) -> None:
    began = clock() - 100 * DAY
    fit(client, began)
    runs, checkpoints = life(began)
    for body in reversed(checkpoints):
        measure(client, body)
    send(client, runs[::-1])
    late = client.get("/v1/grinders/bar-1/break-in").data
    # once more in another grinder, in the order of time
    other = "bar-2"
    fit(client, began, other, burr_set_id="north-98-z", burr_model="M98")
    for body, following in itertools.zip_longest(checkpoints, checkpoints[1:]):
        until = None if following is None else read_instant(following["ground_at"])
        measure(client, {**body, "checkpoint_id": f"z{body['checkpoint_id']}"}, other)
        send(
            client,
            [
                {**run, "run_id": f"z{run['run_id']}", "grinder_id": other}
                for run in runs
                if until is None or (read_instant(run["started_at"]) or clock()) < until
            ],
        )
    text = client.get("/v1/grinders/bar-2/break-in").get_data(as_text=True)
    for there, here in (("bar-2", "bar-1"), ("zn", "n"), ("north-98-z", "north-98-a")):
        text = text.replace(there, here)
    assert text == late.decode()


def test_an_answer_for_an_instant_is_that_of_the_facts_up_to_it(
    client: CheckedClient, clock: Clock
) -> None:
    began = clock() - 100 * DAY
    at = began + 25 * DAY
    fit(client, began)
    runs, checkpoints = life(began)

    def is_by(text: str) -> bool:
        told = read_instant(text)
        assert told is not None
        return told <= at

    send(client, [run for run in runs if is_by(run["started_at"])])
    for body in checkpoints:
        if is_by(body["ground_at"]):
            measure(client, body)
    then = break_in(client, as_of=instant_text(at))
    assert len(then["checkpoints"]) == 3
    send(client, runs)
    for body in checkpoints:
        client.post("/v1/grinders/bar-1/checkpoints", json=body)
    care = {"task": "burrs_removed", "at": instant_text(at + DAY)}
    assert client.post("/v1/grinders/bar-1/care", json=care).status_code == 201
    fit(client, at + 2 * DAY, burr_set_id="north-98-b")
    assert break_in(client, as_of=instant_text(at)) == then
    assert break_in(client)["checkpoints"] != then["checkpoints"]
    status = client.get("/v1/grinders/bar-1/status", query_string={"as_of": instant_text(at)})
    assert status.json["break_in"] == {name: then[name] for name in status.json["break_in"]}


def test_burrs_taken_out_and_put_back_are_a_level_of_their_own(
    client: CheckedClient, clock: Clock
) -> None:
    began = clock() - 100 * DAY
    fit(client, began)
    runs, checkpoints = life(began)
    send(client, runs)
    for body in checkpoints:
        measure(client, body)
    care = {"task": "burrs_removed", "at": instant_text(began + 15 * DAY), "zero_setting": 1.0}
    recorded = client.post("/v1/grinders/bar-1/care", json=care).json
    answer = break_in(client)
    assert "reseated" in {one["code"] for one in answer["cautions"]}
    reasons = [one["reason"] for point in answer["checkpoints"] for one in point["compared"]]
    assert {one["code"] for one in reasons if one} == {"reseated"}
    assert client.post(f"/v1/care/{recorded['care_id']}/void").status_code == 200
    assert break_in(client)["cautions"] == []


def test_three_measured_sets_of_a_model_inform_the_forecast_of_the_next_alone(
    client: CheckedClient, clock: Clock
) -> None:
    began = clock() - 200 * DAY
    for number in range(3):
        grinder_id = f"lab-{number}"
        grinder = {"grinder_id": grinder_id, "site_id": "mill-lane", "name": grinder_id}
        assert client.post("/v1/grinders", json=grinder).status_code == 201
        fit(client, began, grinder_id, burr_set_id=f"lab-set-{number}")
        for kilograms in (0, 3, 6, 12, 24, 48):
            body = checkpoint(
                began + (kilograms + 1) * DAY,
                kilograms,
                checkpoint_id=f"{grinder_id}-{kilograms:02}kg",
                burr_grams=1000 * kilograms,
                replicates=doses(kilograms, 90.0),
            )
            measure(client, body, grinder_id)
    fit(client, began)
    assert break_in(client)["forecast"]["prior"]["measured_set_count"] == 0
    measure(client, checkpoint(began + DAY, 0, replicates=doses(0, 90.0)))
    prior = break_in(client)["forecast"]["prior"]
    assert prior["measured_set_count"] == 3
    assert prior["tau_grams"]["low"] < 1000 * TAU_KILOGRAMS < prior["tau_grams"]["high"]
    before = break_in(client, as_of=instant_text(began + 8 * DAY))
    assert before["forecast"]["prior"]["measured_set_count"] == 0
    assert break_in(client)["basis"] == "expected"


# --- alerts ---------------------------------------------------------------------------------------


def held(client: CheckedClient) -> list[tuple[str, str, str | None]]:
    """Kind, opening and id of what is open by the list; a status says the same."""
    items = client.get("/v1/alerts?state=open").json["items"]
    told = [(one["kind"], one["opened_at"], one["alert_id"]) for one in items]
    status = client.get("/v1/grinders/bar-1/status").json["alerts"]
    assert sorted((one["kind"], one["opened_at"], one["alert_id"]) for one in status) == sorted(
        told
    )
    return told


@pytest.mark.parametrize("database_kind", ["sqlite"])
def test_a_next_checkpoint_falls_due_and_a_settled_set_is_news_for_a_week(
    client: CheckedClient, clock: Clock, database: Database
) -> None:
    began = clock() - 80 * DAY
    fit(client, began, rated_life_grams=45_000)
    runs, checkpoints = life(began)
    send(client, [run for run in runs if run["started_at"] < instant_text(began + 10 * DAY)])
    assert held(client) == []
    measure(client, checkpoints[0])
    due_grams = break_in(client)["next_checkpoint_grams"]
    assert 0 < due_grams < 40_000
    send(client, runs)
    ((kind, opened_at, alert_id),) = held(client)
    assert (kind, alert_id) == ("checkpoint_due", None)
    reached = client.get(f"/v1/grinders/bar-1/status?as_of={opened_at}").json["throughput"]
    assert reached["burr_grams"] >= due_grams
    earlier = instant_text(datetime.fromisoformat(opened_at) - timedelta(minutes=1))
    reached = client.get(f"/v1/grinders/bar-1/status?as_of={earlier}").json["throughput"]
    assert reached["burr_grams"] < due_grams
    noticing.watch(database, now=clock())
    ((_, _, alert_id),) = held(client)
    assert alert_id is not None
    for body in checkpoints[1:]:
        measure(client, body)
    noticing.watch(database, now=clock())
    settled_at = break_in(client)["changes"][-1]["at"]
    is_news = datetime.fromisoformat(settled_at) + 7 * DAY > clock()
    assert [kind for kind, _, _ in held(client)] == (["settled"] if is_news else [])
    events = client.get("/v1/alerts/feed").json["items"]
    stages = [one for one in events if one["type"] == "burrline.stage.changed"]
    assert stages[-1]["data"]["to_stage"] == "settled"
    assert stages[-1]["at"] == settled_at
    send(client, ground(clock() - timedelta(hours=9), 6))
    ((kind, opened_at, _),) = [one for one in held(client) if one[0] == "burr_life"]
    assert opened_at > instant_text(clock() - timedelta(hours=9))
    told = len(events)
    noticing.watch(database, now=clock())
    assert noticing.watch(database, now=clock()) == 0
    newer = client.get("/v1/alerts/feed").json["items"][told:]
    assert "burr_life" in [one["data"].get("kind") for one in newer]
