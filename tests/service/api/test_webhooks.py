"""Webhooks over HTTP: what is answered, what is refused, and the secret that is shown once."""

from __future__ import annotations

import pytest

from answers import CheckedClient
from burrline_service.core.records import Caller
from burrline_service.store.database import Database
from conftest import Clock
from told import Receivers, an_event, deliver_all, tell

RECEIVER = "http://127.0.0.1:9/hook"  # within the exceptions of the tests' service
pytestmark = pytest.mark.parametrize("database_kind", ["sqlite"])


def make(http: CheckedClient, **fields: object) -> dict[str, object]:
    made = http.post("/v1/webhooks", json={"url": RECEIVER, **fields})
    assert made.status_code == 201, made.text
    assert made.headers["Location"] == f"/v1/webhooks/{made.get_json()['webhook_id']}"
    body: dict[str, object] = made.get_json()
    return body


def test_a_webhooks_whole_life(
    http: CheckedClient, database: Database, caller: Caller, clock: Clock
) -> None:
    made = make(http, name="phone", types=["burrline.alert.opened"])
    path = f"/v1/webhooks/{made['webhook_id']}"
    secret = made.pop("secret")
    got = http.get(path)
    assert got.get_json() == made
    assert http.get("/v1/webhooks").get_json() == {"items": [made], "next_cursor": None}
    patch = {"name": "tablet"}
    changed = http.patch(path, json=patch, headers={"If-Match": got.headers["ETag"]})
    assert (changed.status_code, changed.get_json()["name"]) == (200, "tablet")
    assert (
        http.patch(path, json=patch, headers={"If-Match": got.headers["ETag"]}).status_code == 412
    )
    rotated = http.post(f"{path}/rotate", json={"overlap_seconds": 60})
    assert rotated.get_json()["secret"] not in (secret, None)
    ping = http.post(f"{path}/test")
    assert (ping.status_code, ping.get_json()["state"]) == (202, "waiting")
    tell(database, caller, an_event(1, clock()), now=clock())
    receivers = Receivers()
    receivers.answer(500, url=RECEIVER, answer=b"no")
    deliver_all(database, receivers, clock)
    listed = http.get(f"{path}/deliveries?limit=1").get_json()
    assert listed["next_cursor"] is not None
    rest = http.get(f"{path}/deliveries?limit=1&cursor={listed['next_cursor']}").get_json()
    items = [*listed["items"], *rest["items"]]
    assert {item["type"] for item in items} == {"burrline.webhook.test", "burrline.alert.opened"}
    assert items[0]["attempts"][0] == {
        "attempted_at": "2026-03-02T08:00:00.000Z",
        "status": 500,
        "seconds": 0.02,
        "answer": "no",
        "error": "answered 500",
    }
    again = http.post(f"{path}/deliveries/event-000001/redeliver")
    assert (again.status_code, again.get_json()["attempt_count"]) == (202, 0)
    assert http.get(f"{path}/deliveries?state=failed").get_json()["items"] == []
    off = http.patch(path, json={"is_enabled": False}, headers={"If-Match": "*"})
    assert off.get_json()["disabled_because"] == "by its owner"
    for refused in (f"{path}/test", f"{path}/deliveries/event-000001/redeliver"):
        answered = http.post(refused)
        assert answered.status_code == 409
        assert answered.get_json()["type"] == "urn:burrline:problem:webhook-disabled"
    assert http.delete(path).get_json()["webhook_id"] == made["webhook_id"]
    assert http.get(path).status_code == 404


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({}, "#/url"),
        ({"url": "http://8.8.8.8/"}, "#/url"),
        ({"url": "https://127.0.0.1\\@hooks.roastery.coffee/"}, "#/url"),
        ({"url": "https://[::1]/"}, "#/url"),
        ({"url": RECEIVER, "types": []}, "#/types"),
        ({"url": RECEIVER, "types": ["burrline.webhook.test"]}, "#/types/0"),
        ({"url": RECEIVER, "secret": "whsec_x"}, "#/secret"),
        ({"url": RECEIVER, "site_ids": ["nowhere"]}, "#/site_ids/0"),
        ({"url": RECEIVER, "webhook_id": "Not This"}, "#/webhook_id"),
    ],
)
def test_what_is_refused_is_pointed_at(
    http: CheckedClient, body: dict[str, object], pointer: str
) -> None:
    refused = http.post("/v1/webhooks", json=body)
    assert refused.status_code == 422
    assert pointer in [fault["pointer"] for fault in refused.get_json()["errors"]]


def test_a_repeat_is_not_kept_for_it_would_keep_the_secret(http: CheckedClient) -> None:
    headers = {"Idempotency-Key": "the-same-key-1"}
    first, second = (
        http.post("/v1/webhooks", json={"url": RECEIVER}, headers=headers).get_json()
        for _ in range(2)
    )
    assert first["webhook_id"] != second["webhook_id"]
