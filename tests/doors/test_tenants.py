"""What belongs to another account, or lies beyond a key's bounds, looks as if it did not exist.

The matrices come from the list of operations. The risk is the first of the OWASP API Security
Top 10 (2023), API1 broken object level authorization.
"""

from __future__ import annotations

from collections.abc import Mapping
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
    OPERATIONS,
    REPLAYABLE,
    WITH_ID,
    BodyWithId,
    Ids,
    ids_in_bodies,
    new_grinder,
    new_run,
    request_of,
    url_of,
)

# Query parameters that hold an id: operation, name.
IDS_IN_QUERIES = (("list_grinders", "site_id"), ("get_fleet", "site_id"))


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
    assert set(ids_in_bodies(document)) == named | CHOSEN_IDS


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
        if operation.name == "add_runs":  # each line is judged alone
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
    answer = scene.send(scene.key, operation, OWN, body=body)
    assert answer.status_code == operation.status, answer.text
    assert scene.rows_of_other_account() == elsewhere


def test_a_batch_keeps_its_good_lines_beside_anothers(scene: Scene) -> None:
    elsewhere = scene.rows_of_other_account()
    lines = [new_run(FAR, 900_001), new_run(OWN, 900_002), new_run(ABSENT, 900_003)]
    answer = scene.send(scene.key, BY_NAME["add_runs"], OWN, body={"runs": lines}).get_json()
    assert (answer["accepted"], answer["rejected"]) == (1, 2)
    texts = [FAR.without(str(answer["problems"][0])), ABSENT.without(str(answer["problems"][1]))]
    assert texts[0].replace("900001", "#").replace("/runs/0", "").replace("'index': 0", "") == (
        texts[1].replace("900003", "#").replace("/runs/2", "").replace("'index': 2", "")
    )
    assert scene.rows_of_other_account() == elsewhere


@pytest.mark.parametrize(("name", "parameter"), IDS_IN_QUERIES)
def test_anothers_id_in_a_query_finds_what_an_absent_one_finds(
    scene: Scene, name: str, parameter: str
) -> None:
    answers = [
        scene.send(scene.key, BY_NAME[name], OWN, query={parameter: getattr(ids, parameter)})
        for ids in (FAR, ABSENT, OWN)
    ]
    assert [answer.status_code for answer in answers] == [200, 200, 200]
    assert answers[0].data == answers[1].data
    assert answers[0].get_json()["items"] == []
    assert answers[2].get_json()["items"] != []


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
    answers = [
        scene.client(key).open(url_of(operation, OWN), **request_of(operation, OWN, serial))
        for key in (scene.other_key, scene.key)
    ]
    assert [answer.status_code for answer in answers] == [operation.status] * 2
    if name == "add_runs":
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
    if operation.name == "add_runs":
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


def test_a_bound_key_makes_no_site_and_no_key_beyond_its_bounds(scene: Scene) -> None:
    before = scene.rows()
    for key in (scene.site_key, scene.grinder_key):
        assert scene.send(key, BY_NAME["create_site"], OWN).status_code == 403
        unbound = scene.send(key, BY_NAME["create_key"], OWN, body={"name": "wider"})
        assert unbound.status_code == 403
    assert scene.rows() == before


def test_an_idempotency_key_opens_no_way_around_a_bound(scene: Scene) -> None:
    operation = BY_NAME["fit_burr_set"]
    serial = next(scene.serials)
    request = request_of(operation, BEYOND, serial, headers={"Idempotency-Key": f"two-{serial:05}"})
    url = url_of(operation, BEYOND)
    assert scene.client(scene.key).open(url, **request).status_code == 201
    before = scene.rows()
    for key in (scene.site_key, scene.grinder_key):
        assert scene.client(key).open(url, **request).status_code in (404, 422)
    assert scene.rows() == before


def test_a_run_of_a_grinder_beyond_is_refused_one_by_one(scene: Scene) -> None:
    lines = [new_run(OWN, 910_001), new_run(BEYOND, 910_002), new_run(FAR, 910_003)]
    answer = scene.send(scene.grinder_key, BY_NAME["add_runs"], OWN, body={"runs": lines})
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
