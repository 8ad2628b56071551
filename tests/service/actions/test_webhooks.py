"""Webhooks: who may make them, what their receivers have to prove, and what nobody is shown."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

import pytest

from burrline_service.actions import webhooks
from burrline_service.actions.receiver_proof import MOST_ASKED
from burrline_service.core.errors import (
    AlreadyExists,
    Invalid,
    NotFound,
    OutOfReach,
    ReceiverUnproven,
    Refusal,
    RevisionMismatch,
    TooManyWebhooks,
    Unavailable,
)
from burrline_service.core.public_addresses import exceptions_of
from burrline_service.core.records import Caller
from burrline_service.core.standard_webhooks import secret_of
from burrline_service.core.webhook_target import BadTarget
from burrline_service.sender import Exchange, Sender
from burrline_service.store import claims
from burrline_service.store.database import Database
from conftest import Clock
from receivers import Request, answer, open_zoo
from small_chain import new_chain
from told import ANY_REVISION, URL, Receivers, Sent, a_webhook, an_event, tell

SQLITE = pytest.mark.parametrize("database_kind", ["sqlite"])


@dataclass
class Strangers(Receivers):
    """Receivers that have to prove themselves."""

    asked: list[str] = field(default_factory=list)

    def check(self, url: str) -> bool:
        self.asked.append(url)
        return False


def nonce_of(sent: Sent) -> str:
    event = json.loads(sent.content)
    assert event["type"] == "burrline.webhook.challenge"
    return str(event["data"]["challenge"])


def create(
    database: Database, caller: Caller, clock: Clock, sender: Any, **fields: Any
) -> tuple[Any, str]:
    return webhooks.create_webhook(
        database, caller, fields={"url": URL, **fields}, sender=sender, now=clock()
    )


@SQLITE
@pytest.mark.parametrize(
    "give_back",
    [
        lambda nonce: nonce,
        lambda nonce: f"  {nonce}\r\n",
        lambda nonce: json.dumps({"challenge": nonce}),
    ],
)
def test_who_gives_back_the_challenge_is_told_from_then_on(
    database: Database, caller: Caller, clock: Clock, give_back: Callable[[str], str]
) -> None:
    strangers = Strangers()
    strangers.answers[URL] = lambda sent: Exchange(200, 0.1, give_back(nonce_of(sent)).encode())
    made, secret = create(database, caller, clock, strangers)
    assert made.webhook_id == "webhook-000001"
    assert len(secret_of(secret)) == 32
    assert made.types == webhooks.SUBSCRIBED
    assert len({nonce_of(sent) for sent in strangers.sent}) == 1
    assert secret not in str(strangers.sent)


@SQLITE
@pytest.mark.parametrize(
    "answer_with",
    [
        lambda sent: Exchange(200, 0.1, b""),
        lambda sent: Exchange(200, 0.1, sent.content),  # one that gives back all it is sent
        lambda sent: Exchange(200, 0.1, nonce_of(sent).encode() + b"x"),
        lambda sent: Exchange(200, 0.1, nonce_of(sent)[:-1].encode()),
        lambda sent: Exchange(
            200, 0.1, json.dumps({"challenge": nonce_of(sent), "more": 1}).encode()
        ),
        lambda sent: Exchange(200, 0.1, json.dumps({"challenge": [nonce_of(sent)]}).encode()),
        lambda sent: Exchange(200, 0.1, b"{" * 4000),
        lambda sent: Exchange(200, 0.1, b"\xff\xfe"),
        lambda sent: Exchange(500, 0.1, nonce_of(sent).encode(), error="answered 500"),
        lambda sent: Exchange(301, 0.1, nonce_of(sent).encode(), error="answered 301"),
        lambda sent: Exchange(None, 15.0, error="no answer within 15 seconds"),
    ],
)
def test_who_does_not_is_never_told_anything(
    database: Database, caller: Caller, clock: Clock, answer_with: Callable[[Sent], Exchange]
) -> None:
    strangers = Strangers({URL: answer_with})
    with pytest.raises(ReceiverUnproven) as refused:
        create(database, caller, clock, strangers)
    assert [fault.pointer for fault in refused.value.faults] == ["/url"]
    assert tell(database, caller, an_event(1, clock()), now=clock()) == 0


@SQLITE
def test_a_receiver_proves_itself_over_the_wire(
    database: Database, caller: Caller, clock: Clock
) -> None:
    class Unexcepted(Sender):
        def check(self, url: str) -> bool:
            assert super().check(url)
            return False

    def gives_back(connection: Any, request: Request, stop: Any) -> None:
        nonce = json.loads(request.body)["data"]["challenge"]
        answer("200 OK", nonce.encode())(connection, request, stop)

    with open_zoo() as zoo:
        zoo.behaviours["/proves"] = gives_back
        sender = Unexcepted(exceptions_of("127.0.0.1"), deadline_seconds=5)
        create(database, caller, clock, sender, url=zoo.url("/proves"))
        for path in ("/echo", "/moved", "/ok"):
            with pytest.raises(ReceiverUnproven):
                create(database, caller, clock, sender, url=zoo.url(path))


@SQLITE
def test_receivers_that_take_their_time_do_not_take_all_of_the_servers(
    database: Database, caller: Caller, clock: Clock
) -> None:
    strangers = Strangers()

    def asks_again(depth: int) -> Callable[[Sent], Exchange]:
        def answer_with(sent: Sent) -> Exchange:
            strangers.answers[URL] = asks_again(depth + 1)
            with pytest.raises(Unavailable if depth == MOST_ASKED else ReceiverUnproven):
                create(database, caller, clock, strangers)
            return Exchange(500, 0.1, error="answered 500")

        return answer_with

    strangers.answers[URL] = asks_again(1)
    with pytest.raises(ReceiverUnproven):
        create(database, caller, clock, strangers)
    assert len(strangers.sent) == MOST_ASKED


@SQLITE
@pytest.mark.parametrize(
    "url",
    ["http://hooks.roastery.coffee/", "https://127.0.0.1/", "https://localhost/",
     "https://hooks.roastery.coffee\\@127.0.0.1/", "https://u:p@hooks.roastery.coffee/"],
)  # fmt: skip
def test_a_url_that_leads_inside_is_refused_when_it_is_registered_and_when_it_is_changed(
    database: Database, caller: Caller, clock: Clock, url: str
) -> None:
    sender = Sender(resolve=lambda host, port: ["127.0.0.1"])
    with pytest.raises(Invalid) as refused:
        create(database, caller, clock, sender, url=url)
    assert [fault.pointer for fault in refused.value.faults] == ["/url"]
    webhook_id, _ = a_webhook(database, caller, clock())
    with pytest.raises(Invalid):
        change(database, caller, webhook_id, clock, sender=sender, url=url)


def change(database: Database, caller: Caller, webhook_id: str, clock: Clock, **fields: Any) -> Any:
    sender = fields.pop("sender", None) or Receivers()
    if_match = fields.pop("if_match", ANY_REVISION)
    return webhooks.update_webhook(
        database,
        caller,
        webhook_id=webhook_id,
        fields=fields,
        if_match=if_match,
        sender=sender,
        now=clock(),
    )


def test_a_change_counts_the_revision_and_another_url_has_to_prove_itself(
    database: Database, caller: Caller, clock: Clock
) -> None:
    webhook_id, _ = a_webhook(database, caller, clock(), name="phone")
    strangers = Strangers()
    named = change(database, caller, webhook_id, clock, sender=strangers, name="tablet")
    assert (named.name, named.revision, strangers.asked) == ("tablet", 2, [])
    same = change(database, caller, webhook_id, clock, sender=strangers, url=URL)
    assert (same.revision, strangers.asked) == (3, [])
    other = f"{URL}/other"
    with pytest.raises(ReceiverUnproven):
        change(database, caller, webhook_id, clock, sender=strangers, url=other)
    assert strangers.asked == [other]
    off = change(database, caller, webhook_id, clock, is_enabled=False)
    assert (off.disabled_at, off.disabled_because) == (clock(), "by its owner")
    with pytest.raises(ReceiverUnproven):
        change(database, caller, webhook_id, clock, sender=strangers, is_enabled=True)
    on = change(database, caller, webhook_id, clock, is_enabled=True, types=None, name=None)
    assert (on.disabled_at, on.name, on.types) == (None, "", webhooks.SUBSCRIBED)
    with pytest.raises(RevisionMismatch):
        change(database, caller, webhook_id, clock, if_match=frozenset({1}), name="x")


@SQLITE
def test_a_bound_key_makes_and_sees_webhooks_within_its_bounds_alone(
    database: Database, clock: Clock
) -> None:
    owner = new_chain(database)
    now = clock()
    site_id, grinder_id = _first(database, owner, now)
    bound = Caller(owner.account_no, owner.scopes, "bound", site_ids=frozenset({site_id}))
    whole, _ = a_webhook(database, owner, now)
    of_site, _ = a_webhook(database, bound, now, site_ids=[site_id])
    of_grinder, _ = a_webhook(database, bound, now, grinder_ids=[grinder_id])
    for fields, refusal in (
        ({}, OutOfReach),
        ({"site_ids": ["nowhere"]}, Invalid),
        ({"grinder_ids": ["nothing"]}, Invalid),
    ):
        with pytest.raises(refusal):
            a_webhook(database, bound, now, **fields)
    with pytest.raises(OutOfReach):
        change(database, bound, of_site, clock, site_ids=None)
    page = webhooks.list_webhooks(database, bound, limit=50, position=None, now=now)
    assert [one.webhook_id for one in page.items] == [of_site, of_grinder]
    for act in (webhooks.get_webhook, webhooks.delete_webhook):
        with pytest.raises(NotFound):
            act(database, bound, webhook_id=whole, now=now)


def _first(database: Database, owner: Caller, now: Any) -> tuple[str, str]:
    from burrline_service.actions import places

    page = places.list_grinders(database, owner, site_id=None, limit=1, position=None, now=now)
    return page.items[0].site_id, page.items[0].grinder_id


@SQLITE
def test_ids_are_taken_once_and_there_is_an_end_to_them(
    database: Database, caller: Caller, other_caller: Caller, clock: Clock
) -> None:
    a_webhook(database, caller, clock(), webhook_id="phone")
    a_webhook(database, other_caller, clock(), webhook_id="phone")
    with pytest.raises(AlreadyExists):
        a_webhook(database, caller, clock(), webhook_id="phone")
    for _ in range(webhooks.MOST_WEBHOOKS - 1):
        a_webhook(database, caller, clock())
    sender = Strangers()
    with pytest.raises(TooManyWebhooks):
        create(database, caller, clock, sender)
    assert sender.asked == [], "nobody is called for nothing"
    first = webhooks.list_webhooks(database, caller, limit=30, position=None, now=clock())
    rest = webhooks.list_webhooks(
        database, caller, limit=30, position=first.next_position, now=clock()
    )
    ids = [one.webhook_id for page in (first, rest) for one in page.items]
    assert ids == sorted(set(ids))
    assert len(ids) == webhooks.MOST_WEBHOOKS


@SQLITE
def test_however_often_a_secret_changes_a_few_signatures_are_sent(
    database: Database, caller: Caller, clock: Clock
) -> None:
    from burrline_service.store import webhooks as rows

    webhook_id, first = a_webhook(database, caller, clock())
    told = [first]
    for _ in range(5):
        told.append(
            webhooks.rotate_webhook_secret(
                database, caller, webhook_id=webhook_id, fields={}, now=clock()
            )[1]
        )

    def valid(after: timedelta) -> tuple[bytes, ...]:
        return database.read(
            caller.account_no,
            lambda connection: rows.secrets_of(
                connection, caller.account_no, 1, now=clock() + after
            ),
        )

    assert valid(timedelta()) == tuple(secret_of(one) for one in told[:2:-1])
    assert valid(timedelta(days=1)) == (secret_of(told[-1]),)


@SQLITE
def test_no_refusal_and_no_record_shows_a_secret(
    database: Database, caller: Caller, clock: Clock, caplog: pytest.LogCaptureFixture
) -> None:
    from told import deliver_all

    caplog.set_level("DEBUG")
    webhook_id, secret = a_webhook(database, caller, clock())
    _, other = webhooks.rotate_webhook_secret(
        database, caller, webhook_id=webhook_id, fields={}, now=clock()
    )
    receivers = Receivers()
    tell(database, caller, an_event(1, clock()), now=clock())
    assert deliver_all(database, receivers, clock) == ["delivered"]
    shown = repr(webhooks.get_webhook(database, caller, webhook_id=webhook_id, now=clock()))
    shown += caplog.text + repr(receivers.sent)
    tell(database, caller, an_event(2, clock()), now=clock())
    held = database.write(
        caller.account_no,
        lambda connection: claims.claim(
            connection, claims.due(database, clock())[0], now=clock(), lease_seconds=1
        ),
    )
    assert held is not None
    assert len(held.secrets) == 2
    shown += repr(held)
    assert "delivery event-000001, attempt 1: delivered" in caplog.text
    for one in (secret, other):
        assert one not in shown
        assert one.removeprefix("whsec_") not in shown
        assert repr(secret_of(one)) not in shown
    assert URL not in caplog.text, "a URL may hold a token of the receiver's"
    assert issubclass(BadTarget, ValueError)
    assert issubclass(ReceiverUnproven, Refusal)
