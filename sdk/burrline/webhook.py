"""For receivers of webhooks: is a request really from the service, fresh, and as it was sent?

Only the standard library is needed. The scheme is that of Standard Webhooks 1.0.0, so any other
library for it will do as well.

    from burrline import webhook

    def receive(request):
        answer = webhook.challenge(request.body)
        if answer is not None:          # once, when the webhook is made
            return 200, answer
        try:
            event = webhook.verify(SECRET, request.headers, request.body)
        except webhook.SignatureError:
            return 400, b""
        if not seen_before(event["id"]):  # the same event may come twice
            handle(event)
        return 204, b""
"""

from __future__ import annotations

import base64
import binascii
import hmac
import json
import re
import time
from collections.abc import Iterable, Mapping
from typing import Any

__all__ = ["SignatureError", "challenge", "verify"]

PREFIX = "whsec_"
TOLERANCE_SECONDS = 300.0
CHALLENGE_TYPE = "burrline.webhook.challenge"
_LEAST_BYTES, _MOST_BYTES = 24, 64


class SignatureError(Exception):
    """The request is not to be believed; ``str()`` says why, for a log and not for the sender."""


def verify(
    secrets: str | Iterable[str],
    headers: Mapping[str, str] | Iterable[tuple[str, str]],
    body: bytes,
    *,
    now: float | None = None,
    tolerance_seconds: float = TOLERANCE_SECONDS,
) -> dict[str, Any]:
    """Check a request's signature and age; gives the event, which is the body read as JSON.

    Parameters
    ----------
    secrets
        The webhook's secret (``whsec_...``), or several while you change over to a new one: one
        of them must have signed.
    headers
        The request's headers; upper and lower case are the same.
    body
        The very bytes that came. JSON that was read and written again is other bytes.
    now, tolerance_seconds
        Unix seconds, to be replaced in tests; how far the request's time may lie from it.

    Raises
    ------
    SignatureError
        A header is missing or malformed, the request is too old or from the future, no signature
        fits, or the body is no JSON object.
    ValueError
        A secret is none: that is your setting, not the request's fault.
    TypeError
        The body is text.

    >>> secret = "whsec_AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8="
    >>> headers = {
    ...     "webhook-id": "m-1",
    ...     "webhook-timestamp": "1767254400",
    ...     "webhook-signature": "v1,bm90IGl0",
    ... }
    >>> verify(secret, headers, b"{}", now=1767254400)
    Traceback (most recent call last):
    burrline.webhook.SignatureError: no signature fits
    """
    if not isinstance(body, (bytes, bytearray, memoryview)):
        raise TypeError("the body must be the bytes that came, not text")
    content = bytes(body)
    keys = [_key_of(one) for one in ([secrets] if isinstance(secrets, str) else secrets)]
    if not keys:
        raise ValueError("there is no secret to verify with")
    told = _told(headers)
    stamp = told["webhook-timestamp"]
    if re.fullmatch("[0-9]{1,12}", stamp, re.ASCII) is None:
        raise SignatureError("webhook-timestamp is no number of seconds")
    age_seconds = (time.time() if now is None else now) - int(stamp)
    if age_seconds > tolerance_seconds:
        raise SignatureError("the request is too old")
    if age_seconds < -tolerance_seconds:
        raise SignatureError("the request is from the future")
    signed = f"{told['webhook-id']}.{stamp}.".encode() + content
    expected = [b"v1," + base64.b64encode(hmac.new(key, signed, "sha256").digest()) for key in keys]
    given = told["webhook-signature"].encode("utf-8", "surrogatepass").split(b" ")
    # every pair is compared, so that how long it takes tells nothing
    fitting = [hmac.compare_digest(one, other) for one in expected for other in given]
    if not any(fitting):
        raise SignatureError("no signature fits")
    return _object_of(content)


def challenge(body: bytes) -> bytes | None:
    """What to answer (with 200) to the proof asked of a new receiver; None: no such request.

    It comes before the secret is known, so it is not signed by anything you could check. Give it
    back only while you expect it, from the URL that you have just registered.

    >>> challenge(b'{"type": "burrline.webhook.challenge", "data": {"challenge": "xyz"}}')
    b'xyz'
    >>> challenge(b'{"type": "burrline.alert.opened", "data": {}}') is None
    True
    """
    try:
        event = _object_of(body)
    except SignatureError:
        return None
    asked = event.get("data")
    if event.get("type") != CHALLENGE_TYPE or not isinstance(asked, dict):
        return None
    nonce = asked.get("challenge")
    if not isinstance(nonce, str) or re.fullmatch("[A-Za-z0-9_-]{1,128}", nonce) is None:
        return None
    return nonce.encode("ascii")


def _told(headers: Mapping[str, str] | Iterable[tuple[str, str]]) -> dict[str, str]:
    # the headers of http.server and of some frameworks are no Mapping, but have its items
    items = getattr(headers, "items", None)
    pairs: Iterable[tuple[str, str]] = headers if items is None else items()  # type: ignore[assignment]
    found: dict[str, str] = {}
    for name, value in pairs:
        lower = name.lower()
        if lower in found and lower.startswith("webhook-"):
            raise SignatureError(f"{lower} is there twice")
        found[lower] = value
    for name in ("webhook-id", "webhook-timestamp", "webhook-signature"):
        if not found.get(name):
            raise SignatureError(f"{name} is missing")
    return found


def _key_of(secret: str) -> bytes:
    text = secret[len(PREFIX) :] if secret.startswith(PREFIX) else secret
    try:
        key = base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError):
        raise ValueError("a webhook's secret is whsec_ and base64") from None
    if not _LEAST_BYTES <= len(key) <= _MOST_BYTES:
        raise ValueError(f"a webhook's secret has {_LEAST_BYTES} to {_MOST_BYTES} bytes")
    return key


def _object_of(content: bytes) -> dict[str, Any]:
    try:
        event = json.loads(content)
    except (ValueError, RecursionError):
        raise SignatureError("the body is no JSON") from None
    if not isinstance(event, dict):
        raise SignatureError("the body is no JSON object")
    return event
