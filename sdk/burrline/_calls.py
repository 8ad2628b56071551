"""What the topics of the client have in common: paths, queries, reading answers, etags."""

from __future__ import annotations

import json
import secrets
import uuid
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any, Protocol, TypeVar
from urllib.parse import quote

from burrline import errors
from burrline._convert import Model, Reader, format_instant
from burrline._http import Answer, Transport
from burrline._paging import Page

T = TypeVar("T")
Read = TypeVar("Read", covariant=True)
IfMatch = str | int | Model


class Calls:
    """Base of the topics: how a method asks and reads."""

    _transport: Transport

    def _get(
        self, path: str, read: Callable[[Answer], T], query: Mapping[str, Any] | None = None
    ) -> T:
        return self._read(self._transport.send("GET", path, query=query_of(query)), read)

    def _list(
        self,
        path: str,
        read: Reader[T],
        query: Mapping[str, Any],
        *,
        limit: int | None,
        cursor: str | None,
    ) -> Page[T]:
        def fetch(next_cursor: str | None) -> Page[T]:
            asked = query_of({**query, "limit": limit, "cursor": next_cursor})
            answer = self._transport.send("GET", path, query=asked)
            return self._read(answer, lambda one: Page.from_json(one.body, read, fetch))

        return fetch(cursor)

    def _list_of_grinder(
        self,
        grinder_id: str,
        noun: str,
        read: Reader[T],
        from_at: datetime | None,
        to_at: datetime | None,
        limit: int | None,
        cursor: str | None,
    ) -> Page[T]:
        """What a grinder has of a kind that is listed by time."""
        path = path_of(f"/v1/grinders/{{}}/{noun}", grinder_id)
        query = {"from": from_at, "to": to_at}
        return self._list(path, read, query, limit=limit, cursor=cursor)

    def _post(
        self,
        path: str,
        read: Callable[[Answer], T],
        body: Mapping[str, Any] | None = None,
        *,
        is_harmless: bool = True,
    ) -> T:
        """POST with a key of its own, so that a second try does not act twice.

        ``is_harmless`` is False where the service cannot keep that promise.
        """
        content = None if body is None else encode(body)
        answer = self._transport.send(
            "POST",
            path,
            body=None if content is None else lambda elapsed_seconds: content,
            headers={"Idempotency-Key": f'"{uuid.UUID(bytes=secrets.token_bytes(16), version=4)}"'},
            is_harmless=is_harmless,
        )
        return self._read(answer, read)

    def _patch(
        self, path: str, read: Callable[[Answer], T], body: Mapping[str, Any], if_match: IfMatch
    ) -> T:
        content = encode(body)
        answer = self._transport.send(
            "PATCH",
            path,
            body=lambda elapsed_seconds: content,
            media_type="application/merge-patch+json",
            headers={"If-Match": etag_of(if_match)},
        )
        return self._read(answer, read)

    def _read(self, answer: Answer, read: Callable[[Answer], T]) -> T:
        try:
            return read(answer)
        except ValueError as error:
            raise errors.TransportError(
                f"the answer is not what this release of the SDK can read: {error}",
                status=answer.status,
            ) from error


class Kind(Protocol[Read]):
    """A class of models: it reads one out of a body."""

    def from_json(self, answer: object) -> Read: ...


def model(kind: Kind[T]) -> Callable[[Answer], T]:
    """Reads an answer's body as a model."""
    return lambda answer: kind.from_json(answer.body)


def path_of(template: str, *ids: str) -> str:
    """A path with its ids in place, each quoted whole.

    >>> path_of("/v1/runs/{}", "kiosk:17/3")
    '/v1/runs/kiosk%3A17%2F3'
    """
    for one in ids:
        if one in ("", ".", ".."):
            raise ValueError(f"{one!r} cannot be an id")
    return template.format(*(quote(one, safe="") for one in ids))


def query_of(query: Mapping[str, Any] | None) -> dict[str, str]:
    """Query parameters as text; absent ones are left out."""
    return {
        name: format_instant(value) if isinstance(value, datetime) else str(value)
        for name, value in (query or {}).items()
        if value is not None
    }


def encode(body: object) -> bytes:
    """JSON as compact UTF-8."""
    return json.dumps(body, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()


def etag_of(given: IfMatch) -> str:
    """The If-Match header for an etag, a revision or a model that was read.

    >>> etag_of("r3"), etag_of('"r3"'), etag_of(3), etag_of("*")
    ('"r3"', '"r3"', '"r3"', '*')
    """
    if isinstance(given, Model):
        found = getattr(given, "etag", None)
        if not isinstance(found, str):
            raise ValueError(f"this {type(given).__name__} has no etag: it was not read by itself")
        return found
    if isinstance(given, int):
        return f'"r{given}"'
    return given if given == "*" or given.endswith('"') else f'"{given}"'
