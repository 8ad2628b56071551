"""Checkpoints and grind samples over HTTP, into the store and back."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from answers import CheckedClient
from burrline_service.api.instants import instant_text
from conftest import Clock

TYPE = "urn:burrline:problem:"
APERTURES = [850, 600, 425, 300, 212, 150, 106, 75]
MASSES = [0.4, 3.1, 7.2, 6.6, 3.4, 1.9, 1.2, 0.8, 0.4]
SIEVES = {"kind": "sieve", "aperture_micrometres": APERTURES, "retained_grams": MASSES}
DOSE = {"dose_grams": 25.1, "distribution": SIEVES}


@pytest.fixture
def client(http: CheckedClient, clock: Clock) -> CheckedClient:
    """A client of an account with the grinder ``bar-1``."""
    site = {"site_id": "mill-lane", "name": "Mill Lane", "time_zone": "Europe/Oslo"}
    assert http.post("/v1/sites", json=site).status_code == 201
    grinder = {"grinder_id": "bar-1", "site_id": "mill-lane", "name": "Bar left"}
    assert http.post("/v1/grinders", json=grinder).status_code == 201
    clock.pass_by(hours=9)
    return http


def ago(clock: Clock, **amount: float) -> str:
    return instant_text(clock() - timedelta(**amount))


def checkpoint(**more: Any) -> dict[str, Any]:
    return {"method": "sieve", "sieve_set_id": "sieves-2", "replicates": [DOSE] * 3, **more}


def test_a_checkpoint_is_recorded_once_read_back_and_voided(
    client: CheckedClient, clock: Clock
) -> None:
    sent = checkpoint(checkpoint_id="flat-64-a-05kg", ground_at=ago(clock, hours=1), setting=5)
    first = client.post("/v1/grinders/bar-1/checkpoints", json=sent)
    again = client.post("/v1/grinders/bar-1/checkpoints", json=sent)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json == again.json
    assert first.json["replicates"][0]["distribution"] == SIEVES
    pooled = first.json["pooled"]
    assert pooled["replicate_count"] == 3
    # three like doses: their mean is each of them, and they do not scatter
    assert pooled["d50_micrometres"] == pytest.approx(
        first.json["replicates"][0]["sizes"]["d50_micrometres"], rel=1e-12
    )
    assert pooled["d50_log_sd"] == pytest.approx(0.0, abs=1e-12)
    assert 300 < pooled["d50_micrometres"] < 425  # 15 of 25 g lie above 300 um, 10.7 above 425
    other = client.post("/v1/grinders/bar-1/checkpoints", json={**sent, "setting": 6})
    assert (other.status_code, other.json["type"]) == (409, f"{TYPE}already-exists")
    assert client.get("/v1/checkpoints/flat-64-a-05kg").json == first.json
    (listed,) = client.get("/v1/grinders/bar-1/checkpoints").json["items"]
    assert "distribution" not in listed["replicates"][0]
    voided = client.post("/v1/checkpoints/flat-64-a-05kg/void").json
    assert voided == {**first.json, "voided_at": instant_text(clock())}
    assert client.post("/v1/checkpoints/flat-64-a-05kg/void").json == voided


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"retained_grams": MASSES[:-1]}, "/retained_grams"),
        ({"aperture_micrometres": [850, 600, 600, 300, 212, 150, 106, 75]}, ""),
        ({"retained_grams": [100, *MASSES[1:]]}, "/retained_grams"),
        ({"edge_micrometres": [1, 2]}, "/edge_micrometres"),
    ],
)
def test_a_table_that_cannot_be_read_in_one_way_is_refused_where_it_stands(
    client: CheckedClient, change: dict[str, Any], pointer: str
) -> None:
    bad = {**DOSE, "distribution": {**SIEVES, **change}}
    answer = client.post(
        "/v1/grinders/bar-1/checkpoints", json=checkpoint(replicates=[DOSE, bad, DOSE])
    )
    assert (answer.status_code, answer.json["type"]) == (422, f"{TYPE}sample-refused")
    (fault,) = answer.json["errors"]
    assert fault["pointer"].startswith(f"#/replicates/1/distribution{pointer}")
    assert client.get("/v1/grinders/bar-1/checkpoints").json["items"] == []
    answer = client.post("/v1/grind-samples/summary", json={"distribution": bad["distribution"]})
    if "retained_grams" not in change or len(change["retained_grams"]) == 8:
        assert (answer.status_code, answer.json["type"]) == (422, f"{TYPE}sample-refused")


def test_times_that_cannot_be_are_refused(client: CheckedClient, clock: Clock) -> None:
    ahead, behind = ago(clock, hours=-1), ago(clock, hours=1)
    for change, pointer in (
        ({"ground_at": ahead}, "#/ground_at"),
        ({"measured_at": ahead}, "#/measured_at"),
        ({"measured_at": behind}, "#/measured_at"),
        ({"replicates": [{**DOSE, "ground_at": ahead}]}, "#/replicates/0/ground_at"),
    ):
        answer = client.post("/v1/grinders/bar-1/checkpoints", json=checkpoint(**change))
        assert answer.status_code == 422
        assert [one["pointer"] for one in answer.json["errors"]] == [pointer]


def test_a_sample_is_summed_up_and_nothing_is_kept(client: CheckedClient) -> None:
    answer = client.post("/v1/grind-samples/summary", json={"distribution": SIEVES}).json
    assert answer["percentile_method"] == "pchip_ln_size"
    assert answer["volume_mean_micrometres"] is None  # the top sieve has no upper size
    codes = {one["name"]: one["code"] for one in answer["missing"]}
    assert codes["volume_mean_micrometres"] == "top_without_upper_size"
    assert {fit["method"] for fit in answer["rosin_rammler"]} == {
        "loglog_least_squares",
        "undersize_least_squares",
    }
    assert client.get("/v1/grinders/bar-1/checkpoints").json["items"] == []


def test_checkpoints_are_listed_by_page_and_time(client: CheckedClient, clock: Clock) -> None:
    for hours in (3, 1, 2):
        client.post(
            "/v1/grinders/bar-1/checkpoints",
            json=checkpoint(ground_at=ago(clock, hours=hours), note=f"{hours} h ago"),
        )
    first = client.get("/v1/grinders/bar-1/checkpoints?limit=2").json
    path = f"/v1/grinders/bar-1/checkpoints?limit=2&cursor={first['next_cursor']}"
    walked = [*first["items"], *client.get(path).json["items"]]
    assert [one["note"] for one in walked] == ["3 h ago", "2 h ago", "1 h ago"]
