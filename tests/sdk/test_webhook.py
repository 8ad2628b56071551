"""A receiver believes what the service has signed, and nothing else."""

from __future__ import annotations

import base64
import json
from datetime import UTC, datetime

import pytest
from standardwebhooks import Webhook as Reference

from burrline.webhook import SignatureError, challenge, verify

# Published test data of the reference libraries of Standard Webhooks, and a second vector
# computed by the construction of its version 1.0.0 outside of this code.
LIBRARY = {
    "secret": "MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw",
    "headers": {
        "webhook-id": "msg_p5jXN8AQM9LWM0D4loKWxJek",
        "webhook-timestamp": "1614265330",
        "webhook-signature": "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=",
    },
    "body": b'{"test": 2432232314}',
}
NEW = "whsec_AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8="
OLD = "whsec_" + base64.b64encode(bytes(range(0x20, 0x40))).decode()
BODY = (
    b'{"type":"motor.overheated","timestamp":"2026-01-01T08:00:00Z",'
    b'"data":{"grinder_id":"g-1","motor_temp_c":91.5}}'
)
BY_NEW = "v1,wgqxh2H/CHGHW+rqe+Z//7+rNobYqYObrwnZYzFtRNc="
BY_OLD = "v1,gP99yasItv9gu93N8FSZ24zreBHrdIiBZLsJep1NdSQ="
AT = 1767254400


def headers(signature: str = BY_NEW, **changes: str) -> dict[str, str]:
    told = {
        "webhook-id": "msg_01J00000000000000000000000",
        "webhook-timestamp": str(AT),
        "webhook-signature": signature,
    }
    return {**told, **{name.replace("_", "-"): value for name, value in changes.items()}}


def test_published_test_data_is_believed() -> None:
    library: dict[str, object] = LIBRARY
    read = verify(library["secret"], library["headers"], library["body"], now=1614265330)  # type: ignore[arg-type]
    assert read == {"test": 2432232314}


@pytest.mark.parametrize(
    ("secrets", "signature"),
    [
        (NEW, BY_NEW),
        (OLD, BY_OLD),
        (NEW.removeprefix("whsec_"), BY_NEW),
        ([OLD, NEW], BY_NEW),
        ([NEW], f"{BY_OLD} {BY_NEW}"),
        (NEW, f"v1a,AAAA {BY_OLD} v2,x {BY_NEW}"),
        ((one for one in [NEW, OLD]), BY_OLD),
    ],
)
def test_while_secrets_change_over_either_will_do(secrets: object, signature: str) -> None:
    read = verify(secrets, headers(signature), BODY, now=AT)  # type: ignore[arg-type]
    assert read["data"] == {"grinder_id": "g-1", "motor_temp_c": 91.5}


@pytest.mark.parametrize("text", ["{}", '{"é": "\\u2028"}', '{"a": [1, 2.5, null]}'])
def test_what_the_reference_library_signs_is_believed(text: str) -> None:
    at = datetime.fromtimestamp(AT, UTC)
    signature = Reference(NEW).sign("m-1", at, text)
    told = headers(signature, webhook_id="m-1")
    assert verify(NEW, told, text.encode(), now=AT) == json.loads(text)


def test_names_of_headers_are_the_same_in_upper_and_lower_case_and_as_pairs() -> None:
    upper = {name.title(): value for name, value in headers().items()}
    assert verify(NEW, upper, BODY, now=AT)
    assert verify(NEW, [*upper.items(), ("X-Other", "1"), ("x-other", "2")], BODY, now=AT)


@pytest.mark.parametrize(
    ("told", "body", "why"),
    [
        (headers(BY_OLD), BODY, "no signature fits"),
        (headers(), BODY + b" ", "no signature fits"),
        (headers(), json.dumps(json.loads(BODY)).encode(), "no signature fits"),
        (headers(webhook_id="msg_2"), BODY, "no signature fits"),
        (headers(webhook_timestamp=str(AT + 1)), BODY, "no signature fits"),
        (headers(BY_NEW.removeprefix("v1,")), BODY, "no signature fits"),
        (headers(BY_NEW.replace("v1,", "v1a,")), BODY, "no signature fits"),
        (headers("v1,"), BODY, "no signature fits"),
        (headers("v1,é\udcff"), BODY, "no signature fits"),
        (headers(""), BODY, "webhook-signature is missing"),
        (headers(webhook_id=""), BODY, "webhook-id is missing"),
        (headers(webhook_timestamp="soon"), BODY, "no number"),
        (headers(webhook_timestamp="-1"), BODY, "no number"),
        (headers(webhook_timestamp=f"{AT}.5"), BODY, "no number"),
        (headers(webhook_timestamp="١"), BODY, "no number"),
        (headers(webhook_timestamp="9" * 30), BODY, "no number"),
        ([*headers().items(), ("Webhook-Id", "x")], BODY, "there twice"),
        ({}, BODY, "is missing"),
    ],
)
def test_what_was_not_signed_so_is_refused(told: object, body: bytes, why: str) -> None:
    with pytest.raises(SignatureError, match=why):
        verify(NEW, told, body, now=AT)  # type: ignore[arg-type]


def test_five_minutes_are_let_pass_to_either_side() -> None:
    for seconds in (-300, 300):
        assert verify(NEW, headers(), BODY, now=AT + seconds)
    with pytest.raises(SignatureError, match="too old"):
        verify(NEW, headers(), BODY, now=AT + 300.5)
    with pytest.raises(SignatureError, match="from the future"):
        verify(NEW, headers(), BODY, now=AT - 300.5)
    assert verify(NEW, headers(), BODY, now=AT + 900, tolerance_seconds=900)
    with pytest.raises(SignatureError, match="too old"):
        verify(NEW, headers(), BODY)


@pytest.mark.parametrize("body", [b"[]", b"", b"\xff", b'"text"', b"[" * 100_000])
def test_a_body_that_is_signed_but_no_object_is_refused(body: bytes) -> None:
    import hmac

    signed = f"m.{AT}.".encode() + body
    signature = base64.b64encode(hmac.new(bytes(range(32)), signed, "sha256").digest()).decode()
    with pytest.raises(SignatureError, match="the body is no JSON"):
        verify(NEW, headers(f"v1,{signature}", webhook_id="m"), body, now=AT)


@pytest.mark.parametrize("secrets", ["", "whsec_", "whsec_*", "whsec_AAAA", [], ["whsec_x"]])
def test_a_setting_that_is_no_secret_is_not_taken_for_a_bad_request(secrets: object) -> None:
    with pytest.raises(ValueError, match="secret"):
        verify(secrets, headers(), BODY, now=AT)  # type: ignore[arg-type]


def test_text_is_refused_for_it_is_not_what_came() -> None:
    with pytest.raises(TypeError, match="bytes"):
        verify(NEW, headers(), BODY.decode(), now=AT)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("body", "answer"),
    [
        (b'{"type":"burrline.webhook.challenge","data":{"challenge":"a-Z_0"}}', b"a-Z_0"),
        (b'{"type":"burrline.webhook.challenge","data":{"challenge":"<script>"}}', None),
        (b'{"type":"burrline.webhook.challenge","data":{"challenge":5}}', None),
        (b'{"type":"burrline.webhook.challenge","data":[]}', None),
        (b'{"type":"burrline.webhook.challenge"}', None),
        (b'{"type":"burrline.alert.opened","data":{"challenge":"x"}}', None),
        (b"[]", None),
        (b"", None),
    ],
)
def test_only_a_challenge_is_given_back(body: bytes, answer: bytes | None) -> None:
    assert challenge(body) == answer
