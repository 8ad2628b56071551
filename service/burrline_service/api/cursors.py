"""Cursors: where the next page starts, opaque to the client.

A cursor carries its position and a checksum keyed by account, operation and filters. That
catches a cursor used with another list, other filters or another account's key, and every
typing error. It is no secret and no boundary: each page is filtered by account all the same.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
import json
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from ..core.errors import BadCursor

LONGEST_CURSOR = 1024
_CHECK_BYTES = 12


def write_cursor(
    position: tuple[Any, ...], *, account_no: int, operation: str, filters: Mapping[str, Any]
) -> str:
    """The text for a position."""
    payload = _json([_plain(part) for part in position])
    check = _checksum(payload, account_no, operation, filters)
    return base64.urlsafe_b64encode(check + payload).decode("ascii").rstrip("=")


def read_cursor(
    text: str, *, account_no: int, operation: str, filters: Mapping[str, Any]
) -> tuple[Any, ...]:
    """The position in a cursor; raises ``BadCursor`` for anything this list did not give."""
    if not text or len(text) > LONGEST_CURSOR or not text.isascii():
        raise BadCursor
    try:
        raw = base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True)
    except (binascii.Error, ValueError):
        raise BadCursor from None
    if base64.urlsafe_b64encode(raw).decode("ascii").rstrip("=") != text:
        raise BadCursor
    check, payload = raw[:_CHECK_BYTES], raw[_CHECK_BYTES:]
    if not hmac.compare_digest(check, _checksum(payload, account_no, operation, filters)):
        raise BadCursor
    return tuple(_rich(part) for part in json.loads(payload))


def _checksum(payload: bytes, account_no: int, operation: str, filters: Mapping[str, Any]) -> bytes:
    bound = _json([account_no, operation, {name: _plain(filters[name]) for name in filters}])
    key = hashlib.blake2b(bound, digest_size=32, person=b"burrline cursor").digest()
    return hashlib.blake2b(payload, key=key, digest_size=_CHECK_BYTES).digest()


def _json(value: Any) -> bytes:
    return json.dumps(value, separators=(",", ":"), sort_keys=True).encode("ascii")


def _plain(part: Any) -> Any:
    if isinstance(part, datetime):
        return {"at": part.astimezone(UTC).isoformat()}
    if isinstance(part, bytes):
        return {"bytes": part.hex()}
    return part


def _rich(part: Any) -> Any:
    if isinstance(part, dict):
        if "at" in part:
            return datetime.fromisoformat(part["at"])
        return bytes.fromhex(part["bytes"])
    return part
