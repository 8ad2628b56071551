"""What belongs to another account, or lies beyond a key's bounds, looks as if it did not exist.

The matrices come from the list of operations. The risk is the first of the OWASP API Security
Top 10 (2023), API1 broken object level authorization.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from burrline_service.api.operation import Operation
from doors.scene import ABSENT, BEYOND, FAR, OWN, Scene
from doors.valid_requests import (
    BODIES,
    BODIES_WITH_IDS,
    BY_NAME,
    CHOSEN_IDS,
    LISTS,
    NOW,
    OPEN_IDS,
    OPERATIONS,
    REPLAYABLE,
    WITH_ID,
    BodyWithId,
    Ids,
    ids_in_bodies,
    instant,
    named_in_query,
    new_grinder,
    new_reading,
    new_run,
    new_tally,
    request_of,
    url_of,
)

# Query parameters that hold an id: operation, name.
IDS_IN_QUERIES = (
    ("list_grinders", "site_id"),
    ("get_fleet", "site_id"),
    ("list_alerts", "site_id"),
    ("list_alerts", "grinder_id"),
    ("get_calibration", "reference_checkpoint_id"),
    ("compare_burr_sets", "burr_set_ids"),
    ("get_alert_settings", "site_id"),
    ("get_alert_settings", "grinder_id"),
    ("set_alert_settings", "site_id"),
    ("set_alert_settings", "grinder_id"),
)
# Of these what is not there is refused; a list filtered by it is empty.
REFUSED_IN_QUERIES = ("grinder_id", "reference_checkpoint_id", "burr_set_ids")
# What a line format of a list is asked for with.
LINE_FORMATS = ("csv", "ndjson")


# What batches are made of: member, operation, what makes a line.
LINES = {
    "runs": ("add_runs", new_run),
    "readings": ("add_readings", new_reading),
    "tallies": ("add_tallies", new_tally),
}


def by_name(value: Any) -> str:
    return value.name if isinstance(value, Operation) else str(value)


def seen(answer: Any, ids: Ids) -> tuple[int, dict[str, str], str]:
    """Everything a client sees of an answer, the asked ids replaced by their kind."""
    headers = {name: ids.without(value) for name, value in answer.headers.items()}
    return answer.status_code, headers, ids.without(answer.text)


# --- the tables are whole -----------------------------------------------------------------------


def test_every_operation_has_a_request() -> None:
    assert set(BODIES) == {operation.name for operation in OPERATIONS}
    for operation in OPERATIONS:
        assert (BODIES[operation.name] is not None) == (operation.takes is not None), operation.name


def test_every_id_in_a_body_is_in_a_matrix(document: Mapping[str, Any]) -> None:
    named = {(case.operation, case.place) for case in BODIES_WITH_IDS}
    assert set(ids_in_bodies(document)) == named | CHOSEN_IDS | OPEN_IDS


def test_every_id_in_a_query_is_in_a_matrix(document: Mapping[str, Any]) -> None:
    found = {
        (operation["operationId"], parameter["name"])
        for path in document["paths"].values()
        for method, operation in path.items()
        if method != "parameters"
        for parameter in operation.get("parameters", ())
        if parameter["in"] == "query" and parameter["name"].endswith(("_id", "_ids"))
    }
    assert found == set(IDS_IN_QUERIES)


# --- another account's objects ------------------------------------------------------------------


@pytest.mark.parametrize("operation", WITH_ID, ids=by_name)
def test_anothers_object_answers_as_an_absent_one(scene: Scene, operation: Operation) -> None:
    before = scene.rows()
    far = scene.ids(FAR, key="far")
    of_another = scene.send(scene.key, operation, far)
    of_nobody = scene.send(scene.key, operation, ABSENT)
    assert of_another.status_code == 404
    assert seen(of_another, far) == seen(of_nobody, ABSENT)
    assert scene.rows() == before


@pytest.mark.parametrize("operation", WITH_ID, ids=by_name)
def test_ones_own_object_answers_and_its_twin_elsewhere_stays(
    scene: Scene, operation: Operation
) -> None:
    elsewhere = scene.rows_of_other_account()
    answer = scene.send(scene.key, operation, scene.ids(OWN, key="account"))
    assert answer.status_code == operation.status
    assert scene.rows_of_other_account() == elsewhere


@pytest.mark.parametrize("case", BODIES_WITH_IDS, ids=str)
def test_anothers_id_in_a_body_answers_as_an_absent_one(scene: Scene, case: BodyWithId) -> None:
    operation = BY_NAME[case.operation]
    before = scene.rows()
    answers = []
    for named in (FAR, ABSENT):
        body = case.body(OWN, named, 0)
        answer = scene.send(scene.key, operation, scene.ids(OWN, key="account"), body=body)
        answers.append(seen(answer, named))
        if case.is_line:
            assert answer.get_json()["rejected"] == answer.get_json()["received"] == 1
        else:
            assert answer.status_code in (404, 422)
        assert getattr(named, case.kind) in answer.text, "refused for another reason"
    assert answers[0] == answers[1]
    assert scene.rows() == before


@pytest.mark.parametrize("case", BODIES_WITH_IDS, ids=str)
def test_the_same_body_with_ones_own_id_is_taken(scene: Scene, case: BodyWithId) -> None:
    operation = BY_NAME[case.operation]
    elsewhere = scene.rows_of_other_account()
    body = case.body(OWN, OWN, 0)
    if case.operation == "fit_burr_set":
        body["burr_set_id"] = OWN.burr_set_id
    ids = OWN
    if case.operation == "update_webhook":  # the first one stays within every key's bounds
        ids = replace(OWN, webhook_id=f"{OWN.webhook_id}-2")
    answer = scene.send(scene.key, operation, ids, body=body)
    assert answer.status_code == operation.status, answer.text
    assert scene.rows_of_other_account() == elsewhere


@pytest.mark.parametrize("member", LINES)
def test_a_batch_keeps_its_good_lines_beside_anothers(scene: Scene, member: str) -> None:
    name, new = LINES[member]
    elsewhere = scene.rows_of_other_account()
    lines = [new(FAR, 900_001), new(OWN, 900_002), new(ABSENT, 900_003)]
    answer = scene.send(scene.key, BY_NAME[name], OWN, body={member: lines}).get_json()
    assert (answer["accepted"], answer["rejected"]) == (1, 2)
    texts = [FAR.without(str(answer["problems"][0])), ABSENT.without(str(answer["problems"][1]))]
    assert texts[0].replace("900001", "#").replace(f"/{member}/0", "").replace(
        "'index': 0", ""
    ) == texts[1].replace("900003", "#").replace(f"/{member}/2", "").replace("'index': 2", "")
    assert scene.rows_of_other_account() == elsewhere


@pytest.mark.parametrize(("name", "parameter"), IDS_IN_QUERIES)
def test_anothers_id_in_a_query_finds_what_an_absent_one_finds(
    scene: Scene, name: str, parameter: str
) -> None:
    answers = [
        scene.send(
            scene.key, BY_NAME[name], OWN, query={parameter: named_in_query(parameter, OWN, ids)}
        )
        for ids in (FAR, ABSENT, OWN)
    ]
    check_found_alone(answers, name, parameter)


@pytest.mark.parametrize("bound", ["site", "grinder"])
@pytest.mark.parametrize(("name", "parameter"), IDS_IN_QUERIES)
def test_an_id_beyond_a_bound_key_in_a_query_finds_what_an_absent_one_finds(
    scene: Scene, name: str, parameter: str, bound: str
) -> None:
    key = scene.site_key if bound == "site" else scene.grinder_key
    answers = [
        scene.send(key, BY_NAME[name], OWN, query={parameter: named_in_query(parameter, OWN, ids)})
        for ids in (BEYOND, ABSENT, OWN)
    ]
    if (bound, parameter) == ("grinder", "site_id") and not BY_NAME[name].is_list:
        # such a key sees no site at all, not even its grinder's
        assert {answer.status_code for answer in answers} == {404}
        return
    check_found_alone(answers, name, parameter)


def check_found_alone(answers: list[Any], name: str, parameter: str) -> None:
    """What is foreign or beyond answers as what is absent; the third one, one's own, is found."""
    *others, own = answers
    if parameter in REFUSED_IN_QUERIES or not BY_NAME[name].is_list:
        assert [answer.status_code for answer in others] == [404, 404]
        texts = [ABSENT.without(BEYOND.without(FAR.without(answer.text))) for answer in others]
        assert texts[0] == texts[1]
    else:
        assert [answer.status_code for answer in others] == [200, 200]
        assert others[0].data == others[1].data
        assert others[0].get_json()["items"] == []
    assert own.status_code == 200
    assert not BY_NAME[name].is_list or own.get_json()["items"] != []


@pytest.mark.parametrize("operation", LISTS, ids=by_name)
def test_a_list_holds_nothing_of_another_account(scene: Scene, operation: Operation) -> None:
    texts = {}
    for who, key in (("lantern", scene.key), ("harbour", scene.other_key)):
        answer = scene.send(key, operation, OWN, query={"limit": "200"})
        assert answer.status_code == 200
        assert answer.get_json()["items"], "an empty list proves nothing"
        texts[who] = answer.text
    assert "far-" not in texts["lantern"]
    assert scene.spare_key_ids["far"] not in texts["lantern"]
    assert "bey-" not in texts["harbour"]
    assert scene.spare_key_ids["account"] not in texts["harbour"]


@pytest.mark.parametrize("operation", LISTS, ids=by_name)
def test_a_cursor_of_another_account_is_no_cursor(scene: Scene, operation: Operation) -> None:
    theirs = scene.send(scene.other_key, operation, OWN, query={"limit": "1"}).get_json()
    cursor = theirs["next_cursor"]
    assert cursor, "the scene needs two of everything listed"
    going_on = scene.send(scene.other_key, operation, OWN, query={"limit": "1", "cursor": cursor})
    assert going_on.status_code == 200
    answers = [
        scene.send(scene.key, operation, OWN, query={"limit": "1", "cursor": text})
        for text in (cursor, "made-up")
    ]
    assert [answer.status_code for answer in answers] == [400, 400]
    assert answers[0].data == answers[1].data


@pytest.mark.parametrize("operation", REPLAYABLE, ids=by_name)
def test_an_idempotency_key_of_another_account_is_ones_own(
    scene: Scene, operation: Operation
) -> None:
    serial = next(scene.serials)
    request = request_of(operation, OWN, serial, headers={"Idempotency-Key": f"one-{serial:05}"})
    url = url_of(operation, OWN)
    theirs = scene.client(scene.other_key).open(url, **request)
    elsewhere = scene.rows_of_other_account()
    mine = scene.client(scene.key).open(url, **request)
    again = scene.client(scene.key).open(url, **request)
    assert theirs.status_code == mine.status_code == 201
    assert "Idempotency-Replayed" not in mine.headers
    assert again.headers["Idempotency-Replayed"] == "true"
    assert again.data == mine.data
    assert scene.rows_of_other_account() == elsewhere


@pytest.mark.parametrize(("name", "place"), sorted(CHOSEN_IDS))
def test_an_id_taken_in_another_account_is_free(scene: Scene, name: str, place: str) -> None:
    operation = BY_NAME[name]
    serial = next(scene.serials)
    body = {"readings": [new_reading(OWN, serial)]} if place.startswith("readings.") else None
    request = request_of(operation, OWN, serial, body=body)
    answers = [
        scene.client(key).open(url_of(operation, OWN), **request)
        for key in (scene.other_key, scene.key)
    ]
    assert [answer.status_code for answer in answers] == [operation.status] * 2
    if name in ("add_runs", "add_readings", "add_tallies"):
        assert [answer.get_json()["accepted"] for answer in answers] == [1, 1]


# --- beyond a key's bounds ----------------------------------------------------------------------


@pytest.mark.parametrize("bound", ["site", "grinder"])
@pytest.mark.parametrize("operation", WITH_ID, ids=by_name)
def test_what_lies_beyond_a_bound_key_answers_as_absent(
    scene: Scene, operation: Operation, bound: str
) -> None:
    key = scene.site_key if bound == "site" else scene.grinder_key
    before = scene.rows()
    beyond = scene.ids(BEYOND, key="beyond")
    out_of_bounds = scene.send(key, operation, beyond)
    of_nobody = scene.send(key, operation, ABSENT)
    assert out_of_bounds.status_code == 404
    assert seen(out_of_bounds, beyond) == seen(of_nobody, ABSENT)
    assert scene.rows() == before


@pytest.mark.parametrize("bound", ["site", "grinder"])
@pytest.mark.parametrize("operation", WITH_ID, ids=by_name)
def test_what_lies_within_a_bound_key_answers(
    scene: Scene, operation: Operation, bound: str
) -> None:
    key = scene.site_key if bound == "site" else scene.grinder_key
    answer = scene.send(key, operation, scene.ids(OWN, key=bound))
    if bound == "grinder" and "site_id" in operation.path_ids:
        assert answer.status_code == 404  # a site is more than one grinder
    else:
        assert answer.status_code == operation.status, answer.text


@pytest.mark.parametrize("bound", ["site", "grinder"])
@pytest.mark.parametrize("case", BODIES_WITH_IDS, ids=str)
def test_a_bound_key_names_nothing_beyond_in_a_body(
    scene: Scene, case: BodyWithId, bound: str
) -> None:
    operation = BY_NAME[case.operation]
    key = scene.site_key if bound == "site" else scene.grinder_key
    before = scene.rows()
    body = case.body(OWN, BEYOND, 0)
    answer = scene.send(key, operation, scene.ids(OWN, key=bound), body=body)
    if case.is_line:
        assert answer.get_json()["rejected"] == 1
    else:
        assert answer.status_code in (403, 404, 422)
    assert scene.rows() == before


@pytest.mark.parametrize("bound", ["site", "grinder"])
@pytest.mark.parametrize("operation", LISTS, ids=by_name)
def test_a_list_of_a_bound_key_holds_only_what_lies_within(
    scene: Scene, operation: Operation, bound: str
) -> None:
    key = scene.site_key if bound == "site" else scene.grinder_key
    answer = scene.send(key, operation, OWN, query={"limit": "200"})
    assert answer.status_code == 200
    assert "bey-" not in answer.text
    assert "far-" not in answer.text
    if operation.name == "list_keys":
        found = {item["key_id"] for item in answer.get_json()["items"]}
        assert scene.spare_key_ids[bound] in found
        assert not found & {scene.spare_key_ids["account"], scene.spare_key_ids["beyond"]}
    elif not (bound == "grinder" and operation.name == "list_sites"):
        assert "own-" in answer.text


def test_an_id_used_beyond_a_bound_tells_nothing_of_what_it_names(scene: Scene) -> None:
    """Ids are unique in the account: one that is taken is refused, and nothing of it is shown."""
    for name, kind, new in (
        ("add_tally", "tally_id", BODIES["add_tally"]),
        ("record_care", "care_id", BODIES["record_care"]),
        ("set_period", "period_id", BODIES["set_period"]),
        ("add_correction", "correction_id", BODIES["add_correction"]),
        ("add_readings", "reading_id", BODIES["add_readings"]),
    ):
        assert new is not None
        body = {**new(OWN, 920_001), kind: getattr(BEYOND, kind)}
        before = scene.rows()
        for key in (scene.site_key, scene.grinder_key):
            answer = scene.send(key, BY_NAME[name], OWN, body=body)
            assert answer.status_code == 409, answer.text
            assert BEYOND.grinder_id not in answer.text
        assert scene.rows() == before


def test_a_set_that_went_on_beyond_a_bound_shows_its_stays_within_alone(scene: Scene) -> None:
    burr_set_id = f"own-went-{next(scene.serials)}"
    own = scene.client(scene.key)
    fitted_at = instant(NOW - timedelta(hours=9))
    new = {"burr_set_id": burr_set_id, "geometry": "flat", "prior_grams": 0}
    for ids, body in (
        (OWN, {**new, "fitted_at": fitted_at}),
        (
            BEYOND,
            {"burr_set_id": burr_set_id, "fitted_at": instant(NOW - timedelta(hours=8))},
        ),
    ):
        answer = own.post(f"/v1/grinders/{ids.grinder_id}/burr-sets", json=body)
        assert answer.status_code == 201
    path = f"/v1/burr-sets/{burr_set_id}"
    assert BEYOND.grinder_id in own.get(path).text, "else nothing is proven"
    stay = {"grinder_id": OWN.grinder_id, "fitted_at": fitted_at}
    for key in (scene.site_key, scene.grinder_key):
        client = scene.client(key)
        read = client.get(path)
        assert read.status_code == 200
        assert OWN.grinder_id in read.text
        listed = client.get(f"/v1/grinders/{OWN.grinder_id}/burr-sets?limit=200")
        assert burr_set_id in listed.text
        before = scene.rows()
        refused = [
            client.post(f"{path}/void"),
            client.patch(path, json={"fittings": [stay]}, headers={"If-Match": "*"}),
        ]
        assert [answer.status_code for answer in refused] == [403, 403]
        assert scene.rows() == before
        for answer in (read, listed, *refused):
            assert BEYOND.grinder_id not in answer.text
    assert own.post(f"{path}/void").status_code == 200
    again = [scene.client(key).post(f"{path}/void") for key in (scene.key, scene.site_key)]
    assert [answer.status_code for answer in again] == [200, 403]


def test_a_reading_of_anothers_run_is_a_reading_of_a_run_to_come(scene: Scene) -> None:
    mine = replace(OWN, grinder_id=f"read-bar-{next(scene.serials)}")
    made = scene.send(
        scene.key,
        BY_NAME["create_grinder"],
        mine,
        body={"grinder_id": mine.grinder_id, "site_id": OWN.site_id, "name": "Read"},
    )
    assert made.status_code == 201
    answers = []
    for serial, ids in ((930_001, FAR), (930_002, ABSENT)):
        body = {**new_reading(mine, serial), "run_id": ids.run_id, "is_running": True}
        answers.append(scene.send(scene.key, BY_NAME["add_readings"], OWN, body=body))
        assert answers[-1].get_json()["accepted"] == 1
    assert answers[0].data == answers[1].data


# --- a key's bounds are where its grinders stand now --------------------------------------------


def test_what_moved_away_is_beyond_at_every_instant(scene: Scene) -> None:
    """No past instant opens a grinder that stands beyond the key's sites now, in any answer."""
    client = scene.client(scene.key)
    moved = f"moved-bar-{next(scene.serials)}"
    body = {"grinder_id": moved, "site_id": OWN.site_id, "name": "Moves"}
    assert client.post("/v1/grinders", json=body).status_code == 201
    began = NOW - timedelta(hours=5)
    long_run = {
        "run_id": f"{moved}-run",
        "grinder_id": moved,
        "started_at": instant(began),
        "seconds": 900,
    }
    assert client.post("/v1/runs", json=long_run).status_code == 201
    at = instant(began + timedelta(minutes=30))
    paths = ("/v1/alerts", f"/v1/alerts?as_of={at}", f"/v1/alerts?site_id={OWN.site_id}&as_of={at}")
    site_client = scene.client(scene.site_key)
    assert all(moved in client.get(path).text for path in paths), "else nothing is proven"
    assert all(moved in site_client.get(path).text for path in paths)
    away = client.patch(
        f"/v1/grinders/{moved}",
        json={"site_id": BEYOND.site_id, "effective_at": instant(NOW - timedelta(hours=1))},
        headers={"If-Match": "*"},
    )
    assert away.status_code == 200
    assert all(moved in client.get(path).text for path in (paths[0], paths[1]))
    for path in (*paths, "/v1/grinders", "/v1/fleet"):
        assert moved not in site_client.get(path).text, path
    for path in ("status", "throughput", "runs", "readings", "tallies", "care"):
        asked = f"/v1/grinders/{moved}/{path}"
        assert site_client.get(asked).status_code == 404
    for path in ("status", "throughput"):
        asked = f"/v1/grinders/{moved}/{path}?as_of={at}"
        assert client.get(asked).status_code == 200
        assert site_client.get(asked).status_code == 404


# --- lines: exports, and lists as CSV and NDJSON ------------------------------------------------


def test_an_export_holds_its_own_account_alone_and_no_secret(scene: Scene) -> None:
    exported = {}
    for who, key in (("lantern", scene.key), ("harbour", scene.other_key)):
        answer = scene.send(key, BY_NAME["export_account"], OWN)
        assert answer.status_code == 200
        assert answer.content_type == "application/x-ndjson"
        lines = [json.loads(line) for line in answer.text.splitlines()]
        assert lines[-1]["kind"] == "end"
        found = {line["kind"] for line in lines}
        assert {"site", "grinder", "burr_set", "run", "reading", "tally", "period"} <= found
        assert {"correction", "care"} <= found
        assert "key" not in found
        exported[who] = answer.text
        for secret in scene.secrets:
            assert secret not in answer.text
            assert secret[17:50] not in answer.text
    assert "bey-bar" in exported["lantern"]
    assert "far-bar" not in exported["lantern"]
    assert "far-bar" in exported["harbour"]
    assert "bey-" not in exported["harbour"]


@pytest.mark.parametrize("bound", ["site", "grinder"])
def test_a_bound_key_exports_nothing(scene: Scene, bound: str) -> None:
    key = scene.site_key if bound == "site" else scene.grinder_key
    answer = scene.send(key, BY_NAME["export_account"], OWN)
    assert answer.status_code == 403
    assert answer.get_json()["type"] == "urn:burrline:problem:out-of-reach"
    assert "own-" not in answer.text


@pytest.mark.parametrize("media", LINE_FORMATS)
def test_lines_hold_what_a_page_may_hold_and_no_more(scene: Scene, media: str) -> None:
    operation, query = BY_NAME["list_runs"], {"format": media}
    for key in (scene.key, scene.site_key, scene.grinder_key):
        answer = scene.send(key, operation, OWN, query=query)
        assert answer.status_code == 200
        assert OWN.run_id in answer.text
        assert "far-" not in answer.text
        assert "bey-" not in answer.text
        nobodys = scene.send(key, operation, ABSENT, query=query)
        assert nobodys.status_code == 404
        for ids in (FAR,) if key == scene.key else (FAR, BEYOND):
            other = scene.send(key, operation, ids, query=query)
            assert seen(other, ids) == seen(nobodys, ABSENT)


def test_a_bound_key_makes_no_site_and_no_key_beyond_its_bounds(scene: Scene) -> None:
    before = scene.rows()
    for key in (scene.site_key, scene.grinder_key):
        assert scene.send(key, BY_NAME["create_site"], OWN).status_code == 403
        unbound = scene.send(key, BY_NAME["create_key"], OWN, body={"name": "wider"})
        assert unbound.status_code == 403
    assert scene.rows() == before


@pytest.mark.parametrize(
    "name",
    ["create_grinder", "fit_burr_set", "add_tally", "set_period", "add_correction", "record_care"],
)
def test_an_idempotency_key_opens_no_way_around_a_bound(scene: Scene, name: str) -> None:
    operation = BY_NAME[name]
    serial = next(scene.serials)
    request = request_of(operation, BEYOND, serial, headers={"Idempotency-Key": f"two-{serial:05}"})
    url = url_of(operation, BEYOND)
    assert scene.client(scene.key).open(url, **request).status_code == 201
    before = scene.rows()
    for key in (scene.site_key, scene.grinder_key):
        assert scene.client(key).open(url, **request).status_code in (403, 404, 422)
    assert scene.rows() == before


@pytest.mark.parametrize("member", LINES)
def test_a_line_of_a_grinder_beyond_is_refused_one_by_one(scene: Scene, member: str) -> None:
    name, new = LINES[member]
    lines = [new(OWN, 910_001), new(BEYOND, 910_002), new(FAR, 910_003)]
    answer = scene.send(scene.grinder_key, BY_NAME[name], OWN, body={member: lines})
    assert (answer.get_json()["accepted"], answer.get_json()["rejected"]) == (1, 2)


def test_the_page_shows_only_what_the_key_may_see(scene: Scene) -> None:
    def page(key: str) -> str:
        answer = scene.client(None).get("/", auth=("anyone", key))
        assert answer.status_code == 200
        text: str = answer.text
        return text

    assert "own-bar" in page(scene.key)
    assert "bey-bar" in page(scene.key)
    assert "far-bar" not in page(scene.key)
    assert "bey-" not in page(scene.other_key)
    for key in (scene.site_key, scene.grinder_key):
        assert "own-bar" in page(key)
        assert "bey-" not in page(key)


def test_a_grinder_cannot_be_made_at_a_site_beyond(scene: Scene) -> None:
    before = scene.rows()
    for ids in (BEYOND, FAR, ABSENT):
        body = new_grinder(ids, next(scene.serials))
        answer = scene.send(scene.site_key, BY_NAME["create_grinder"], OWN, body=body)
        assert answer.status_code in (403, 422)
    assert scene.rows() == before
