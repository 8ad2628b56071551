"""Signatures by published vectors; the schedule, the circuit and the envelope by their rules."""

from __future__ import annotations

import base64
import json
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from standardwebhooks import Webhook

from burrline_service.core import cloud_events
from burrline_service.core.receiver_circuit import Circuit, after_attempt, room_count
from burrline_service.core.retry_schedule import asked_seconds, retry_delay_seconds, verdict_of
from burrline_service.core.standard_webhooks import secret_of, secret_text, signed_headers

AT = datetime(2026, 3, 2, 8, tzinfo=UTC)
# Computed by the construction of Standard Webhooks 1.0.0 outside of this code.
BODY = (
    b'{"type":"motor.overheated","timestamp":"2026-01-01T08:00:00Z",'
    b'"data":{"grinder_id":"g-1","motor_temp_c":91.5}}'
)
NEW, OLD = bytes(range(0x20)), bytes(range(0x20, 0x40))


def test_a_published_vector_is_signed_by_the_new_secret_and_then_the_old_one() -> None:
    assert len(BODY) == 110
    assert secret_text(NEW) == "whsec_AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8="
    assert signed_headers(
        [NEW, OLD], message_id="msg_01J00000000000000000000000",
        timestamp_seconds=1767254400, content=BODY,
    ) == {
        "webhook-id": "msg_01J00000000000000000000000",
        "webhook-timestamp": "1767254400",
        "webhook-signature": "v1,wgqxh2H/CHGHW+rqe+Z//7+rNobYqYObrwnZYzFtRNc= "
        "v1,gP99yasItv9gu93N8FSZ24zreBHrdIiBZLsJep1NdSQ=",
    }  # fmt: skip


@settings(max_examples=20, deadline=None)
@given(st.binary(min_size=24, max_size=64), st.sampled_from(["", "é\u2028", "a.b"]), st.uuids())
def test_what_is_signed_here_verifies_by_the_reference_library(
    secret: bytes, text: str, event_id: object
) -> None:
    content = json.dumps({"text": text}).encode()
    seconds = int(datetime.now(UTC).timestamp())
    headers = signed_headers(
        [OLD, secret], message_id=str(event_id), timestamp_seconds=seconds, content=content
    )
    assert Webhook(secret_text(secret)).verify(content, headers) == {"text": text}


@pytest.mark.parametrize("count", [0, 23, 65])
def test_a_secret_of_another_length_is_none(count: int) -> None:
    with pytest.raises(ValueError, match="24 to 64 bytes"):
        secret_text(bytes(count))
    with pytest.raises(ValueError, match="24 to 64 bytes"):
        secret_of("whsec_" + base64.b64encode(bytes(count)).decode())


@pytest.mark.parametrize("text", ["whsec_", "whsec_*", "whsec_AAECA", "ü"])
def test_letters_that_are_no_secret_are_refused(text: str) -> None:
    with pytest.raises(ValueError):
        secret_of(text)


def test_nothing_goes_out_unsigned_or_under_an_id_that_breaks_the_signature() -> None:
    with pytest.raises(ValueError):
        signed_headers([], message_id="m", timestamp_seconds=0, content=b"")
    with pytest.raises(ValueError):
        signed_headers([NEW], message_id="m.1", timestamp_seconds=0, content=b"")


# --- the schedule -------------------------------------------------------------------------------


def test_the_whole_schedule_lasts_just_over_three_days() -> None:
    delays = [retry_delay_seconds(made, jitter_fraction=0.0) for made in range(1, 11)]
    hours = [None if seconds is None else seconds / 3600 for seconds in delays]
    assert hours[2:] == [0.5, 2, 5, 10, 14, 20, 24, None]
    assert delays[:2] == [5, 300]
    assert sum(seconds or 0 for seconds in delays) == 272_105


def test_what_the_receiver_asks_for_is_a_floor_up_to_a_day() -> None:
    def delay(made: int, asked: float) -> float | None:
        return retry_delay_seconds(made, jitter_fraction=0.0, retry_after_seconds=asked)

    assert delay(1, 2.0) == 5.0
    assert delay(1, 100.0) == 100.0
    assert delay(1, 1e9) == 86_400.0
    assert delay(10, 1.0) is None
    for bad in ((0, 0.0), (1, 1.5), (1, -0.1)):
        with pytest.raises(ValueError):
            retry_delay_seconds(bad[0], jitter_fraction=bad[1])


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        # RFC 9110, section 10.2.3: its two examples, the date seen two minutes before
        ("120", 120.0),
        ("Fri, 31 Dec 1999 23:59:59 GMT", 120.0),
        ("Fri, 31 Dec 1999 23:00:00 GMT", 0.0),
        ("Sunday, 02-Jan-00 23:57:59 GMT", 86_400.0),  # the obsolete form of RFC 850, two days on
        ("0", 0.0),
        (" 7\t", 7.0),
        ("99999999999999999999", 86_400.0),
        ("999999999999999999999", None),
        ("-1", None),
        ("1.5", None),
        ("1e3", None),
        ("٣", None),
        ("soon", None),
        ("", None),
        (None, None),
        ("Fri, 99 Dec 1999 23:59:59 GMT", None),
        ("x" * 10_000, None),
        ("Fri, 31 Dec 99999 23:59:59 GMT", None),
    ],
)
def test_retry_after_is_read_in_both_forms_and_garbage_is_none(
    text: str | None, seconds: float | None
) -> None:
    assert asked_seconds(text, at=datetime(1999, 12, 31, 23, 57, 59, tzinfo=UTC)) == seconds


def test_every_status_means_one_thing() -> None:
    meant = {status: verdict_of(status) for status in range(100, 600)}
    assert {status for status, one in meant.items() if one == "delivered"} == set(range(200, 300))
    assert [status for status, one in meant.items() if one == "gone"] == [410]
    slow = [status for status, one in meant.items() if one == "slow_down"]
    assert slow == [429, 502, 503, 504]


# --- the circuit --------------------------------------------------------------------------------


def test_three_failures_in_a_row_pause_a_receiver_ever_longer_up_to_half_an_hour() -> None:
    circuit, pauses = Circuit(), []
    for _ in range(12):
        circuit = after_attempt(circuit, "failed", at=AT, jitter_fraction=0.0)
        pauses.append(0 if circuit.paused_until is None else (circuit.paused_until - AT).seconds)
    assert pauses == [0, 0, 30, 60, 120, 240, 480, 960, 1800, 1800, 1800, 1800]
    assert after_attempt(circuit, "delivered", at=AT, jitter_fraction=0.0) == Circuit()


def test_who_asks_to_slow_down_is_paused_at_once_and_for_as_long_as_asked() -> None:
    for asked, seconds in ((None, 30), (5.0, 30), (600.0, 600), (1e9, 86_400)):
        circuit = after_attempt(
            Circuit(), "slow_down", at=AT, jitter_fraction=0.0, retry_after_seconds=asked
        )
        assert circuit.paused_until == AT + timedelta(seconds=seconds)


def test_a_pause_is_never_shortened_by_an_attempt_that_began_before_it() -> None:
    long = Circuit(5, AT + timedelta(hours=3))
    again = after_attempt(long, "failed", at=AT, jitter_fraction=1.0)
    assert again == Circuit(6, long.paused_until)


def test_after_a_pause_one_attempt_tries_the_receiver_out() -> None:
    circuit = Circuit(3, AT)
    assert room_count(circuit, at=AT - timedelta(seconds=1)) == 0
    assert room_count(circuit, at=AT) == 1
    assert room_count(Circuit(), at=AT) == 2


# --- the envelope -------------------------------------------------------------------------------


def test_the_envelope_has_what_cloudevents_asks_for() -> None:
    # CloudEvents 1.0.2: REQUIRED id, source, specversion, type; OPTIONAL datacontenttype, time,
    # subject; names of lower-case letters and digits, at most 20; time as RFC 3339.
    content = cloud_events.envelope(
        event_id="e-1",
        event_type=cloud_events.ALERT_OPENED,
        source="/v1/grinders/bar-1",
        at=AT,
        data={"kind": "long_run", "text": "Überlänge"},
        subject="bar-1",
    )
    read = json.loads(content)
    assert all(name.isascii() and name.isalnum() and len(name) <= 20 for name in read)
    assert read == {
        "specversion": "1.0",
        "id": "e-1",
        "source": "/v1/grinders/bar-1",
        "type": "burrline.alert.opened",
        "time": "2026-03-02T08:00:00.000Z",
        "datacontenttype": "application/json",
        "subject": "bar-1",
        "data": {"kind": "long_run", "text": "Überlänge"},
    }


@pytest.mark.parametrize(
    "changes",
    [
        {"event_id": ""},
        {"source": ""},
        {"source": "a b"},
        {"event_type": "Burrline"},
        {"event_type": ""},
        {"at": datetime(2026, 3, 2)},  # noqa: DTZ001
        {"data": {"x": float("nan")}},
        {"data": {"x": "x" * 65_536}},
    ],
)
def test_an_envelope_that_would_be_none_is_refused(changes: dict[str, object]) -> None:
    given_: dict[str, object] = {
        "event_id": "e", "event_type": "a.b", "source": "/", "at": AT, "data": {}
    }  # fmt: skip
    with pytest.raises(ValueError):
        cloud_events.envelope(**{**given_, **changes})  # type: ignore[arg-type]
