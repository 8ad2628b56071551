"""The dial, burr sets side by side, and cups, over HTTP: of invented burrs whose truth is known."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from typing import Any

import pytest

from answers import CheckedClient
from burrline_service.actions import cups
from burrline_service.api.instants import instant_text
from conftest import Clock

DAY = timedelta(days=1)
SLOPE, TAU_KILOGRAMS, USUAL = 0.05, 6.0, 5.0  # ln D50 per unit of the dial, upwards
GRIND = {"setting_step": 0.5, "low_setting": 1.0, "high_setting": 12.0, "coarser": "higher"}


@pytest.fixture
def client(http: CheckedClient, clock: Clock) -> CheckedClient:
    """A client of an account with two grinders of one dial; a year goes by."""
    site = {"site_id": "mill-lane", "name": "Mill Lane", "time_zone": "Europe/Oslo"}
    assert http.post("/v1/sites", json=site).status_code == 201
    for grinder_id in ("bar-1", "bar-2"):
        grinder = {"grinder_id": grinder_id, "site_id": "mill-lane", "name": grinder_id}
        plate = {"grind": GRIND, "retained_grams": 4.0}
        assert http.post("/v1/grinders", json=grinder | plate).status_code == 201
    clock.pass_by(days=365)
    return http


def fit(client: CheckedClient, at: datetime, grinder_id: str, burr_set_id: str) -> None:
    body = {
        "burr_set_id": burr_set_id,
        "geometry": "flat",
        "diameter_millimetres": 98,
        "prior_grams": 0,
        "fitted_at": instant_text(at),
    }
    path = f"/v1/grinders/{grinder_id}/burr-sets"
    assert client.post(path, json=body).status_code == 201


def measure(
    client: CheckedClient,
    at: datetime,
    kilograms: float,
    setting: float | None = USUAL,
    *,
    grinder_id: str = "bar-1",
    fines: float = 0.14,
    **more: Any,
) -> None:
    """Three doses of burrs that coarsen by 12 % while 3 % of fines go beside what D50 explains."""
    done = -math.expm1(-kilograms / TAU_KILOGRAMS)
    log_d50 = math.log(300) + 0.12 * done + SLOPE * ((setting or USUAL) - USUAL)
    share = fines - 0.2 * (log_d50 - math.log(300)) - 0.03 * done
    body = {
        "checkpoint_id": f"{grinder_id}-{kilograms:04.1f}kg-{setting}"
        + more.get("instrument_id", ""),
        "ground_at": instant_text(at),
        "method": "laser",
        "instrument_id": "laser-1",
        "coffee_lot": "lot-7",
        "setting": setting,
        "burr_grams": 1000 * kilograms,
        "replicates": [
            {
                "distribution": {
                    "kind": "percentiles",
                    "d50_micrometres": round(math.exp(log_d50 + off), 3),
                    "fines_fraction": round(share - off / 10, 6),
                }
            }
            for off in (-0.01, 0.0, 0.01)
        ],
        **more,
    }
    answer = client.post(f"/v1/grinders/{grinder_id}/checkpoints", json=body)
    assert answer.status_code == 201, answer.json


def life(client: CheckedClient, began: datetime, grinder_id: str = "bar-1", **more: Any) -> None:
    """Five checkpoints at the usual setting, the last one the end of a ladder in one sitting."""
    for kilograms in (0, 5, 10, 20):
        measure(client, began + kilograms * DAY, kilograms, grinder_id=grinder_id, **more)
    for minutes, setting in enumerate((7.0, 3.0, USUAL)):
        at = began + 40 * DAY + timedelta(minutes=10 * minutes)
        measure(client, at, 40, setting, grinder_id=grinder_id, session_id="ladder", **more)


def calibration(client: CheckedClient, **query: Any) -> Any:
    answer = client.get("/v1/grinders/bar-1/calibration", query_string=query)
    assert answer.status_code == 200, answer.json
    return answer.json


def test_a_ladder_tells_the_dial_and_the_setting_that_brings_the_grind_back(
    client: CheckedClient, clock: Clock
) -> None:
    began = clock() - 100 * DAY
    fit(client, began - DAY, "bar-1", "north-98-a")
    life(client, began)
    found = calibration(client, reference_d50_micrometres="300")
    assert found["verdict"] == "calibrated"
    slope = found["grind"]["log_d50_per_setting"]
    assert slope["low"] < SLOPE < slope["high"]
    assert found["grind"]["d50_micrometres_per_step"]["best"] == pytest.approx(300 * 0.025, rel=0.1)
    (redial,) = found["redials"]
    # 12 % of ln D50 is 2.4 units of the dial, 4.8 steps: five steps finer
    assert redial["exact_setting"]["low"] < USUAL - 2.4 < redial["exact_setting"]["high"]
    assert (redial["verdict"], redial["setting"], redial["steps_count"]) == ("turn", 2.5, -5)
    assert redial["purge_grams"] == 4.0
    assert "4 g" in redial["sentence"]
    shift = found["break_in_shift"]
    assert shift["equal_steps"]["low"] < 4.8 < shift["equal_steps"]["high"]
    rest = shift["fines_change_at_equal_d50"]
    assert rest["low"] < -0.03 < rest["high"] < 0
    assert shift["verdict"] == "fewer_fines"
    assert found["ladder"] is None
    assert found["flow"]["verdict"] == "flow_unknown"
    # without being asked for: the checkpoint that proved it settled, which is where it is now
    settled = calibration(client)
    assert settled["reference"]["basis"] == "settled_checkpoint"
    assert settled["redials"][0]["verdict"] == "stay"
    named = calibration(client, reference_checkpoint_id="bar-1-00.0kg-5.0")
    assert named["reference"]["basis"] == "asked_checkpoint"
    assert named["redials"][0]["steps_count"] == -5


def test_what_went_along_with_the_age_is_refused_with_the_ladder_to_measure(
    client: CheckedClient, clock: Clock
) -> None:
    began = clock() - 100 * DAY
    assert calibration(client)["verdict"] == "no_burr_set"
    fit(client, began - DAY, "bar-1", "north-98-a")
    assert calibration(client)["verdict"] == "no_checkpoints"
    for kilograms, setting in ((0, 5.0), (5, 4.5), (10, 4.0), (20, 3.5)):
        measure(client, began + kilograms * DAY, kilograms, setting)
    found = calibration(client, reference_d50_micrometres="300")
    assert found["verdict"] == "setting_confounded"
    assert found["redials"] == []
    assert found["grind"]["log_d50_per_setting"]["best"] is None
    ladder = found["ladder"]
    assert ladder["settings"] == [5.0, 2.0, 3.5]  # three steps either way, the usual one last
    assert (ladder["doses_count"], ladder["dose_grams"], ladder["purge_grams"]) == (3, 25.0, 4.0)
    assert ladder["total_grams"] == 3 * 3 * 25 + 3 * 4
    early = calibration(client, as_of=instant_text(began + DAY))
    assert early["verdict"] == "too_few_checkpoints"


def test_queries_that_contradict_themselves_are_refused(
    client: CheckedClient, clock: Clock
) -> None:
    path = "/v1/grinders/bar-1/calibration"
    both = {"reference_d50_micrometres": "300", "reference_checkpoint_id": "north-98-a-00"}
    assert client.get(path, query_string=both).status_code == 422
    absent = client.get(path, query_string={"reference_checkpoint_id": "nobody-has-it"})
    assert absent.status_code == 404
    later = {"as_of": instant_text(clock() + DAY)}
    for url in (path, "/v1/grinders/bar-1/cups"):
        assert client.get(url, query_string=later).status_code == 422
    compare = "/v1/burr-set-comparison"
    for ids in ("one", "a,a", "a,b,c,d,e,f,g", "a,,b"):
        assert client.get(compare, query_string={"burr_set_ids": ids}).status_code == 422
    assert client.get(compare, query_string={"burr_set_ids": "a,b"}).status_code == 404
    fit(client, clock() - DAY, "bar-1", "a")
    fit(client, clock() - DAY, "bar-2", "b")
    assert client.get(compare, query_string={"burr_set_ids": "a,b"} | later).status_code == 422


def test_an_answer_for_an_instant_is_that_of_the_facts_up_to_it(
    client: CheckedClient, clock: Clock
) -> None:
    began = clock() - 100 * DAY
    then = instant_text(began + 30 * DAY)
    fit(client, began - DAY, "bar-1", "north-98-a")
    fit(client, began - DAY, "bar-2", "north-98-b")
    urls = (
        f"/v1/grinders/bar-1/calibration?as_of={then}",
        f"/v1/grinders/bar-1/cups?as_of={then}",
        f"/v1/burr-set-comparison?burr_set_ids=north-98-a,north-98-b&as_of={then}",
    )
    for kilograms in (20, 0, 10, 5):  # the order of sending changes no byte
        measure(client, began + kilograms * DAY, kilograms)
    before = [client.get(url).data for url in urls]
    for minutes, setting in enumerate((7.0, 3.0, USUAL)):
        at = began + 40 * DAY + timedelta(minutes=10 * minutes)
        measure(client, at, 40, setting, session_id="ladder")
    measure(client, began + 41 * DAY, 10, grinder_id="bar-2")
    pour(client, began + 50 * DAY, "late", 5)
    assert [client.get(url).data for url in urls] == before
    assert client.get(urls[0].partition("?")[0]).data != before[0]


def test_burr_sets_are_set_against_each_other_at_an_equal_d50(
    client: CheckedClient, clock: Clock
) -> None:
    began = clock() - 100 * DAY
    fit(client, began - DAY, "bar-1", "north-98-a")
    fit(client, began - DAY, "bar-2", "north-98-b")
    life(client, began)
    life(client, began, "bar-2", fines=0.10)
    url = "/v1/burr-set-comparison?burr_set_ids=north-98-a,north-98-b"
    found = client.get(url).json
    first, second = found["sets"]
    assert [first["burr_set_id"], second["burr_set_id"]] == ["north-98-a", "north-98-b"]
    assert first["tau_grams"]["low"] < 1000 * TAU_KILOGRAMS < first["tau_grams"]["high"]
    assert first["curve"]["d50_micrometres"]
    assert first["at_equal_d50"]["less_first_fines_fraction"]["best"] is None
    less = second["at_equal_d50"]["less_first_fines_fraction"]
    assert less["low"] < -0.04 < less["high"] < 0
    assert found["cautions"] == []
    elsewhere = client.get(f"{url}&d50_micrometres=300").json
    there = elsewhere["sets"][0]["at_equal_d50"]["fines_fraction"]
    assert there["low"] < 0.14 - 0.03 < there["high"]  # at 300 micrometres only the rest is left
    # measured by another laser the sets are not set against each other
    fit(client, began + 50 * DAY, "bar-2", "north-98-c")
    life(client, began + 51 * DAY, "bar-2", instrument_id="laser-2")
    other = client.get(url.replace("98-b", "98-c")).json
    assert {one["code"] for one in other["cautions"]} == {"not_comparable"}
    assert other["sets"][1]["at_equal_d50"]["less_first_fines_fraction"]["best"] is None


def pour(client: CheckedClient, at: datetime, name: str, count: int, spread: float = 1.0) -> None:
    """Shots of 18 g that take 27 s more or less, four a day, and one pot a day by immersion."""
    runs = []
    for number in range(count):
        off = spread * ((number * 7) % 11 - 5) / 3
        brew = {"method": "espresso", "seconds": 27 + off, "beverage_grams": 36}
        if number % 5 == 4:
            brew = {"method": "immersion", "water_grams": 300, "tds_fraction": 0.0125}
        elif number % 5 < 2:
            brew["tds_fraction"] = 0.1
        runs.append(
            {
                "run_id": f"{name}-{number:04}",
                "grinder_id": "bar-1",
                "started_at": instant_text(at + number * timedelta(hours=5)),
                "grams": 18.0,
                "seconds": 7.0,
                "setting": USUAL,
                "coffee_lot": "lot-7",
                "brew": brew,
            }
        )
    answer = client.post("/v1/runs/batch", json={"runs": runs})
    assert answer.json["accepted"] == count, answer.json


def test_cups_before_and_after_settling_stand_side_by_side(
    client: CheckedClient, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    began = clock() - 100 * DAY
    url = "/v1/grinders/bar-1/cups"
    assert client.get(url).json["verdict"] == "no_burr_set"
    fit(client, began - DAY, "bar-1", "north-98-a")
    assert client.get(url).json["verdict"] == "no_cups"
    pour(client, began + 11 * DAY, "early", 40, spread=2.0)
    assert client.get(url).json["verdict"] == "not_settled"
    life(client, began)
    pour(client, began + 60 * DAY, "late", 40)
    found = client.get(url).json
    assert found["verdict"] == "both_sides"
    assert found["settled_at"] == instant_text(began + 20 * DAY)
    assert (found["cup_count"], found["is_cut_off"]) == (80, False)
    times = found["shot_seconds"]
    assert times["sd_ratio"]["best"] == pytest.approx(0.5)
    assert times["sd_ratio"]["low"] < 0.5 < times["sd_ratio"]["high"] < 1
    assert times["before"]["cup_count"] == times["after"]["cup_count"] == 32
    espresso, immersion = found["extraction"]
    assert espresso["after"]["mean_fraction"]["best"] == pytest.approx(0.1 * 36 / 18)
    # 300 g of water at 1.25 %: 300 * 0.0125 / 0.9875 g out of 18 g
    assert immersion["before"]["mean_fraction"]["best"] == pytest.approx(300 / 79 / 18)
    unknown = {(one["use"], one["code"]): one["cup_count"] for one in found["left_out"]}
    assert unknown == {("extraction", "tds_unknown"): 32}
    # a voided run was no cup
    client.post("/v1/runs/late-0000/void")
    assert client.get(url).json["cup_count"] == 79
    # more than are looked at: the latest of each side
    monkeypatch.setattr(cups, "MOST_CUPS", 10)
    fewer = client.get(url).json
    assert (fewer["cup_count"], fewer["is_cut_off"]) == (20, True)
