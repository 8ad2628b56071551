"""Readings, tallies, periods, corrections, care: over HTTP, into the store and back."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from answers import CheckedClient
from burrline_service.api.instants import instant_text
from conftest import Clock

TYPE = "urn:burrline:problem:"


@pytest.fixture
def client(http: CheckedClient, clock: Clock) -> CheckedClient:
    """A client of an account with the grinders ``bar-1`` and ``bar-2``."""
    site = {"site_id": "mill-lane", "name": "Mill Lane", "time_zone": "Europe/Oslo"}
    assert http.post("/v1/sites", json=site).status_code == 201
    for grinder_id in ("bar-1", "bar-2"):
        grinder = {"grinder_id": grinder_id, "site_id": "mill-lane", "name": grinder_id}
        assert http.post("/v1/grinders", json=grinder).status_code == 201
    clock.pass_by(hours=9)
    return http


def ago(clock: Clock, **amount: float) -> str:
    return instant_text(clock() - timedelta(**amount))


def pointers(answer: Any) -> list[str]:
    return [error["pointer"] for error in answer.json["errors"]]


# --- readings -----------------------------------------------------------------------------------


def test_one_reading_is_recorded_once_and_read_back(client: CheckedClient, clock: Clock) -> None:
    at = ago(clock, minutes=3)
    reading = {"grinder_id": "bar-1", "at": at, "motor_celsius": 47.5, "source": "probe"}
    counts = [client.post("/v1/readings", json=reading).json for _ in range(2)]
    assert [(one["accepted"], one["duplicates"]) for one in counts] == [(1, 0), (0, 1)]
    (kept,) = client.get("/v1/grinders/bar-1/readings").json["items"]
    assert (kept["at"], kept["motor_celsius"], kept["time_source"]) == (at, 47.5, "device")
    assert kept["source"] == "probe"
    voided = client.post(f"/v1/readings/{kept['reading_id']}/void")
    assert voided.json == {**kept, "voided_at": instant_text(clock())}
    assert client.post("/v1/readings", json=reading).json["duplicates"] == 1
    assert client.get("/v1/grinders/bar-1/readings").json["items"] == [voided.json]


def test_one_reading_alone_is_refused_like_any_request(client: CheckedClient) -> None:
    answer = client.post("/v1/readings", json={"grinder_id": "bar-9", "is_running": True})
    assert (answer.status_code, answer.json["type"]) == (404, f"{TYPE}not-found")
    answer = client.post("/v1/readings", json={"grinder_id": "bar-1", "motor_celsius": 500})
    assert (answer.status_code, pointers(answer)) == (422, ["#/motor_celsius"])
    reading = {"grinder_id": "bar-1", "reading_id": "r-000001", "motor_celsius": 50}
    assert client.post("/v1/readings", json=reading).status_code == 200
    answer = client.post("/v1/readings", json={**reading, "motor_celsius": 51})
    assert (answer.status_code, answer.json["type"]) == (409, f"{TYPE}already-exists")


def test_a_bad_reading_in_a_batch_never_blocks_a_good_one(client: CheckedClient) -> None:
    good = {"grinder_id": "bar-1", "reading_id": "r-000001", "age_seconds": 5, "motor_celsius": 40}
    lines = [
        good,
        {"grinder_id": "bar-1"},
        {**good, "motor_celsius": 41},
        {**good, "reading_id": "r-000002", "grinder_id": "bar-9"},
        {**good, "reading_id": "r-000003", "grinder_id": "bar-2"},
        good,
        5,
    ]
    answer = client.post("/v1/readings", json={"readings": lines})
    assert answer.status_code == 200
    problems = answer.json.pop("problems")
    counts = {name: answer.json[name] for name in ("received", "accepted", "duplicates")}
    assert counts == {"received": 7, "accepted": 2, "duplicates": 1}
    assert (answer.json["conflicts"], answer.json["rejected"]) == (1, 3)
    assert [(one["index"], one["reading_id"], one["outcome"]) for one in problems] == [
        (1, None, "rejected"),
        (2, "r-000001", "conflict"),
        (3, "r-000002", "rejected"),
        (6, None, "rejected"),
    ]
    assert [error["pointer"] for one in problems for error in one["errors"]] == [
        "#/readings/1",
        "#/readings/2/reading_id",
        "#/readings/3/grinder_id",
        "#/readings/6",
    ]
    assert client.post("/v1/readings", json={"readings": []}).json["received"] == 0


def test_readings_are_listed_by_page_and_time(client: CheckedClient, clock: Clock) -> None:
    lines = [
        {"grinder_id": "bar-1", "age_seconds": 60 * number, "motor_celsius": 40 + number}
        for number in range(5)
    ]
    client.post("/v1/readings", json={"readings": lines})
    first = client.get("/v1/grinders/bar-1/readings?limit=3").json
    path = f"/v1/grinders/bar-1/readings?limit=3&cursor={first['next_cursor']}"
    walked = [*first["items"], *client.get(path).json["items"]]
    assert [one["motor_celsius"] for one in walked] == [44, 43, 42, 41, 40]
    since = client.get(f"/v1/grinders/bar-1/readings?from={ago(clock, seconds=60)}").json
    assert [one["motor_celsius"] for one in since["items"]] == [41, 40]
    before = client.get(f"/v1/grinders/bar-1/readings?to={ago(clock, seconds=180)}").json
    assert [one["motor_celsius"] for one in before["items"]] == [44]


# --- devices without a clock --------------------------------------------------------------------

RUN = {"run_id": "bar-1-000001", "grinder_id": "bar-1", "grams": 18.2, "seconds": 7}


def test_a_run_is_placed_by_the_uptime_of_the_same_boot(
    client: CheckedClient, clock: Clock
) -> None:
    told = {"boot_id": "17", "uptime_seconds": 86_312.5}
    now = {"X-Device-Boot": "17", "X-Device-Uptime": "86402.75"}
    assert client.post("/v1/runs", json={**RUN, **told}, headers=now).status_code == 201
    kept = client.get("/v1/runs/bar-1-000001").json
    assert kept["started_at"] == ago(clock, seconds=90.25)
    assert kept["time_source"] != "received"
    clock.pass_by(seconds=30)
    later = {**now, "X-Device-Uptime": "86432.75"}
    assert client.post("/v1/runs", json={**RUN, **told}, headers=later).json["outcome"] == (
        "duplicate"
    )


def test_a_run_of_another_boot_has_the_time_of_receipt(client: CheckedClient) -> None:
    lines = [
        {**RUN, "run_id": f"bar-1-00000{number}", "boot_id": boot_id, "uptime_seconds": 50}
        for number, boot_id in enumerate(("16", "17"))
    ]
    headers = {"X-Device-Boot": "17", "X-Device-Uptime": "60"}
    answer = client.post("/v1/runs/batch", json={"runs": lines}, headers=headers)
    assert answer.json["accepted"] == 2
    runs = [client.get(f"/v1/runs/{line['run_id']}").json for line in lines]
    assert runs[0]["time_source"] == "received"
    assert runs[1]["time_source"] != "received"


def test_a_reading_is_placed_by_its_uptime_too(client: CheckedClient, clock: Clock) -> None:
    line = {"grinder_id": "bar-1", "motor_celsius": 44, "boot_id": "17", "uptime_seconds": 50}
    headers = {"X-Device-Boot": "17", "X-Device-Uptime": "60"}
    assert client.post("/v1/readings", json=line, headers=headers).json["accepted"] == 1
    (kept,) = client.get("/v1/grinders/bar-1/readings").json["items"]
    assert kept["at"] == ago(clock, seconds=10)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("X-Device-Uptime", "-1"),
        ("X-Device-Uptime", "soon"),
        ("X-Device-Uptime", "1e5"),
        ("X-Device-Uptime", "123456789012"),
        ("X-Device-Uptime", ""),
        ("X-Device-Boot", ""),
        ("X-Device-Boot", "x" * 65),
    ],
)
def test_a_header_of_the_devices_clock_that_cannot_be_read_is_refused(
    client: CheckedClient, name: str, value: str
) -> None:
    for path, body in (
        ("/v1/runs", RUN),
        ("/v1/runs/batch", {"runs": []}),
        ("/v1/readings", {"grinder_id": "bar-1", "motor_celsius": 44}),
    ):
        answer = client.post(path, json=body, headers={name: value})
        assert (answer.status_code, answer.json["type"]) == (400, f"{TYPE}bad-header")
        assert answer.json["errors"][0]["parameter"] == name


# --- watched times ------------------------------------------------------------------------------


def test_a_batch_may_name_watched_grinders_that_are_there(
    client: CheckedClient, clock: Clock
) -> None:
    body = {
        "runs": [],
        "watched_from": ago(clock, hours=2),
        "watched_until": ago(clock, hours=-1),  # clipped: nobody watched what is to come
        "watched_grinder_ids": ["bar-1"],
    }
    duty = client.get("/v1/grinders/bar-1/status").json["duty"]
    for _ in range(2):
        assert client.post("/v1/runs/batch", json=body).json["received"] == 0
    seen = client.get("/v1/grinders/bar-1/status").json["duty"]
    assert duty["coverage_fraction"] < seen["coverage_fraction"] == 1.0
    assert client.get("/v1/grinders/bar-2/status").json["duty"] == duty
    wrong = client.post("/v1/runs/batch", json={**body, "watched_grinder_ids": ["bar-1", "bar-9"]})
    assert (wrong.status_code, pointers(wrong)) == (422, ["#/watched_grinder_ids/1"])


def test_a_watched_time_of_a_wrong_clock_costs_no_run(client: CheckedClient, clock: Clock) -> None:
    for number, (begins, ends) in enumerate(
        [
            ("1970-01-01T00:00:00Z", ago(clock, hours=1)),
            (ago(clock, hours=-1), ago(clock, hours=-2)),
        ]
    ):
        line = {**RUN, "run_id": f"bar-1-00000{number}", "age_seconds": 60}
        body = {"runs": [line], "watched_from": begins, "watched_until": ends}
        assert client.post("/v1/runs/batch", json=body).json["accepted"] == 1


# --- entries ------------------------------------------------------------------------------------


def test_a_tally_counts_once_until_it_is_voided(client: CheckedClient, clock: Clock) -> None:
    tally = {
        "tally_id": "notebook-1",
        "grinder_id": "bar-1",
        "from": ago(clock, hours=4),
        "to": ago(clock, hours=2),
        "grams": 4180.25,
        "basis": "weighed_in",
    }
    first, again = (client.post("/v1/tallies", json=tally) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json == again.json
    assert "Location" not in first.headers
    assert first.json["purpose"] == "service"
    grams = client.get("/v1/grinders/bar-1/status").json["throughput"]["grinder_grams"]
    assert grams == 4180.25
    other = client.post("/v1/tallies", json={**tally, "grams": 1})
    assert (other.status_code, other.json["type"]) == (409, f"{TYPE}already-exists")
    assert client.get("/v1/grinders/bar-1/tallies").json["items"] == [first.json]
    voided = client.post("/v1/tallies/notebook-1/void")
    assert voided.json["voided_at"] == instant_text(clock())
    assert client.get("/v1/grinders/bar-1/status").json["throughput"]["grinder_grams"] == 0


@pytest.mark.parametrize(
    ("more", "pointer"),
    [
        ({"to": "2030-01-01T00:00:00Z"}, "#/to"),
        ({"to": "2026-03-01T00:00:00Z", "from": "2026-03-01T00:00:00Z"}, "#/to"),
        ({"basis": "guessed"}, "#/basis"),
        ({"purpose": "cleaning"}, "#/purpose"),
        ({"grams": -1}, "#/grams"),
        ({"tally_id": "short"}, "#/tally_id"),
        ({"from_at": "2026-03-01T00:00:00Z"}, "#/from_at"),
    ],
)
def test_an_impossible_tally_is_refused(
    client: CheckedClient, more: dict[str, Any], pointer: str
) -> None:
    tally = {
        "grinder_id": "bar-1",
        "from": "2026-03-01T00:00:00Z",
        "to": "2026-03-02T00:00:00Z",
        "grams": 1,
        "basis": "estimated",
    }
    answer = client.post("/v1/tallies", json={**tally, **more})
    assert (answer.status_code, pointers(answer)) == (422, [pointer])


def test_a_tally_without_an_id_is_once_by_its_idempotency_key(
    client: CheckedClient, clock: Clock
) -> None:
    tally = {
        "grinder_id": "bar-1",
        "from": ago(clock, hours=4),
        "to": ago(clock, hours=2),
        "grams": 100,
        "basis": "estimated",
    }
    key = {"Idempotency-Key": "key-000001"}
    answers = [client.post("/v1/tallies", json=tally, headers=key) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [201, 201]
    assert answers[1].headers["Idempotency-Replayed"] == "true"
    assert answers[0].json == answers[1].json
    assert len(client.get("/v1/grinders/bar-1/tallies").json["items"]) == 1
    assert client.post("/v1/tallies", json=tally).json["tally_id"] != answers[0].json["tally_id"]


def test_a_period_fills_in_what_runs_leave_out(client: CheckedClient, clock: Clock) -> None:
    made = client.post(
        "/v1/grinders/bar-1/periods",
        json={"from": ago(clock, hours=5), "setting": 4.8, "purpose": "break_in", "rpm": None},
    )
    assert made.status_code == 201
    run = {**RUN, "age_seconds": 60}
    client.post("/v1/runs", json=run)
    kept = client.get("/v1/runs/bar-1-000001").json
    assert (kept["setting"], kept["purpose"]) == (4.8, "break_in")
    assert sorted(kept["from_period"]) == ["purpose", "setting"]
    assert client.get("/v1/grinders/bar-1/periods").json["items"] == [made.json]
    path = f"/v1/periods/{made.json['period_id']}/void"
    assert client.post(path).json == {**made.json, "voided_at": instant_text(clock())}
    assert client.get("/v1/runs/bar-1-000001").json["setting"] is None
    begins_now = client.post("/v1/grinders/bar-1/periods", json={"feed": "hopper"})
    assert begins_now.json["from"] == instant_text(clock())
    nothing = client.post("/v1/grinders/bar-1/periods", json={"rpm": None})
    assert (nothing.status_code, pointers(nothing)) == (422, ["#"])


@pytest.mark.parametrize(
    ("path", "id_name", "entered", "other"),
    [
        ("grinders/bar-1/periods", "period_id", {"setting": 4.8}, {"setting": 5.0}),
        ("grinders/bar-1/care", "care_id", {"task": "cleaning"}, {"task": "repair"}),
        (
            "corrections",
            "correction_id",
            {"grinder_id": "bar-1", "from": "2026-01-05T06:00:00Z", "reason": "x", "is_void": True},
            {"reason": "y"},
        ),
    ],
)
def test_what_is_entered_under_an_id_of_ones_own_is_once(
    client: CheckedClient,
    clock: Clock,
    path: str,
    id_name: str,
    entered: dict[str, Any],
    other: dict[str, Any],
) -> None:
    mine = {id_name: "mine-0001", **entered}
    first = client.post(f"/v1/{path}", json=mine)
    clock.pass_by(minutes=5)  # "from now on" is the now of the first
    again = client.post(f"/v1/{path}", json=mine)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json == again.json
    assert first.json[id_name] == "mine-0001"
    differing = client.post(f"/v1/{path}", json={**mine, **other})
    assert (differing.status_code, differing.json["type"]) == (409, f"{TYPE}already-exists")


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_of_two_periods_of_one_instant_the_last_by_id_holds_however_they_come(
    client: CheckedClient, clock: Clock, order: tuple[int, int]
) -> None:
    at = ago(clock, hours=2)
    both = [{"period_id": f"day-{letter}-000", "from": at, "coffee_lot": letter} for letter in "AB"]
    for number in order:
        assert client.post("/v1/grinders/bar-1/periods", json=both[number]).status_code == 201
    run = {"run_id": "run-00000001", "grinder_id": "bar-1", "age_seconds": 60, "grams": 18}
    assert client.post("/v1/runs", json=run).status_code == 201
    assert client.get("/v1/runs/run-00000001").json["coffee_lot"] == "B"


def test_a_moved_run_counts_at_its_corrected_start_at_every_instant(
    client: CheckedClient, clock: Clock
) -> None:
    run = {"run_id": "run-00000001", "grinder_id": "bar-1", "started_at": ago(clock, hours=1)}
    client.post("/v1/runs", json={**run, "grams": 18, "seconds": 8})
    fast = {
        "grinder_id": "bar-1",
        "from": ago(clock, hours=1.5),
        "clock_offset_seconds": -7200,
        "grams_offset": -2,
        "reason": "its clock was on summer time",
    }
    assert client.post("/v1/corrections", json=fast).status_code == 201
    for hours, grams in ((3.1, 0), (2.9, 16), (1, 16)):
        asked = f"/v1/grinders/bar-1/status?as_of={ago(clock, hours=hours)}"
        assert client.get(asked).json["throughput"]["grinder_grams"] == grams


def test_a_correction_changes_the_answers_until_it_is_revoked(
    client: CheckedClient, clock: Clock
) -> None:
    client.post("/v1/runs", json={**RUN, "started_at": ago(clock, hours=1)})
    made = client.post(
        "/v1/corrections",
        json={
            "grinder_id": "bar-1",
            "from": ago(clock, hours=2),
            "grams_offset": -2.2,
            "clock_offset_seconds": -60,
            "reason": "cup not tared",
        },
    )
    assert made.status_code == 201
    assert (made.json["is_void"], made.json["to"]) == (False, None)
    kept = client.get("/v1/runs/bar-1-000001").json
    assert (kept["grams"], kept["raw_grams"]) == (16.0, 18.2)
    assert kept["raw_started_at"] == ago(clock, hours=1)
    assert kept["started_at"] == ago(clock, hours=1, minutes=1)
    assert kept["correction_ids"] == [made.json["correction_id"]]
    assert client.get("/v1/grinders/bar-1/corrections").json["items"] == [made.json]
    revoked = client.post(f"/v1/corrections/{made.json['correction_id']}/revoke").json
    assert revoked == {**made.json, "revoked_at": instant_text(clock())}
    after = client.get("/v1/runs/bar-1-000001").json
    assert (after["grams"], after["raw_grams"], after["correction_ids"]) == (18.2, None, [])


@pytest.mark.parametrize(
    ("more", "pointer"),
    [
        ({}, "#"),
        ({"is_void": False, "grams_offset": None}, "#"),
        ({"grams_factor": 0}, "#/grams_factor"),
        ({"clock_offset_seconds": 400 * 86_400 + 1}, "#/clock_offset_seconds"),
        ({"is_void": True, "reason": ""}, "#/reason"),
        ({"is_void": True, "to": "2026-02-01T00:00:00Z"}, "#/to"),
        ({"is_void": "yes"}, "#/is_void"),
    ],
)
def test_a_correction_that_corrects_nothing_or_the_impossible_is_refused(
    client: CheckedClient, more: dict[str, Any], pointer: str
) -> None:
    body = {"grinder_id": "bar-1", "from": "2026-03-01T00:00:00Z", "reason": "why", **more}
    answer = client.post("/v1/corrections", json=body)
    assert (answer.status_code, pointers(answer)) == (422, [pointer])


def test_care_is_recorded_once_and_voided(client: CheckedClient, clock: Clock) -> None:
    care = {"care_id": "care-2026-1", "task": "burrs_removed", "zero_setting": 0.4, "at": None}
    first = client.post("/v1/grinders/bar-1/care", json=care)
    assert (first.status_code, first.json["at"]) == (201, instant_text(clock()))
    dated = {**care, "at": first.json["at"]}
    clock.pass_by(minutes=1)
    assert client.post("/v1/grinders/bar-1/care", json=dated).status_code == 200
    made = client.post("/v1/grinders/bar-1/care", json={"task": "cleaning"}).json
    listed = client.get("/v1/grinders/bar-1/care").json["items"]
    assert listed == [first.json, made]
    voided = client.post(f"/v1/care/{made['care_id']}/void").json
    assert voided == {**made, "voided_at": instant_text(clock())}
    wrong = client.post("/v1/grinders/bar-1/care", json={"task": "polish"})
    assert (wrong.status_code, pointers(wrong)) == (422, ["#/task"])


def test_what_is_not_there_is_not_found(client: CheckedClient) -> None:
    for path in (
        "/v1/readings/none-0000/void",
        "/v1/tallies/none-0000/void",
        "/v1/periods/none-0000/void",
        "/v1/corrections/none-0000/revoke",
        "/v1/care/none-0000/void",
        "/v1/burr-sets/none/void",
        "/v1/tallies/short/void",
    ):
        answer = client.post(path)
        assert (answer.status_code, answer.json["type"]) == (404, f"{TYPE}not-found")


# --- sites, grinders, burr sets -----------------------------------------------------------------


def test_a_sites_hours_and_closed_days_are_kept_and_patched(
    client: CheckedClient, clock: Clock
) -> None:
    hours = {"mon": [["07:00", "19:00"]], "sat": [["09:00", "12:00"], ["13:00", "01:00"]]}
    path, any_revision = "/v1/sites/mill-lane", {"If-Match": "*"}
    patch = {"opening_hours": hours, "closed_days": ["2026-12-25"]}
    changed = client.patch(path, json=patch, headers=any_revision).json
    assert (changed["opening_hours"], changed["closed_days"]) == (hours, ["2026-12-25"])
    clock.pass_by(days=1)
    at = ago(clock, hours=1)
    less = {"opening_hours": {"sat": None}, "closed_days": None, "effective_at": at}
    changed = client.patch(path, json=less, headers=any_revision).json
    assert (changed["opening_hours"], changed["closed_days"]) == ({"mon": hours["mon"]}, [])
    for opening_hours in (None, {"sun": [["10:00", "16:00"]]}):  # both at one instant
        body = {"opening_hours": opening_hours, "effective_at": at}
        changed = client.patch(path, json=body, headers=any_revision).json
        assert changed["opening_hours"] == opening_hours


@pytest.mark.parametrize(
    ("patch", "pointer"),
    [
        ({"opening_hours": {"monday": []}}, "#/opening_hours/monday"),
        ({"opening_hours": {"mon": [["7:00", "19:00"]]}}, "#/opening_hours/mon/0/0"),
        ({"opening_hours": {"mon": [["07:00"]]}}, "#/opening_hours/mon/0"),
        ({"opening_hours": {"mon": [["07:00", "24:00"]]}}, "#/opening_hours/mon/0/1"),
        ({"closed_days": ["2026-02-30"]}, "#/closed_days/0"),
        ({"closed_days": ["tomorrow"]}, "#/closed_days/0"),
        ({"closed_days": ["2026-12-25", "2026-W01-1"]}, "#/closed_days/1"),
        ({"closed_days": [20261225]}, "#/closed_days/0"),
    ],
)
def test_hours_and_days_that_are_none_are_refused(
    client: CheckedClient, patch: dict[str, Any], pointer: str
) -> None:
    answer = client.patch("/v1/sites/mill-lane", json=patch, headers={"If-Match": "*"})
    assert (answer.status_code, pointers(answer)) == (422, [pointer])


def test_a_grinder_keeps_what_it_retains_and_when_it_was_out_of_service(
    client: CheckedClient,
) -> None:
    spans = [
        {"from": "2026-02-01T09:00:00+01:00", "to": "2026-02-01T17:00:00+01:00"},
        {"from": "2026-03-01T08:00:00Z"},
    ]
    patch = {"retained_grams": 2.5, "out_of_service": spans}
    changed = client.patch("/v1/grinders/bar-1", json=patch, headers={"If-Match": "*"}).json
    assert changed["retained_grams"] == 2.5
    assert changed["out_of_service"] == [
        {"from": "2026-02-01T08:00:00.000Z", "to": "2026-02-01T16:00:00.000Z"},
        {"from": "2026-03-01T08:00:00.000Z", "to": None},
    ]
    assert client.get("/v1/grinders/bar-1").json == changed
    wrong = {"out_of_service": [{"from": spans[0]["from"], "to": spans[0]["from"]}]}
    answer = client.patch("/v1/grinders/bar-1", json=wrong, headers={"If-Match": "*"})
    assert (answer.status_code, pointers(answer)) == (422, ["#/out_of_service/0/to"])
    back = {"out_of_service": None, "retained_grams": None}
    changed = client.patch("/v1/grinders/bar-1", json=back, headers={"If-Match": "*"}).json
    assert (changed["out_of_service"], changed["retained_grams"]) == ([], None)


def test_a_burr_set_entered_by_mistake_is_voided(client: CheckedClient, clock: Clock) -> None:
    for burr_set_id, hours in (("first", 6), ("mistake", 3)):
        made = client.post(
            "/v1/grinders/bar-1/burr-sets",
            json={
                "burr_set_id": burr_set_id,
                "geometry": "flat",
                "prior_grams": 0,
                "fitted_at": ago(clock, hours=hours),
            },
        )
        assert (made.status_code, made.json["voided_at"]) == (201, None)
    voided = client.post("/v1/burr-sets/mistake/void")
    assert (voided.status_code, voided.json["voided_at"]) == (200, instant_text(clock()))
    assert voided.headers["ETag"] == client.get("/v1/burr-sets/mistake").headers["ETag"]
    status = client.get("/v1/grinders/bar-1/status").json
    assert status["throughput"]["burr_set_id"] == "first"


# --- what is possible, and what nobody weighed ----------------------------------------------------


def test_a_run_of_unknown_length_begun_before_the_cycle_may_reach_into_it(
    client: CheckedClient, clock: Clock
) -> None:
    """At 2 g/s 200 g last 100 s: begun 640 s ago, 60 s of them may lie in the last 600 s."""
    plate = {"grind": {"expected_grams_per_second": 2}}
    path = "/v1/grinders/bar-1"
    first = {"grinder_id": "bar-1", "run_id": "run-00000000", "age_seconds": 9000, "seconds": 1}
    scale = {"grinder_id": "bar-1", "run_id": "run-00000001", "age_seconds": 640, "grams": 200}
    for run in (first, scale):
        assert client.post("/v1/runs", json=run).status_code == 201
    duty = client.get(f"{path}/status").json["duty"]
    assert (duty["low_fraction"], duty["high_fraction"]) == (0, 1)  # no flow is known at all
    assert client.patch(path, json=plate, headers={"If-Match": "*"}).status_code == 200
    duty = client.get(f"{path}/status").json["duty"]
    assert (duty["low_fraction"], duty["high_fraction"]) == (0, 0.1)
    assert duty["coverage_fraction"] == 1
    clock.pass_by(minutes=2)
    assert client.get(f"{path}/status").json["duty"]["high_fraction"] == 0


def test_a_run_of_another_grinder_closes_no_open_run_here(
    client: CheckedClient, clock: Clock
) -> None:
    for age_seconds in (90, 10):
        line = {"grinder_id": "bar-1", "run_id": "run-00000001", "is_running": True}
        sent = client.post("/v1/readings", json={**line, "age_seconds": age_seconds})
        assert sent.json["accepted"] == 1
    there = {"run_id": "run-00000001", "grinder_id": "bar-2", "age_seconds": 95, "seconds": 90}
    assert client.post("/v1/runs", json=there).status_code == 201
    assert client.get("/v1/grinders/bar-1/status").json["duty"]["on_seconds"] == 80


def test_what_nobody_weighed_stands_beside_the_grams_of_the_day_and_the_grinder(
    client: CheckedClient, clock: Clock
) -> None:
    """The flow is that of weighed runs, 2 g/s; 8 s today and 5 s yesterday came without grams."""
    clock.pass_by(hours=4)
    for number, (hours, more) in enumerate(
        ((1, {"grams": 20, "seconds": 10}), (2, {"seconds": 8}), (30, {"seconds": 5}))
    ):
        run = {"run_id": f"run-{number:08d}", "grinder_id": "bar-1", **more}
        client.post("/v1/runs", json={**run, "started_at": ago(clock, hours=hours)})
        found = client.get("/v1/grinders/bar-1/status").json["throughput"]
    assert (found["today_grams"], found["today_estimated_grams"]) == (20, 16)
    assert (found["grinder_grams"], found["grinder_estimated_grams"]) == (20, 26)
    unknown = {"run_id": "run-00000009", "grinder_id": "bar-2", "age_seconds": 60, "seconds": 5}
    client.post("/v1/runs", json=unknown)
    found = client.get("/v1/grinders/bar-2/status").json["throughput"]
    assert (found["today_estimated_grams"], found["grinder_estimated_grams"]) == (None, None)


def test_a_new_motor_begins_its_seconds_anew(client: CheckedClient, clock: Clock) -> None:
    for number, minutes in enumerate((300, 200, 100)):
        run = {"run_id": f"run-{number:08d}", "grinder_id": "bar-1", "seconds": 10 + number}
        client.post("/v1/runs", json={**run, "started_at": ago(clock, minutes=minutes)})
    path = "/v1/grinders/bar-1"

    def seconds(minutes: float) -> tuple[float, float]:
        found = client.get(f"{path}/status?as_of={ago(clock, minutes=minutes)}").json["throughput"]
        return found["grinder_run_seconds"], found["motor_run_seconds"]

    assert seconds(0) == (33, 33)
    care = {"task": "motor_replaced", "at": ago(clock, minutes=250)}
    entered = client.post(f"{path}/care", json=care).json
    assert (seconds(0), seconds(150), seconds(260)) == ((33, 23), (21, 11), (10, 10))
    assert client.post(f"/v1/care/{entered['care_id']}/void").status_code == 200
    assert seconds(0) == (33, 33)


def test_an_id_of_the_wrong_length_is_refused_in_words(client: CheckedClient) -> None:
    answer = client.post("/v1/grinders/bar-1/care", json={"task": "repair", "care_id": "c1"})
    (error,) = answer.json["errors"]
    assert error["pointer"] == "#/care_id"
    assert error["detail"] == "must be 8 to 128 characters out of A-Z a-z 0-9 . _ : -"


def test_a_time_that_nobody_watched_is_taken_back_and_given_back(
    client: CheckedClient, clock: Clock
) -> None:
    run = {"run_id": "run-00000001", "grinder_id": "bar-1", "seconds": 8, "age_seconds": 7200}
    assert client.post("/v1/runs", json=run).status_code == 201

    def coverage() -> float:
        found: float = client.get("/v1/grinders/bar-1/status").json["duty"]["coverage_fraction"]
        return found

    assert coverage() == 1  # nobody ever watched: silence is idleness from the first run on
    said = {
        "runs": [],
        "watched_from": ago(clock, minutes=60),
        "watched_until": ago(clock, minutes=7),
        "watched_grinder_ids": ["bar-1"],
    }
    assert client.post("/v1/runs/batch", json=said).status_code == 200
    assert coverage() == 0.3  # 3 of the last 10 minutes
    mistake = {"grinder_id": "bar-1", "reason": "the gateway was off", "is_unwatched": True}
    part = {**mistake, "from": ago(clock, minutes=8.5), "to": ago(clock, minutes=5)}
    assert client.post("/v1/corrections", json=part).json["is_unwatched"] is True
    assert coverage() == 0.15
    whole = client.post("/v1/corrections", json={**mistake, "from": ago(clock, minutes=60)}).json
    assert coverage() == 1
    assert client.get("/v1/runs/run-00000001").json["correction_ids"] == []
    assert client.post(f"/v1/corrections/{whole['correction_id']}/revoke").status_code == 200
    assert coverage() == 0.15
