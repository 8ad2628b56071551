"""From an event to its receivers: whom it reaches, when it is tried again, when it is given up."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from standardwebhooks import Webhook as Reference

from burrline_service.actions import deliveries, webhooks
from burrline_service.actions.delivering import LEASE_SECONDS, tidy_deliveries
from burrline_service.actions.dispatching import SLOW, Dispatcher
from burrline_service.core.alert_records import ALERT_CLOSED, STAGE_CHANGED, WEBHOOK_TEST
from burrline_service.core.errors import NotFound, WebhookDisabled
from burrline_service.core.records import Caller
from burrline_service.core.webhook_records import Delivery, Webhook
from burrline_service.sender import Exchange
from burrline_service.store import claims
from burrline_service.store.database import Database
from burrline_service.store.outbox import MOST_NAMED
from conftest import Clock
from told import ANY_REVISION, URL, Receivers, Sent, a_webhook, an_event, deliver_all, one, tell


@pytest.fixture
def receivers() -> Receivers:
    return Receivers()


def listed(database: Database, caller: Caller, webhook_id: str, clock: Clock) -> list[Delivery]:
    page = deliveries.list_deliveries(
        database, caller, webhook_id=webhook_id, state=None, limit=200, position=None, now=clock()
    )
    return list(page.items)


def shown(database: Database, caller: Caller, webhook_id: str, clock: Clock) -> Webhook:
    return webhooks.get_webhook(database, caller, webhook_id=webhook_id, now=clock())


def change(
    database: Database, caller: Caller, webhook_id: str, clock: Clock, **fields: Any
) -> Webhook:
    return webhooks.update_webhook(
        database,
        caller,
        webhook_id=webhook_id,
        fields=fields,
        if_match=ANY_REVISION,
        sender=Receivers(),
        now=clock(),
    )


def test_an_event_arrives_signed_once_and_its_log_says_so(
    database: Database, caller: Caller, clock: Clock, receivers: Receivers
) -> None:
    webhook_id, secret = a_webhook(database, caller, clock())
    assert tell(database, caller, an_event(1, clock()), now=clock()) == 1
    assert deliver_all(database, receivers, clock) == ["delivered"]
    (sent,) = receivers.sent
    assert (sent.url, sent.event_id) == (URL, "event-000001")
    assert sent.headers["Content-Type"] == "application/cloudevents+json"
    assert sent.headers["webhook-timestamp"] == str(int(clock().timestamp()))
    verified = _verified(secret, sent)
    assert verified["data"] == {"kind": "long_run", "number": 1}
    assert (verified["id"], verified["source"]) == ("event-000001", "/v1/grinders/bar-1")
    (delivery,) = listed(database, caller, webhook_id, clock)
    assert (delivery.state, delivery.attempt_count) == ("delivered", 1)
    assert delivery.next_attempt_at is None
    assert [(one.status, one.error) for one in delivery.attempts] == [(204, None)]
    clock.pass_by(days=2)
    assert deliver_all(database, receivers, clock) == []


def _verified(secret: str, sent: Sent) -> Any:
    """By the reference library, whose clock is the real one: so its check of time is left out."""
    reference = Reference(secret)
    reference._Webhook__verify_timestamp = lambda text: _instant(text)  # type: ignore[attr-defined]
    return reference.verify(sent.content, sent.headers)


def _instant(text: str) -> Any:
    return datetime.fromtimestamp(float(text), UTC)


def test_whom_an_event_reaches(database: Database, caller: Caller, clock: Clock) -> None:
    made = {
        name: a_webhook(database, caller, clock(), url=f"{URL}?{name}", **fields)[0]
        for name, fields in {
            "all": {},
            "closed": {"types": [ALERT_CLOSED]},
            "off": {},
        }.items()
    }
    change(database, caller, made["off"], clock, is_enabled=False)
    events = [
        an_event(1, clock()),
        an_event(2, clock(), type=ALERT_CLOSED),
        an_event(3, clock(), type=STAGE_CHANGED, grinder_id=None, grinder_no=None),
        an_event(4, clock(), is_late=True),
        an_event(5, clock(), is_held=True),
    ]
    assert tell(database, caller, *events, now=clock()) == 4
    assert tell(database, caller, *events, now=clock()) == 0, "nobody is given an event twice"
    # held no longer
    assert tell(database, caller, an_event(5, clock()), now=clock()) == 1
    reached = {
        name: sorted(one.event_id[-1] for one in listed(database, caller, webhook_id, clock))
        for name, webhook_id in made.items()
    }
    assert reached == {"all": ["1", "2", "3", "5"], "closed": ["2"], "off": []}


@pytest.mark.parametrize("database_kind", ["sqlite"])
@pytest.mark.parametrize("value", ["x" * 70_000, float("nan")])
def test_an_event_that_cannot_be_sent_says_so_and_stops_nobody(
    database: Database, caller: Caller, clock: Clock, receivers: Receivers, value: object
) -> None:
    a_webhook(database, caller, clock())
    tell(database, caller, an_event(1, clock(), body={"value": value}), now=clock())
    assert deliver_all(database, receivers, clock) == ["delivered"]
    told = json.loads(receivers.sent[0].content)["data"]
    assert told == {"alert_id": None, "severity": "caution", "is_cut": True}


def test_another_account_is_told_nothing(
    database: Database, caller: Caller, other_caller: Caller, clock: Clock, receivers: Receivers
) -> None:
    a_webhook(database, other_caller, clock())
    assert tell(database, caller, an_event(1, clock()), now=clock()) == 0
    assert deliver_all(database, receivers, clock) == []


def test_a_delivery_that_fails_is_tried_ten_times_in_three_days_and_then_given_up(
    database: Database, caller: Caller, clock: Clock, receivers: Receivers
) -> None:
    webhook_id, _ = a_webhook(database, caller, clock())
    began_at = clock()
    tell(database, caller, an_event(1, clock()), now=clock())
    receivers.answer(500, answer=b"oh\x00 no\xff")
    hours: list[float] = []
    for _ in range(10):
        assert deliver_all(database, receivers, clock) == ["failed"]
        hours.append((clock() - began_at).total_seconds() / 3600)
        (delivery,) = listed(database, caller, webhook_id, clock)
        if delivery.next_attempt_at is not None:
            clock.at = delivery.next_attempt_at
    # 0, 5 s, 5 min, 30 min, 2, 5, 10, 14, 20, 24 h; the pauses of the circuit are shorter but once
    assert [round(hour, 2) for hour in hours] == [
        0, 0, 0.08, 0.58, 2.58, 7.58, 17.58, 31.58, 51.58, 75.58,
    ]  # fmt: skip
    (delivery,) = listed(database, caller, webhook_id, clock)
    assert (delivery.state, delivery.attempt_count) == ("failed", 10)
    assert len(delivery.attempts) == 10
    assert delivery.attempts[0].answer == "oh\\x00 no\\xff"
    clock.pass_by(days=10)
    assert deliver_all(database, receivers, clock) == []
    assert len({sent.event_id for sent in receivers.sent}) == 1
    assert len({sent.content for sent in receivers.sent}) == 1
    # and once more, because somebody asks for it, under the same id
    receivers.answer(200)
    again = deliveries.redeliver(
        database, caller, webhook_id=webhook_id, event_id="event-000001", now=clock()
    )
    assert (again.state, again.attempt_count) == ("waiting", 0)
    # the circuit is still open from the tenth failure, or has ended long ago
    assert deliver_all(database, receivers, clock) == ["delivered"]
    assert receivers.sent[-1].event_id == "event-000001"


def test_a_receiver_that_is_gone_is_told_nothing_more(
    database: Database, caller: Caller, clock: Clock, receivers: Receivers
) -> None:
    webhook_id, _ = a_webhook(database, caller, clock())
    tell(database, caller, an_event(1, clock()), an_event(2, clock()), now=clock())
    receivers.answer(410)
    assert deliver_all(database, receivers, clock) == ["gone"]
    told = shown(database, caller, webhook_id, clock)
    assert (told.disabled_at, told.disabled_because) == (clock(), "the receiver answered 410 Gone")
    assert {one.state for one in listed(database, caller, webhook_id, clock)} == {"failed"}
    assert tell(database, caller, an_event(3, clock()), now=clock()) == 0
    with pytest.raises(WebhookDisabled):
        deliveries.test_webhook(database, caller, webhook_id=webhook_id, now=clock())
    with pytest.raises(WebhookDisabled):
        deliveries.redeliver(
            database, caller, webhook_id=webhook_id, event_id="event-000001", now=clock()
        )
    change(database, caller, webhook_id, clock, is_enabled=True)
    receivers.answer(204)
    assert tell(database, caller, an_event(4, clock()), now=clock()) == 1
    assert deliver_all(database, receivers, clock) == ["delivered"]


@pytest.mark.parametrize("database_kind", ["sqlite"])
def test_however_much_waits_it_is_given_up_together(
    database: Database, caller: Caller, clock: Clock, receivers: Receivers
) -> None:
    webhook_id, _ = a_webhook(database, caller, clock())
    count = MOST_NAMED + 2
    events = [an_event(number, clock()) for number in range(count)]
    assert tell(database, caller, *events, now=clock()) == count
    receivers.answer(410)
    assert deliver_all(database, receivers, clock) == ["gone"]
    assert claims.backlog(database).waiting_count == 0
    last = listed(database, caller, webhook_id, clock)[0]
    assert (last.event_id, last.state) == (f"event-{count - 1:06}", "failed")
    assert [attempt.error for attempt in last.attempts] == ["the receiver answered 410 Gone"]


def test_who_asks_to_slow_down_is_left_alone_as_long_as_asked_then_tried_once(
    database: Database, caller: Caller, clock: Clock, receivers: Receivers
) -> None:
    webhook_id, _ = a_webhook(database, caller, clock())
    tell(database, caller, *(an_event(number, clock()) for number in (1, 2, 3)), now=clock())
    receivers.answer(503, retry_after="600")
    assert deliver_all(database, receivers, clock) == ["slow_down"]
    until = clock() + timedelta(seconds=600)
    assert shown(database, caller, webhook_id, clock).paused_until == until
    assert tell(database, caller, an_event(4, clock()), now=clock()) == 1
    assert {one.next_attempt_at for one in listed(database, caller, webhook_id, clock)} == {until}
    clock.at = until
    assert deliver_all(database, receivers, clock) == ["slow_down"], "one tries it out"
    clock.pass_by(seconds=600)
    receivers.answer(204)
    assert deliver_all(database, receivers, clock) == ["delivered"] * 4
    told = shown(database, caller, webhook_id, clock)
    assert (told.failure_count, told.paused_until) == (0, None)


@pytest.mark.parametrize("does", ["test", "redeliver"])
def test_its_owner_need_not_wait_for_the_end_of_a_pause(
    database: Database, caller: Caller, clock: Clock, receivers: Receivers, does: str
) -> None:
    webhook_id, _ = a_webhook(database, caller, clock())

    def ask() -> None:
        if does == "test":
            deliveries.test_webhook(database, caller, webhook_id=webhook_id, now=clock())
        else:
            deliveries.redeliver(
                database, caller, webhook_id=webhook_id, event_id="event-000001", now=clock()
            )

    tell(database, caller, an_event(1, clock()), now=clock())
    receivers.answer(503, retry_after="600")
    assert deliver_all(database, receivers, clock) == ["slow_down"]
    clock.pass_by(seconds=1)
    tell(database, caller, an_event(2, clock()), an_event(3, clock()), now=clock())
    ask()
    assert deliver_all(database, receivers, clock) == ["slow_down"], "one, and it is paused again"
    receivers.answer(204)
    assert deliver_all(database, receivers, clock) == []
    ask()
    assert deliver_all(database, receivers, clock) == ["delivered"] * 3, "with what was never tried"
    assert shown(database, caller, webhook_id, clock).paused_until is None


def test_while_secrets_change_over_both_sign_and_then_the_new_one_alone(
    database: Database, caller: Caller, clock: Clock, receivers: Receivers
) -> None:
    webhook_id, old = a_webhook(database, caller, clock())
    _, new = webhooks.rotate_webhook_secret(
        database, caller, webhook_id=webhook_id, fields={"overlap_seconds": 3600}, now=clock()
    )
    for number, passed, count in ((1, 3599, 2), (2, 1, 1)):
        clock.pass_by(seconds=passed)
        tell(database, caller, an_event(number, clock()), now=clock())
        assert deliver_all(database, receivers, clock) == ["delivered"]
        assert len(receivers.sent[-1].headers["webhook-signature"].split()) == count
        assert _verified(new, receivers.sent[-1])
    assert _verified(old, receivers.sent[0])
    with pytest.raises(Exception, match="No matching signature"):
        _verified(old, receivers.sent[-1])
    # a leaked one ends at once
    webhooks.rotate_webhook_secret(
        database, caller, webhook_id=webhook_id, fields={"overlap_seconds": 0}, now=clock()
    )
    tell(database, caller, an_event(3, clock()), now=clock())
    deliver_all(database, receivers, clock)
    with pytest.raises(Exception, match="No matching signature"):
        _verified(new, receivers.sent[-1])


def test_a_ping_goes_to_the_one_webhook_whatever_its_types(
    database: Database, caller: Caller, clock: Clock, receivers: Receivers
) -> None:
    webhook_id, _ = a_webhook(database, caller, clock(), types=[ALERT_CLOSED])
    a_webhook(database, caller, clock())
    put = deliveries.test_webhook(database, caller, webhook_id=webhook_id, now=clock())
    assert (put.state, put.type) == ("waiting", WEBHOOK_TEST)
    assert deliver_all(database, receivers, clock) == ["delivered"]
    assert json.loads(receivers.sent[0].content)["data"] == {"webhook_id": webhook_id}


def test_a_worker_that_dies_holds_a_delivery_no_longer_than_its_lease(
    database: Database, caller: Caller, clock: Clock, receivers: Receivers
) -> None:
    a_webhook(database, caller, clock())
    tell(database, caller, an_event(1, clock()), now=clock())

    class Killed(BaseException):
        pass

    def dies(_: Sent) -> Exchange:
        raise Killed

    receivers.answers[URL] = dies
    with pytest.raises(Killed):
        deliver_all(database, receivers, clock)
    receivers.answer(204)
    clock.pass_by(seconds=LEASE_SECONDS - 0.001)
    assert deliver_all(database, receivers, clock) == []
    clock.pass_by(seconds=0.001)
    assert deliver_all(database, receivers, clock) == ["delivered"]
    assert [sent.event_id for sent in receivers.sent] == ["event-000001"] * 2


def test_only_who_still_holds_a_delivery_may_put_it_off(
    database: Database, caller: Caller, clock: Clock, receivers: Receivers
) -> None:
    """The first worker is so slow that its lease ends; a second one delivers meanwhile."""
    webhook_id, _ = a_webhook(database, caller, clock())
    tell(database, caller, an_event(1, clock()), now=clock())
    (receiver,) = claims.due(database, clock())

    def slow(_: Sent) -> Exchange:
        receivers.answer(204)
        clock.pass_by(seconds=LEASE_SECONDS)
        assert one(database, receivers, receiver, clock) == "delivered"
        return Exchange(500, 1.0, error="answered 500")

    receivers.answers[URL] = slow
    assert one(database, receivers, receiver, clock) == "failed"
    (delivery,) = listed(database, caller, webhook_id, clock)
    assert delivery.state == "delivered"
    assert sorted(str(one.status) for one in delivery.attempts) == ["204", "500"]


def test_what_is_deleted_meanwhile_is_sent_no_more(
    database: Database, caller: Caller, clock: Clock, receivers: Receivers
) -> None:
    webhook_id, _ = a_webhook(database, caller, clock())
    tell(database, caller, an_event(1, clock()), an_event(2, clock()), now=clock())

    def deletes(_: Sent) -> Exchange:
        webhooks.delete_webhook(database, caller, webhook_id=webhook_id, now=clock())
        return Exchange(500, 1.0, error="answered 500")

    receivers.answers[URL] = deletes
    assert deliver_all(database, receivers, clock) == ["failed"]
    assert claims.backlog(database).waiting_count == 0
    with pytest.raises(NotFound):
        listed(database, caller, webhook_id, clock)


def test_old_deliveries_are_given_up_and_later_forgotten(
    database: Database, caller: Caller, clock: Clock, receivers: Receivers
) -> None:
    webhook_id, _ = a_webhook(database, caller, clock())
    tell(database, caller, an_event(1, clock()), now=clock())
    deliver_all(database, receivers, clock)
    clock.pass_by(days=1)
    tell(database, caller, an_event(2, clock()), now=clock())
    assert claims.backlog(database) == (1, clock())
    assert tidy_deliveries(database, now=clock()) == 0
    clock.pass_by(days=5, seconds=1)
    assert tidy_deliveries(database, now=clock()) == 1
    assert [one.state for one in listed(database, caller, webhook_id, clock)] == [
        "failed",
        "delivered",
    ]
    clock.pass_by(days=31)
    assert tidy_deliveries(database, now=clock()) == 2
    assert listed(database, caller, webhook_id, clock) == []
    assert claims.backlog(database) == (0, None)


def test_what_is_due_is_found_for_all_accounts_at_once(
    database: Database, caller: Caller, other_caller: Caller, clock: Clock
) -> None:
    for number, account in enumerate((other_caller, caller)):
        a_webhook(database, account, clock())
        at = clock.pass_by(seconds=1)
        tell(database, account, an_event(1, at), an_event(2, at), now=at)
        assert len(claims.due(database, clock())) == number + 1
    accounts = {receiver.account_no for receiver in claims.due(database, clock())}
    assert accounts == {caller.account_no, other_caller.account_no}
    assert claims.backlog(database).waiting_count == 4


# --- many receivers -----------------------------------------------------------------------------


def dispatcher(database: Database, receivers: Receivers, clock: Clock, **more: Any) -> Dispatcher:
    return Dispatcher(
        database,
        receivers.post,
        clock=clock,
        dice=lambda: 0.0,
        stop=threading.Event(),
        **more,
    )


@pytest.mark.parametrize("database_kind", ["sqlite"])
def test_receivers_that_hang_do_not_delay_the_others(
    database: Database, caller: Caller, clock: Clock, receivers: Receivers
) -> None:
    """Two threads, one receiver that never answers and one that does: all of its own arrive."""
    release, arrived = threading.Event(), threading.Event()
    hung = f"{URL}?hangs"
    a_webhook(database, caller, clock(), url=hung)
    a_webhook(database, caller, clock())

    def hangs(_: Sent) -> Exchange:
        assert release.wait(20)
        return Exchange(None, 15.0, error="no answer")

    def answers(_: Sent) -> Exchange:
        if len([one for one in receivers.sent if one.url == URL]) == 5:
            arrived.set()
        return Exchange(204, 0.01)

    receivers.answers = {hung: hangs, URL: answers}
    tell(database, caller, *(an_event(number, clock()) for number in range(5)), now=clock())
    dispatching = dispatcher(database, receivers, clock, thread_count=2)
    assert dispatching.turn(clock()) == 2
    assert arrived.wait(20)
    release.set()
    dispatching.close()
    assert dispatching.outcomes == {"delivered": 5, "failed": 1}


@pytest.mark.parametrize("database_kind", ["sqlite"])
def test_receivers_in_trouble_hold_half_of_the_threads_and_one_each(
    database: Database, caller: Caller, clock: Clock, receivers: Receivers
) -> None:
    slow_count = 3
    run: list[Callable[[], None]] = []
    dispatching = dispatcher(
        database,
        receivers,
        clock,
        thread_count=4,
        start=lambda serve, receiver: run.append(lambda: serve(receiver)),
    )

    def slow(_: Sent) -> Exchange:
        clock.pass_by(seconds=SLOW.total_seconds())
        return Exchange(204, 5.0)

    def tell_more(first: int) -> None:
        at = clock()
        tell(database, caller, *(an_event(first + n, at) for n in range(3)), now=at)

    for number in range(slow_count):
        a_webhook(database, caller, clock(), url=f"{URL}?slow-{number}")
        receivers.answers[f"{URL}?slow-{number}"] = slow
    tell_more(0)
    assert dispatching.turn(clock()) == slow_count, "nobody is known to be slow yet"
    assert dispatching.turn(clock()) == 0, "who was never seen to answer gets one thread"
    while run:
        run.pop()()
    assert dispatching.turn(clock()) == 2, "all are known to be slow by now"
    assert dispatching.turn(clock()) == 0
    a_webhook(database, caller, clock())
    tell_more(10)
    assert dispatching.turn(clock()) == 1, "who answers well finds a thread"
    run.pop()()
    tell_more(20)
    assert dispatching.turn(clock()) == 1
    assert dispatching.turn(clock()) == 1, "and a second one, once it has answered"
    assert dispatching.turn(clock()) == 0
    while run:
        run.pop()()
    dispatching.close()
