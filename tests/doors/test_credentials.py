"""Every operation with every kind of bad credential: refused alike, and nothing stored.

The risk is API2 broken authentication of the OWASP API Security Top 10 (2023). RFC 9110, section
11.6.1: a 401 carries WWW-Authenticate; RFC 6750, section 3: its form for bearer tokens.
"""

from __future__ import annotations

import base64
import logging
import re
import zlib
from collections.abc import Callable, Mapping
from datetime import timedelta
from typing import Any

import pytest

from burrline_service.actions import access
from burrline_service.api.operation import Operation
from doors.scene import OWN, Scene
from doors.valid_requests import NOW, OPERATIONS, WITH_KEY
from every_case import try_each

DIGITS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"


def checksum(text: str) -> str:
    """Six base-62 digits of the CRC-32, written again here from the key's description."""
    number = zlib.crc32(text.encode())
    return "".join(DIGITS[number // 62**power % 62] for power in range(5, -1, -1))


def key_of(key_id: str, secret: str) -> str:
    assert (len(key_id), len(secret)) == (8, 33)
    body = f"burrline_{key_id}{secret}"
    return body + checksum(body)


def bearer(credential: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {credential}"}


def other_secret(key: str) -> str:
    return key_of(key[9:17], "".join(reversed(key[17:50])))


def bad_checksum(key: str) -> str:
    return key[:-1] + ("0" if key[-1] != "0" else "1")


def as_latin_1(text: str) -> str:
    """How a header's UTF-8 bytes reach the application (PEP 3333)."""
    return text.encode().decode("latin-1")


Credential = Callable[[Scene], tuple[Mapping[str, str], Mapping[str, str]]]  # headers, query

BAD: dict[str, Credential] = {
    "none": lambda scene: ({}, {}),
    "empty": lambda scene: (bearer(""), {}),
    "malformed": lambda scene: (bearer("burrline_tooshort"), {}),
    "unknown id": lambda scene: (bearer(key_of("NoSuchId", "a" * 33)), {}),
    "right id, wrong secret": lambda scene: (bearer(other_secret(scene.key)), {}),
    "bad checksum": lambda scene: (bearer(bad_checksum(scene.key)), {}),
    "revoked": lambda scene: (bearer(scene.once("revoked", revoked)), {}),
    "expired": lambda scene: (bearer(scene.once("expired", expired)), {}),
    "other scheme": lambda scene: (
        {"Authorization": "Basic " + base64.b64encode(f"x:{scene.key}".encode()).decode()},
        {},
    ),
    "no scheme": lambda scene: ({"Authorization": scene.key}, {}),
    "non-ASCII": lambda scene: (bearer(as_latin_1(scene.key[:-1] + "é")), {}),
    "non-ASCII digits": lambda scene: (bearer(as_latin_1("burrline_" + "٣" * 47)), {}),
    "7 kB": lambda scene: (bearer("burrline_" + "A" * 7000), {}),
    "key in the URL": lambda scene: ({}, {"key": scene.key}),
    "access_token in the URL": lambda scene: ({}, {"access_token": scene.key}),
    "key in a cookie": lambda scene: ({"Cookie": f"key={scene.key}"}, {}),
    "key twice in one header": lambda scene: (bearer(f"{scene.key} {scene.key}"), {}),
    "trailing newline escape": lambda scene: (bearer(scene.key + "%0a"), {}),
    "bad X-API-Key": lambda scene: ({"X-API-Key": other_secret(scene.key)}, {}),
    "two that differ": lambda scene: (
        {**bearer(scene.key), "X-API-Key": scene.other_key},
        {},
    ),
}


def revoked(scene: Scene) -> str:
    secret = scene.make_key()
    access.revoke_key(scene.database, scene.lantern, key_id=access.key_id_of(secret), now=NOW)
    return secret


def expired(scene: Scene) -> str:
    """A key that ran out this very instant; it could only be made in the past."""
    _, secret = access.create_key(
        scene.database, scene.lantern, name="old", expires_at=NOW, now=NOW - timedelta(days=1)
    )
    scene.secrets.append(secret)
    return secret


def test_a_key_has_the_form_it_is_described_by(scene: Scene) -> None:
    """Else every bad credential would be bad for the same dull reason."""
    assert re.fullmatch("burrline_[0-9A-Za-z]{47}", scene.key)
    assert key_of(scene.key[9:17], scene.key[17:50]) == scene.key


def test_a_checksum_is_that_of_a_known_key() -> None:
    """CRC-32 of ``123456789`` is CBF43926, the check value of the CRC's usual definition."""
    number = 0
    for digit in checksum("123456789"):
        number = number * 62 + DIGITS.index(digit)
    assert number == 0xCBF43926


@pytest.mark.parametrize("operation", WITH_KEY, ids=lambda operation: operation.name)
def test_a_bad_credential_opens_nothing(scene: Scene, operation: Operation) -> None:
    def check(kind: str) -> None:
        headers, query = BAD[kind](scene)
        before = scene.marks()
        ids = scene.ids(OWN, key="account")
        answer = scene.send(None, operation, ids, headers=headers, query=query)
        assert answer.status_code == 401
        assert re.fullmatch(
            'Bearer realm="burrline"(, error="invalid_(token|request)")?',
            answer.headers["WWW-Authenticate"],
        )
        problem = answer.get_json()
        assert set(problem) == {"type", "title", "status", "detail", "instance"}
        assert problem["type"] == "urn:burrline:problem:unauthenticated"
        assert problem["title"] == "A valid key is needed"
        for secret in scene.secrets:
            assert secret not in answer.text
            assert secret[17:50] not in answer.text
        assert scene.marks() == before

    try_each(BAD, check)


@pytest.mark.parametrize("kind", ["unknown id", "right id, wrong secret"])
def test_an_unknown_id_and_a_wrong_secret_cannot_be_told_apart(scene: Scene, kind: str) -> None:
    answers = [
        scene.send(None, WITH_KEY[0], OWN, headers=BAD[name](scene)[0])
        for name in ("unknown id", "right id, wrong secret")
    ]
    assert answers[0].data == answers[1].data
    assert dict(answers[0].headers) == dict(answers[1].headers)


@pytest.mark.parametrize("kind", ["unknown id", "right id, wrong secret", "revoked", "expired"])
def test_the_comparison_is_made_in_constant_time_and_always(
    scene: Scene, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    """Held structurally: timing measured in a test proves nothing."""
    compared = []
    real = access.hmac.compare_digest

    def compare(first: bytes, second: bytes) -> bool:
        compared.append((len(first), len(second)))
        return real(first, second)

    headers, _ = BAD[kind](scene)
    monkeypatch.setattr(access.hmac, "compare_digest", compare)
    assert scene.send(None, WITH_KEY[0], OWN, headers=headers).status_code == 401
    assert compared == [(32, 32)]


def test_a_good_key_opens_in_either_header(scene: Scene) -> None:
    operation = next(operation for operation in OPERATIONS if operation.name == "list_sites")
    for headers in (
        bearer(scene.key),
        {"Authorization": f"bearer   {scene.key} "},
        {"X-API-Key": scene.key},
        {**bearer(scene.key), "X-API-Key": scene.key},
    ):
        assert scene.send(None, operation, OWN, headers=headers).status_code == 200


def test_a_revoked_key_is_refused_from_the_next_request_on(scene: Scene) -> None:
    operation = next(operation for operation in OPERATIONS if operation.name == "list_sites")
    secret = scene.make_key()
    assert scene.send(secret, operation, OWN).status_code == 200
    gone = scene.client(scene.key).delete(f"/v1/keys/{access.key_id_of(secret)}")
    assert gone.status_code == 200
    assert scene.send(secret, operation, OWN).status_code == 401


def test_the_page_asks_for_a_key(scene: Scene) -> None:
    def check(kind: str) -> None:
        headers, query = BAD[kind](scene)
        if kind == "other scheme":
            headers = bearer(scene.key)  # the page wants Basic
        answer = scene.client(None).get("/", headers=headers, query_string=query)
        assert answer.status_code == 401
        assert answer.headers["WWW-Authenticate"].startswith("Basic ")
        assert "own-bar" not in answer.text

    try_each(BAD, check)


@pytest.mark.parametrize(
    "operation",
    [operation for operation in OPERATIONS if operation.is_open],
    ids=lambda operation: operation.name,
)
def test_what_needs_no_key_looks_at_none(scene: Scene, operation: Operation) -> None:
    def check(kind: str) -> None:
        headers, query = BAD[kind](scene)
        assert not query  # a query it does not know is refused by itself
        assert scene.send(None, operation, OWN, headers=headers).status_code == 200

    try_each([kind for kind in BAD if "in the URL" not in kind], check)


def test_no_secret_is_kept_or_logged(scene: Scene, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.DEBUG):
        made: Any = scene.client(scene.key).post("/v1/keys", json={"name": "kept"})
        listed = scene.client(made.get_json()["secret"]).get("/v1/keys?limit=200")
        scene.send(None, WITH_KEY[0], OWN, headers=bearer(bad_checksum(scene.key)))
    kept = repr(scene.rows()) + caplog.text + listed.text
    assert made.get_json()["key_id"] in kept, "else nothing is proven"
    for secret in (*scene.secrets, made.get_json()["secret"]):
        assert secret not in kept
        assert secret[17:50] not in kept
