"""Alerts over HTTP: the feed with its long poll, who has seen what, and the rules."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest

from answers import CheckedClient
from burrline_service.actions import noticing
from burrline_service.api import alerts as alerts_api
from burrline_service.core.alert_settings import DEFAULT_RULES
from burrline_service.core.records import Caller
from burrline_service.server import THREAD_COUNT
from burrline_service.store.database import Database
from conftest import Clock

FEED = "/v1/alerts/feed"
SETTINGS = "/v1/alert-settings"


@pytest.fixture
def database_kind() -> str:
    return "sqlite"  # the store's differences are tested where they are


@pytest.fixture
def chain(http: CheckedClient) -> None:
    """Two sites with a grinder each, whose motors have a limit."""
    for number in (1, 2):
        site = {"site_id": f"site-{number}", "name": "Mill Lane", "time_zone": "Europe/Oslo"}
        assert http.post("/v1/sites", json=site).status_code == 201
        grinder = {
            "grinder_id": f"bar-{number}",
            "site_id": f"site-{number}",
            "name": "Bar",
            "motor": {"sensor": "housing", "limit_celsius": 80.0},
        }
        assert http.post("/v1/grinders", json=grinder).status_code == 201


@pytest.fixture
def overheat(http: CheckedClient, database: Database, clock: Clock, chain: None) -> Any:
    """``overheat("bar-1")`` makes a run that ends hot, noticed at once."""

    def make(grinder_id: str) -> None:
        started_at = clock() - timedelta(seconds=40)
        run = {
            "run_id": f"run-{grinder_id}-{clock().timestamp():.0f}",
            "grinder_id": grinder_id,
            "started_at": started_at.isoformat(),
            "seconds": 20.0,
            "motor_celsius": 84.0,
        }
        assert http.post("/v1/runs", json=run).status_code == 201
        noticing.watch(database, now=clock())

    return make


def feed(client: CheckedClient, cursor: str | None = None, **query: Any) -> Any:
    given = {"cursor": cursor, **query}
    answer = client.get(FEED, query_string={n: v for n, v in given.items() if v is not None})
    assert answer.status_code == 200, answer.text
    return answer.json


def test_the_feed_goes_on_where_its_cursor_is(http: CheckedClient, overheat: Any) -> None:
    latest = feed(http, start="latest")
    overheat("bar-1")
    first = feed(http)
    assert [one["data"]["grinder_id"] for one in first["items"]] == ["bar-1"]
    assert first["items"][0]["type"] == "burrline.alert.opened"
    assert feed(http, latest["next_cursor"]) == first
    assert feed(http, first["next_cursor"]) == {**first, "items": []}
    overheat("bar-2")
    second = feed(http, first["next_cursor"], wait_seconds=5)
    assert [one["data"]["grinder_id"] for one in second["items"]] == ["bar-2"]


def test_a_bound_key_sees_its_own_and_its_cursor_moves_on(
    http: CheckedClient, make_http: Callable[[str], CheckedClient], make_key: Any, overheat: Any
) -> None:
    bound = make_http(make_key(grinder_ids=["bar-2"]))
    overheat("bar-1")
    page = feed(bound)
    assert page["items"] == []
    assert page["next_cursor"] == feed(http)["next_cursor"]
    overheat("bar-2")
    assert len(feed(bound, page["next_cursor"])["items"]) == 1
    assert len(feed(http)["items"]) == 2


def test_another_account_sees_nothing_and_cannot_use_the_cursor(
    http: CheckedClient, make_http: Callable[[str], CheckedClient], other_key: str, overheat: Any
) -> None:
    overheat("bar-1")
    other = make_http(other_key)
    assert feed(other)["items"] == []
    answer = other.get(FEED, query_string={"cursor": feed(http)["next_cursor"]})
    assert answer.status_code == 400
    assert answer.json["type"] == "urn:burrline:problem:bad-cursor"


def test_who_waits_is_answered_as_soon_as_there_is_something(
    http: CheckedClient, overheat: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    cursor = feed(http)["next_cursor"]
    pauses: list[float] = []

    def pause(seconds: float) -> None:
        pauses.append(seconds)
        if len(pauses) == 3:
            overheat("bar-1")

    monkeypatch.setattr(alerts_api, "pause", pause)
    page = feed(http, cursor, wait_seconds=20)
    assert len(page["items"]) == 1
    assert pauses == [alerts_api.POLL_SECONDS] * 3


def test_who_waits_is_answered_when_the_process_is_to_end(
    http: CheckedClient, chain: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(alerts_api, "stopping", threading.Event())
    monkeypatch.setattr(alerts_api, "pause", lambda seconds: alerts_api.stopping.set())
    assert feed(http, wait_seconds=25)["items"] == []


def test_half_of_the_threads_may_wait_and_the_next_comes_again_later(
    http: CheckedClient, chain: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert alerts_api.WAITING_COUNT * 2 == THREAD_COUNT
    monkeypatch.setattr(
        alerts_api, "_waiting", threading.BoundedSemaphore(alerts_api.WAITING_COUNT)
    )
    for _ in range(alerts_api.WAITING_COUNT):
        alerts_api._waiting.acquire()
    answer = http.get(FEED, query_string={"wait_seconds": 20})
    assert answer.headers["Retry-After"] == "2"
    assert answer.json["items"] == []
    alerts_api._waiting.release()
    monkeypatch.setattr(alerts_api.time, "monotonic", iter(range(0, 900, 9)).__next__)
    monkeypatch.setattr(alerts_api, "pause", lambda seconds: None)
    answer = http.get(FEED, query_string={"wait_seconds": 20})
    assert "Retry-After" not in answer.headers
    assert alerts_api._waiting.acquire(blocking=False)  # whoever waited has let go


@pytest.mark.parametrize(
    "query", ["wait_seconds=26", "wait_seconds=-1", "wait_seconds=1.5", "start=now", "cursor="]
)
def test_what_the_feed_does_not_take(http: CheckedClient, query: str) -> None:
    assert http.get(f"{FEED}?{query}").status_code in (400, 422)


def test_an_alert_is_acknowledged_by_whoever_may(
    http: CheckedClient, make_http: Callable[[str], CheckedClient], make_key: Any, overheat: Any
) -> None:
    overheat("bar-1")
    alert_id = http.get("/v1/alerts").json["items"][0]["alert_id"]
    path = f"/v1/alerts/{alert_id}/acknowledge"
    assert make_http(make_key(scopes=["read"])).post(path).status_code == 403
    assert make_http(make_key(grinder_ids=["bar-2"])).post(path).status_code == 404
    seen = http.post(path)
    assert (seen.status_code, seen.json["acknowledged_at"]) == (200, "2026-03-02T08:00:00.000Z")
    assert http.get("/v1/alerts").json["items"][0]["acknowledged_by"] is not None
    assert http.get("/v1/grinders/bar-1/status").json["alerts"][0]["alert_id"] == alert_id


# --- rules ---------------------------------------------------------------------------------------


def put(client: CheckedClient, rules: Any, if_match: str | None = "*", **place: str) -> Any:
    headers = {} if if_match is None else {"If-Match": if_match}
    return client.put(SETTINGS, json=rules, query_string=place, headers=headers)


def test_nothing_set_means_the_defaults(http: CheckedClient) -> None:
    answer = http.get(SETTINGS)
    assert answer.headers["ETag"] == '"r1"'
    assert answer.json["own"] == {}
    assert answer.json["effective"] == DEFAULT_RULES


def test_a_grinder_inherits_what_it_does_not_set(http: CheckedClient, chain: None) -> None:
    assert put(http, {"long_run": {"longest_run_seconds": 300}}).status_code == 200
    night = {"sun": [["00:00", "00:00"]]}
    assert put(http, {"quiet_hours": night}, site_id="site-1").status_code == 200
    answer = put(http, {"long_run": {"longest_run_seconds": 90}}, grinder_id="bar-1")
    assert answer.json["level"] == "grinder"
    assert answer.json["site_id"] == "site-1"
    assert answer.json["own"] == {"long_run": {"longest_run_seconds": 90.0}}
    effective = answer.json["effective"]
    assert effective["long_run"]["longest_run_seconds"] == 90.0
    assert effective["quiet_hours"] == night
    assert http.get(f"{SETTINGS}?grinder_id=bar-2").json["effective"]["quiet_hours"] == {}
    inherited = put(http, {"long_run": None}, grinder_id="bar-1").json
    assert inherited["own"] == {}
    assert inherited["effective"]["long_run"]["longest_run_seconds"] == 300.0


def test_settings_change_on_the_revision_that_was_read(http: CheckedClient) -> None:
    assert put(http, {}, if_match=None).status_code == 428
    first = put(http, {"silent": {"is_on": False}}, if_match='"r1"')
    assert first.headers["ETag"] == '"r2"'
    assert put(http, {}, if_match='"r1"').status_code == 412
    assert put(http, {"silent": {"is_on": False}}, if_match='"r2"').headers["ETag"] == '"r2"'
    assert put(http, {}, if_match='"r2"').json["own"] == {}


@pytest.mark.parametrize(
    "rules",
    [
        {"motor_overheat": {"release_kelvin": 0}},
        {"flow_low": {"run_count": 2}},
        {"flow_low": {"drop": 0.5}},
        {"unknown": {}},
        {"quiet_hours": {"mon": [["22:00"]]}},
        {"quiet_hours": {"monday": []}},
        {"silent": 5},
    ],
)
def test_rules_that_make_no_sense_are_refused(http: CheckedClient, rules: Any) -> None:
    assert put(http, rules).status_code == 422


def test_settings_keep_within_a_keys_bounds(
    http: CheckedClient, make_http: Callable[[str], CheckedClient], make_key: Any, chain: None
) -> None:
    bound = make_http(make_key(site_ids=["site-1"]))
    assert put(bound, {}).status_code == 403
    assert put(bound, {}, site_id="site-2").status_code == 404
    assert put(bound, {}, grinder_id="bar-2").status_code == 404
    assert put(bound, {"settled": {"is_on": False}}, site_id="site-1").status_code == 200
    assert bound.get(f"{SETTINGS}?site_id=site-1&grinder_id=bar-1").status_code == 422


def test_a_change_leaves_the_past_as_it_was(
    http: CheckedClient, clock: Clock, caller: Caller, chain: None
) -> None:
    run = {"grinder_id": "bar-1", "seconds": 400.0}
    early = (clock() - timedelta(hours=3)).isoformat()
    http.post("/v1/runs", json={**run, "run_id": "run-early-1", "started_at": early})
    assert http.get("/v1/alerts").json["items"] == []
    put(http, {"long_run": {"longest_run_seconds": 300}})
    assert http.get("/v1/alerts").json["items"] == []
    clock.pass_by(hours=1)
    late = (clock() - timedelta(minutes=10)).isoformat()
    http.post("/v1/runs", json={**run, "run_id": "run-late-1", "started_at": late})
    (alert,) = http.get("/v1/alerts").json["items"]
    assert alert["facts"]["longest_run_seconds"] == 300.0
