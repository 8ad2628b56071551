"""Signing what is sent: headers and signatures of Standard Webhooks 1.0.0."""

from __future__ import annotations

import base64
import binascii
import hmac
from collections.abc import Sequence

PREFIX = "whsec_"
LEAST_COUNT, MOST_COUNT = 24, 64
SECRET_COUNT = 32


def secret_text(secret: bytes) -> str:
    """Write a secret as it is told to its owner.

    ``text = "whsec_" + base64(secret)``

    Parameters
    ----------
    secret : bytes
        24 to 64 random bytes.

    Returns
    -------
    str
        The secret in letters.

    Raises
    ------
    ValueError
        Shorter or longer.

    Source
    ------
    Standard Webhooks 1.0.0, "Signature scheme".

    Examples
    --------
    >>> secret_text(bytes(range(32)))
    'whsec_AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8='
    """
    if not LEAST_COUNT <= len(secret) <= MOST_COUNT:
        raise ValueError(f"a secret has {LEAST_COUNT} to {MOST_COUNT} bytes, not {len(secret)}")
    return PREFIX + base64.b64encode(secret).decode("ascii")


def secret_of(text: str) -> bytes:
    """Read a secret out of its letters.

    ``secret = base64^-1(text without "whsec_")``

    Parameters
    ----------
    text : str
        With or without its prefix.

    Returns
    -------
    bytes
        The secret.

    Raises
    ------
    ValueError
        Not base64, or not 24 to 64 bytes.

    Source
    ------
    Standard Webhooks 1.0.0, "Signature scheme".

    Examples
    --------
    >>> secret_of("whsec_AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8=") == bytes(range(32))
    True
    """
    try:
        secret = base64.b64decode(text.removeprefix(PREFIX), validate=True)
    except (binascii.Error, ValueError):
        raise ValueError("a secret is whsec_ and base64") from None
    if not LEAST_COUNT <= len(secret) <= MOST_COUNT:
        raise ValueError(f"a secret has {LEAST_COUNT} to {MOST_COUNT} bytes, not {len(secret)}")
    return secret


def signed_headers(
    secrets: Sequence[bytes], *, message_id: str, timestamp_seconds: int, content: bytes
) -> dict[str, str]:
    """Sign a message with every secret that is valid now, the newest first.

    ``signature = "v1," + base64(HMAC-SHA256(secret, id "." timestamp "." content))``

    Parameters
    ----------
    secrets : sequence of bytes
        One, or the new and the old one while they change over.
    message_id : str
        The same at every attempt: by it a receiver knows a repeat.
    timestamp_seconds : int
        When this attempt is made, Unix seconds.
    content : bytes
        The body as it is sent.

    Returns
    -------
    dict
        The headers ``webhook-id``, ``webhook-timestamp`` and ``webhook-signature``.

    Raises
    ------
    ValueError
        No secret, or an id that holds a full stop (it parts what is signed).

    Source
    ------
    Standard Webhooks 1.0.0, "Webhook metadata" and "Signature scheme"; the example is test data of
    its reference libraries.

    Examples
    --------
    >>> signed_headers(
    ...     [secret_of("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")],
    ...     message_id="msg_p5jXN8AQM9LWM0D4loKWxJek",
    ...     timestamp_seconds=1614265330,
    ...     content=b'{"test": 2432232314}',
    ... )["webhook-signature"]
    'v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE='
    """
    if not secrets:
        raise ValueError("nothing is sent unsigned")
    if "." in message_id:
        raise ValueError(f"the id {message_id!r} holds a full stop")
    signed = f"{message_id}.{timestamp_seconds}.".encode() + content
    signatures = (
        "v1," + base64.b64encode(hmac.digest(secret, signed, "sha256")).decode("ascii")
        for secret in secrets
    )
    return {
        "webhook-id": message_id,
        "webhook-timestamp": str(timestamp_seconds),
        "webhook-signature": " ".join(signatures),
    }
