"""What went wrong with one try, and whether another may follow."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from datetime import datetime, timezone
from email.utils import parsedate_to_datetime
from typing import Any, NoReturn

import requests
from requests import exceptions as broken

from burrline import errors

RETRIED_STATUSES = frozenset({408, 425, 429, 500, 502, 503, 504})


class Failed(Exception):
    """One try that failed; ``again`` tells whether another may follow."""

    def __init__(self, error: errors.APIError, *, again: bool) -> None:
        super().__init__(str(error))
        self.error, self.again = error, again


def raise_broken(error: broken.RequestException, *, name: str, is_harmless: bool) -> NoReturn:
    if isinstance(error, broken.SSLError):
        text, again, was_reset = "TLS failed", False, False
    elif isinstance(error, broken.ConnectTimeout):
        text, again, was_reset = "no connection in time", True, False
    elif isinstance(error, broken.Timeout):
        text, again, was_reset = "no answer in time", is_harmless, False
    elif isinstance(error, broken.ProxyError) or _never_stood(error):
        text, again, was_reset = "no connection", True, False
    elif isinstance(error, broken.ConnectionError):
        text, again, was_reset = "the connection broke", is_harmless, True
    elif isinstance(error, (broken.ChunkedEncodingError, broken.ContentDecodingError)):
        text, again, was_reset = "the answer was cut short", is_harmless, False
    else:
        text, again, was_reset = "not sent", False, False
    because = f"{name}: {text} ({_reason(error)})"
    failure = errors.TransportError(because)
    failure.was_reset = was_reset
    failure.__cause__ = error
    raise Failed(failure, again=again)


def _reason(error: BaseException) -> str:
    """The innermost cause in its own words: the outer ones repeat it at length."""
    *_, innermost = _causes(error)
    if isinstance(innermost, OSError) and innermost.strerror:
        return innermost.strerror
    return str(innermost) or type(innermost).__name__


def _never_stood(error: BaseException) -> bool:
    """Whether no connection was made at all; told by a class name of what requests is built on."""
    kinds = (kind for one in _causes(error) for kind in type(one).__mro__)
    return any(kind.__name__ == "NewConnectionError" for kind in kinds)


def _causes(error: BaseException) -> Iterator[BaseException]:
    """The error, what it wraps and what that wraps: requests keeps the cause in ``args``."""
    waiting, seen = [error], set[int]()
    while waiting:
        one = waiting.pop()
        if id(one) not in seen:
            seen.add(id(one))
            yield one
            within = [*one.args, getattr(one, "reason", None), one.__cause__]
            waiting.extend(each for each in within if isinstance(each, BaseException))


def json_object(content: bytes) -> dict[str, Any] | None:
    """The JSON object in a body, or None: nothing but an object is an answer of burrline."""
    try:
        found = json.loads(content)
    except (ValueError, RecursionError):
        return None
    return found if isinstance(found, dict) else None


def looks_like(response: requests.Response) -> str:
    if not response.content:
        return "an empty body"
    return f"{len(response.content)} bytes of {response.headers.get('Content-Type', 'no type')}"


def http_date(text: str) -> datetime | None:
    """The instant of a header such as Date; None where it is none."""
    try:
        found = parsedate_to_datetime(text)
    except (TypeError, ValueError, IndexError, OverflowError):
        return None
    return found if found.tzinfo else found.replace(tzinfo=timezone.utc)


def retry_after_seconds(headers: Mapping[str, str], now: datetime) -> float | None:
    """The wait a Retry-After header asks for; None where there is none that can be read.

    Source: RFC 9110 section 10.2.3 (delay-seconds or HTTP-date). A date is counted from the
    answer's own Date header where there is one: the clock of a device may be wrong.
    """
    value = headers.get("Retry-After", "").strip()
    if re.fullmatch(r"[0-9]{1,18}", value):
        return float(value)
    until = http_date(value)
    if until is None:
        return None
    return max(0.0, (until - (http_date(headers.get("Date", "")) or now)).total_seconds())
