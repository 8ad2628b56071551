"""From an operation's value to an answer: checks in order, tags, pages, replays, headers."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient

from burrline_service.api import glue
from burrline_service.api.fields import Text
from burrline_service.api.operation import JSON, MERGE_PATCH, Operation
from burrline_service.api.schemas_common import (
    Answer,
    Body,
    Paging,
    cursor_of_next,
    items_of,
    site_id,
)
from burrline_service.core.errors import AlreadyExists, KeyReused, NotFound, Unauthenticated
from burrline_service.core.records import Caller, Page

NOW = datetime(2026, 7, 6, 9, 10, tzinfo=UTC)
GOOD = {"Authorization": "Bearer good"}


@dataclass(frozen=True)
class Cup:
    site_id: str
    name: str
    revision: int = 1


class CupSchema(Answer):
    site_id = site_id()
    name = Text("name", high=20)


class CupPageSchema(Answer):
    items = items_of(CupSchema, "cups")
    next_cursor = cursor_of_next()


class NewCupSchema(Body):
    site_id = site_id(required=True)
    name = Text("name", high=20)


class CupFilterSchema(Paging):
    kind = Text("kind", high=20)


class Shelf:
    """A database and its actions in one, for these tests alone."""

    def __init__(self) -> None:
        self.cups: dict[str, Cup] = {}
        self.replies: dict[str, tuple[bytes, Any]] = {}
        self.calls: list[dict[str, Any]] = []


def make(shelf: Shelf, caller: Caller, *, fields: dict[str, Any], now: datetime) -> Cup:
    shelf.calls.append({"fields": fields, "now": now})
    if fields["site_id"] in shelf.cups:
        raise AlreadyExists("cup", fields["site_id"])
    cup = Cup(fields["site_id"], fields.get("name", "cup"))
    shelf.cups[cup.site_id] = cup
    return cup


def find(shelf: Shelf, caller: Caller, *, site_id: str, now: datetime) -> Cup:
    if site_id not in shelf.cups:
        raise NotFound("site", site_id)
    return shelf.cups[site_id]


def change(shelf: Shelf, caller: Caller, **keywords: Any) -> Cup:
    shelf.calls.append(keywords)
    return Cup(keywords["site_id"], "changed", 2)


def look(shelf: Shelf, caller: Caller, **keywords: Any) -> Page:
    shelf.calls.append(keywords)
    names = sorted(shelf.cups)
    start = keywords["position"][0] if keywords["position"] else 0
    end = start + keywords["limit"]
    items = tuple(shelf.cups[name] for name in names[start:end])
    return Page(items, (end,) if end < len(names) else None)


def drop(shelf: Shelf, caller: Caller, *, site_id: str, now: datetime) -> Cup:
    return shelf.cups.pop(site_id)


def operation(name: str, method: str, path: str, act: Any, **more: Any) -> Operation:
    words = {"tag": "Cups", "summary": "s", "description": "d", "scope": "read", **more}
    return Operation(name=name, method=method, path=path, act=act, **words)


OPERATIONS = (
    operation("make", "POST", "/cups", make, scope="manage", takes=NewCupSchema, gives=CupSchema,
              status=201, is_replayable=True, has_etag=True, location="/cups/<site_id>"),
    operation("look", "GET", "/cups", look, query=CupFilterSchema, gives=CupPageSchema,
              is_list=True),
    operation("find", "GET", "/cups/<site_id>", find, gives=CupSchema, has_etag=True),
    operation("change", "PATCH", "/cups/<site_id>", change, takes=NewCupSchema,
              takes_media=(MERGE_PATCH, JSON), gives=CupSchema, needs_if_match=True,
              has_etag=True),
    operation("drop", "DELETE", "/cups/<site_id>", drop, gives=CupSchema),
    operation("open", "GET", "/open", lambda shelf, now: Cup("mill-lane", "open"), scope=None,
              gives=CupSchema),
    operation("broken", "GET", "/broken", lambda shelf, now: 1 // 0, scope=None, gives=CupSchema),
)  # fmt: skip


def authenticate(shelf: Shelf, *, credential: str, now: datetime) -> Caller:
    scopes = {"good": {"read", "manage"}, "reader": {"read"}, "other": {"read"}}.get(credential)
    if scopes is None:
        raise Unauthenticated("The key is not known.", error="invalid_token")
    return Caller(2 if credential == "other" else 1, frozenset(scopes), credential)


def perform(shelf: Shelf, caller: Caller, *, key: str, fingerprint: bytes, now: datetime,
            produce: Any) -> tuple[Any, bool]:  # fmt: skip
    if key in shelf.replies:
        kept, reply = shelf.replies[key]
        if kept != fingerprint:
            raise KeyReused
        return reply, True
    reply = produce(shelf)
    shelf.replies[key] = (fingerprint, reply)
    return reply, False


@pytest.fixture
def shelf() -> Shelf:
    return Shelf()


@pytest.fixture
def client(shelf: Shelf, monkeypatch: pytest.MonkeyPatch) -> Iterator[FlaskClient]:
    monkeypatch.setattr(glue.access, "authenticate", authenticate)
    monkeypatch.setattr(glue.once, "perform", perform)
    app = Flask(__name__, static_folder=None)
    glue.install(app, shelf, OPERATIONS, lambda: NOW)
    with app.test_client() as client:
        yield client


def problem_of(answer: Any) -> str:
    assert answer.content_type == "application/problem+json"
    assert answer.json["status"] == answer.status_code
    name: str = answer.json["type"].removeprefix("urn:burrline:problem:")
    return name


# --- the way to an action ----------------------------------------------------------------------


def test_an_action_gets_what_was_sent_and_the_clock(client: FlaskClient, shelf: Shelf) -> None:
    answer = client.post("/cups", json={"site_id": "mill-lane", "name": "blue"}, headers=GOOD)
    assert answer.status_code == 201
    assert answer.get_data() == b'{"site_id":"mill-lane","name":"blue"}\n'
    assert answer.headers["Location"] == "/cups/mill-lane"
    assert answer.headers["ETag"] == '"r1"'
    assert shelf.calls == [{"fields": {"site_id": "mill-lane", "name": "blue"}, "now": NOW}]


@pytest.mark.parametrize(
    ("sent", "status", "name"),
    [
        ({"data": b"{", "headers": {}}, 401, "unauthenticated"),
        ({"data": b"{", "headers": {"Authorization": "Bearer wrong"}}, 401, "unauthenticated"),
        ({"data": b"{", "headers": {"Authorization": "Bearer reader"}}, 403, "scope-missing"),
        ({"data": b"{", "headers": GOOD, "query_string": "a=1"}, 422, "invalid"),
        ({"data": b"{", "headers": GOOD}, 415, "unsupported-media-type"),
        ({"data": b"{", "headers": GOOD, "content_type": JSON}, 400, "not-json"),
        ({"data": b"", "headers": GOOD, "content_type": JSON}, 400, "not-json"),
        ({"data": b"[]", "headers": GOOD, "content_type": JSON}, 422, "invalid"),
        ({"data": b"{}", "headers": GOOD, "content_type": JSON}, 422, "invalid"),
        ({"json": {"site_id": "a", "color": 1}, "headers": GOOD}, 422, "invalid"),
        ({"data": b" " * 1_048_577, "headers": GOOD, "content_type": JSON}, 413, "too-large"),
        (
            {"json": {"site_id": "a"}, "headers": {**GOOD, "Idempotency-Key": "short"}},
            400,
            "bad-header",
        ),
    ],
)
def test_a_request_is_refused_before_the_action(
    client: FlaskClient, shelf: Shelf, sent: dict[str, Any], status: int, name: str
) -> None:
    answer = client.post("/cups", **sent)
    assert (answer.status_code, problem_of(answer)) == (status, name)
    assert shelf.calls == []


def test_an_operation_without_a_body_refuses_one(client: FlaskClient, shelf: Shelf) -> None:
    shelf.cups["a"] = Cup("a", "x")
    assert client.delete("/cups/a", data=b'{"reason":1}', headers=GOOD).status_code == 422
    assert "a" in shelf.cups
    assert client.delete("/cups/a", data=b"{}", headers=GOOD).status_code == 200


def test_an_id_that_cannot_be_is_answered_like_an_absent_one(client: FlaskClient) -> None:
    for impossible in ("UPPER", "a%00b", "a" * 65, "a%20b", "%D9%A3", "..", "a%0A"):
        found = client.get(f"/cups/{impossible}", headers=GOOD)
        absent = client.get("/cups/absent", headers=GOOD)
        assert (found.status_code, problem_of(found)) == (404, "not-found")
        assert (found.json["title"], found.json.keys()) == (
            absent.json["title"],
            absent.json.keys(),
        )


def test_an_open_operation_asks_for_no_key(client: FlaskClient) -> None:
    assert client.get("/open").status_code == 200
    assert client.get("/open", headers={"Authorization": "Bearer wrong"}).status_code == 200


def test_if_match_reaches_the_action(client: FlaskClient, shelf: Shelf) -> None:
    for header, revisions in [('"r3"', frozenset({3})), ("*", frozenset({-1})), (None, None)]:
        headers = GOOD | ({} if header is None else {"If-Match": header})
        answer = client.patch(
            "/cups/a", data=b'{"site_id":"a"}', content_type=MERGE_PATCH, headers=headers
        )
        assert (answer.status_code, answer.headers["ETag"]) == (200, '"r2"')
        assert shelf.calls[-1]["if_match"] == revisions


# --- queries and pages -------------------------------------------------------------------------


@pytest.mark.parametrize(
    "query",
    ["unknown=1", "limit=1&limit=1", "limit=0", "limit=201", "limit=", "limit=1_0", "limit=%2B5",
     "limit=%D9%A3", "Limit=5", "kind=", "cursor[]=x"],
)  # fmt: skip
def test_a_query_that_is_not_described_is_refused(client: FlaskClient, query: str) -> None:
    answer = client.get(f"/cups?{query}", headers=GOOD)
    assert (answer.status_code, problem_of(answer)) == (422, "invalid")
    assert answer.json["errors"][0]["in"] == "query"
    assert answer.json["errors"][0]["parameter"] in query.replace("%2B", "+")


def test_an_absent_filter_is_none_and_the_limit_has_a_default(
    client: FlaskClient, shelf: Shelf
) -> None:
    client.get("/cups", headers=GOOD)
    assert shelf.calls == [{"kind": None, "limit": 50, "position": None, "now": NOW}]


def test_following_the_link_walks_every_item_once(client: FlaskClient, shelf: Shelf) -> None:
    shelf.cups = {f"cup-{n:02}": Cup(f"cup-{n:02}", "x") for n in range(7)}
    seen: list[str] = []
    path: str | None = "/cups?limit=3&kind=small+%26+blue"
    while path is not None:
        answer = client.get(path, headers=GOOD)
        seen += [item["site_id"] for item in answer.json["items"]]
        link = answer.headers.get("Link")
        assert (link is None) == (answer.json["next_cursor"] is None)
        if link is None:
            path = None
        else:
            assert link.endswith('>; rel="next"')  # RFC 8288, 3
            path = link[1:].partition(">")[0]
            assert "limit=3" in path
        assert shelf.calls[-1]["kind"] == "small & blue"
    assert seen == sorted(shelf.cups)


def test_a_cursor_holds_for_its_account_and_filters_alone(
    client: FlaskClient, shelf: Shelf
) -> None:
    shelf.cups = {name: Cup(name, "x") for name in ("a", "b", "c")}
    cursor = client.get("/cups?limit=1", headers=GOOD).json["next_cursor"]
    assert client.get(f"/cups?limit=2&cursor={cursor}", headers=GOOD).status_code == 200
    for query, headers in [
        (f"cursor={cursor}&kind=x", GOOD),
        (f"cursor={cursor}", {"Authorization": "Bearer other"}),
        (f"cursor={cursor}x", GOOD),
        ("cursor=", GOOD),
        ("cursor=%00", GOOD),
    ]:
        answer = client.get(f"/cups?{query}", headers=headers)
        assert (answer.status_code, problem_of(answer)) == (400, "bad-cursor")


# --- conditional reads and repeats ---------------------------------------------------------------


@pytest.mark.parametrize("header", ['"r1"', 'W/"r1"', '"x", "r1"', "*"])
def test_an_unchanged_object_is_answered_with_304(
    client: FlaskClient, shelf: Shelf, header: str
) -> None:
    shelf.cups["a"] = Cup("a", "x")
    full = client.get("/cups/a", headers=GOOD)
    answer = client.get("/cups/a", headers={**GOOD, "If-None-Match": header})
    assert (answer.status_code, answer.get_data()) == (304, b"")
    for name in ("ETag", "Cache-Control"):  # RFC 9110, 15.4.5
        assert answer.headers[name] == full.headers[name]
    assert "Content-Type" not in answer.headers


def test_a_changed_object_is_answered_in_full(client: FlaskClient, shelf: Shelf) -> None:
    shelf.cups["a"] = Cup("a", "x", 2)
    answer = client.get("/cups/a", headers={**GOOD, "If-None-Match": '"r1"'})
    assert (answer.status_code, answer.headers["ETag"]) == (200, '"r2"')


def test_a_repeated_creation_is_answered_as_the_first_time(
    client: FlaskClient, shelf: Shelf
) -> None:
    headers = {**GOOD, "Idempotency-Key": "8e03978e-40d5"}
    first = client.post("/cups", json={"site_id": "a"}, headers=headers)
    again = client.post(
        "/cups", json={"site_id": "a"}, headers={**GOOD, "Idempotency-Key": '"8e03978e-40d5"'}
    )
    assert (again.status_code, again.get_data()) == (201, first.get_data())
    for name in ("ETag", "Location", "Content-Type"):
        assert again.headers[name] == first.headers[name]
    assert "Idempotency-Replayed" not in first.headers
    assert again.headers["Idempotency-Replayed"] == "true"
    assert len(shelf.calls) == 1


def test_another_request_with_the_same_key_is_refused_and_a_refusal_keeps_nothing(
    client: FlaskClient, shelf: Shelf
) -> None:
    headers = {**GOOD, "Idempotency-Key": "8e03978e-40d5"}
    shelf.cups["a"] = Cup("a", "x")
    taken = client.post("/cups", json={"site_id": "a"}, headers=headers)
    assert (taken.status_code, problem_of(taken)) == (409, "already-exists")
    assert shelf.replies == {}
    assert client.post("/cups", json={"site_id": "b"}, headers=headers).status_code == 201
    other = client.post("/cups", json={"site_id": "c"}, headers=headers)
    assert (other.status_code, problem_of(other)) == (422, "key-reused")
    assert sorted(shelf.cups) == ["a", "b"]


# --- what every answer has -----------------------------------------------------------------------

EVERYWHERE = [
    ("GET", "/open", 200),
    ("GET", "/cups", 401),
    ("GET", "/nowhere", 404),
    ("GET", "/cups/", 404),
    ("GET", "//cups", 404),
    ("PUT", "/cups", 405),
    ("TRACE", "/cups", 405),
    ("GET", "/broken", 500),
    ("OPTIONS", "/cups", 204),
]


@pytest.mark.parametrize(("method", "path", "status"), EVERYWHERE)
def test_every_answer_has_an_id_and_the_security_headers(
    client: FlaskClient, method: str, path: str, status: int
) -> None:
    answer = client.open("http://localhost" + path, method=method)
    assert answer.status_code == status
    assert uuid.UUID(answer.headers["X-Request-Id"])
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Cache-Control"] == "no-store"
    assert answer.headers["Content-Security-Policy"].startswith("default-src 'none'")
    if status >= 400:
        problem_of(answer)
        assert answer.json["instance"] == "urn:request:" + answer.headers["X-Request-Id"]
        assert "Traceback" not in answer.text


@pytest.mark.parametrize(
    ("given", "is_kept"),
    [("till-7.req_42", True), ("a" * 64, True), ("short", False), ("a" * 65, False),
     ("has space 1", False), ("<script>alert", False), ("", False)],
)  # fmt: skip
def test_a_callers_request_id_is_kept_if_it_is_harmless(
    client: FlaskClient, given: str, is_kept: bool
) -> None:
    answer = client.get("/open", headers={"X-Request-Id": given})
    assert (answer.headers["X-Request-Id"] == given) is is_kept


def test_head_is_answered_wherever_get_is(client: FlaskClient, shelf: Shelf) -> None:
    shelf.cups["a"] = Cup("a", "x")
    for path in ("/cups", "/cups/a", "/open"):
        full, head = client.get(path, headers=GOOD), client.head(path, headers=GOOD)
        assert (head.status_code, head.get_data()) == (200, b"")
        assert head.headers["Content-Length"] == str(len(full.get_data()))


def test_a_path_says_its_methods(client: FlaskClient) -> None:
    wrong = client.put("/cups")
    assert wrong.headers["Allow"] == "GET, HEAD, OPTIONS, POST"  # RFC 9110, 15.5.6
    asked = client.options("/cups/a")
    assert set(asked.headers["Allow"].split(", ")) == {"GET", "HEAD", "OPTIONS", "PATCH", "DELETE"}
    assert asked.headers["Accept-Patch"] == "application/merge-patch+json, application/json"
    assert asked.get_data() == b""
