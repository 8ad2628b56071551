"""From the list of operations to a serving app: rules, checks, the action, the answer."""

from __future__ import annotations

import json
import re
import uuid
from datetime import datetime
from typing import Any, Protocol
from urllib.parse import urlencode

from flask import Flask, Response, g, request
from marshmallow import Schema

from ..actions import access, once
from ..core.errors import ScopeMissing
from ..core.records import Caller, Page
from . import metrics, problems, reading
from .cursors import read_cursor, write_cursor
from .device_clock import read_device_clock
from .operation import JSON, Operation, revision_tag

DEFAULT_LIMIT = 50
_REQUEST_ID = re.compile(r"[A-Za-z0-9._-]{8,64}", re.ASCII)

SECURITY_HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "Cache-Control": "no-store",
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
    "Referrer-Policy": "no-referrer",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Resource-Policy": "same-origin",
}


class Clock(Protocol):
    def __call__(self) -> datetime: ...


def install(app: Flask, database: Any, operations: tuple[Operation, ...], clock: Clock) -> None:
    """Add every operation's rule to the app, and the ways common to all answers."""
    app.url_map.merge_slashes = False
    app.before_request(_name_request)
    app.after_request(_finish_response)
    problems.install(app)
    for operation in operations:
        app.add_url_rule(
            # with its least length: "batch" is no run, so its path does not answer GET
            operation.path.replace("<run_id>", "<string(minlength=8):run_id>"),
            endpoint=operation.name,
            view_func=_Endpoint(operation, database, clock),
            methods=[operation.method],
        )


class _Endpoint:
    """What Flask calls for one operation."""

    def __init__(self, operation: Operation, database: Any, clock: Clock) -> None:
        self.operation, self.database, self.clock = operation, database, clock
        self.__name__ = operation.name
        self.takes: Schema | None = operation.takes() if operation.takes else None
        self.query: Schema | None = operation.query() if operation.query else None
        self.gives: Schema | None = operation.gives() if operation.gives else None
        names = self.query.fields if self.query else ()
        self.absent = dict.fromkeys(name for name in names if name not in ("limit", "cursor"))

    def __call__(self, **path_ids: str) -> Response:
        operation, now = self.operation, self.clock()
        caller = None if operation.is_open else self._caller(now)
        reading.check_path_ids(operation, path_ids)
        keywords: dict[str, Any] = {
            **path_ids,
            **self.absent,
            **reading.read_query(request, self.query),
        }
        filters = dict(keywords)
        if operation.is_list:
            assert caller is not None
            filters = {n: v for n, v in keywords.items() if n not in ("limit", "cursor")}
            keywords = filters | self._page_of(keywords, filters, caller)
        body = b""
        if self.takes is not None:
            reading.check_media_type(request, operation.takes_media)
            body = reading.read_body(request)
            keywords["fields"] = reading.read_fields(body, self.takes)
        elif operation.method not in ("GET", "HEAD"):
            reading.check_no_body(request)
        if operation.needs_if_match:
            keywords["if_match"] = reading.read_if_match(request)
        if operation.reads_device_clock:
            keywords["device_clock"] = read_device_clock(request)
        keywords["now"] = now
        if operation.is_replayable:
            assert caller is not None
            key = reading.read_idempotency_key(request)
            if key is not None:
                return self._once(caller, key, body, keywords)
        return self._answer(self._act(self.database, caller, keywords), caller, filters)

    def _caller(self, now: datetime) -> Caller:
        caller = access.authenticate(
            self.database, credential=reading.read_credential(request), now=now
        )
        scope = self.operation.scope
        if scope is not None and scope not in caller.scopes:
            raise ScopeMissing(scope)
        return caller

    def _act(self, database: Any, caller: Caller | None, keywords: dict[str, Any]) -> Any:
        if caller is None:
            return self.operation.act(database, **keywords)
        return self.operation.act(database, caller, **keywords)

    def _page_of(
        self, given: dict[str, Any], filters: dict[str, Any], caller: Caller
    ) -> dict[str, Any]:
        position = None
        if "cursor" in given:
            position = read_cursor(
                given["cursor"],
                account_no=caller.account_no,
                operation=self.operation.name,
                filters=filters,
            )
        return {"limit": given.get("limit", DEFAULT_LIMIT), "position": position}

    def _once(self, caller: Caller, key: str, body: bytes, keywords: dict[str, Any]) -> Response:
        """Act at most once per Idempotency-Key; what came out the first time is answered again."""

        def produce(database: Any) -> once.Reply:
            response = self._answer(self._act(database, caller, keywords), caller, {})
            kept = {
                name: response.headers[name]
                for name in ("Content-Type", "ETag", "Location")
                if name in response.headers
            }
            return once.Reply(response.status_code, kept, response.get_data())

        reply, is_replay = once.perform(
            self.database,
            caller,
            key=key,
            fingerprint=reading.fingerprint_of(request, body),
            now=keywords["now"],
            produce=produce,
        )
        response = Response(reply.body, reply.status, headers=reply.headers)
        if is_replay:
            response.headers["Idempotency-Replayed"] = "true"
        return response

    def _answer(self, result: Any, caller: Caller | None, filters: dict[str, Any]) -> Response:
        operation = self.operation
        if isinstance(result, Response):
            return result
        headers: dict[str, str] = {}
        if operation.is_list:
            assert isinstance(result, Page)
            assert caller is not None
            next_cursor = None
            if result.next_position is not None:
                next_cursor = write_cursor(
                    result.next_position,
                    account_no=caller.account_no,
                    operation=operation.name,
                    filters=filters,
                )
                headers["Link"] = f'<{_with_cursor(next_cursor)}>; rel="next"'
            result = {"items": result.items, "next_cursor": next_cursor}
        status = operation.status
        metrics.count_runs(operation.name, result)
        if operation.tells_new:
            result, is_new = result
            status = 201 if is_new else 200
        elif operation.status_of is not None:
            status = operation.status_of(result)
        if operation.has_etag:
            tag = revision_tag(result.revision)
            headers["ETag"] = tag
            if operation.method == "GET" and reading.matches_none(request, tag):
                return Response(status=304, headers=headers)
        location = operation.location_of(result)
        if location is not None and status == 201:
            headers["Location"] = location
        assert self.gives is not None
        return Response(json_bytes(self.gives.dump(result)), status, headers, content_type=JSON)


def json_bytes(value: Any) -> bytes:
    """The one way values are written: compact UTF-8, finite numbers only, one line."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.encode() + b"\n"


def _with_cursor(cursor: str) -> str:
    """This request's own path and query, with the cursor of the next page."""
    query = {name: value for name, value in request.args.items() if name != "cursor"}
    return f"{request.path}?{urlencode({**query, 'cursor': cursor})}"


def _name_request() -> None:
    given = request.headers.get("X-Request-Id", "")
    g.request_id = given if _REQUEST_ID.fullmatch(given) else uuid.uuid4().hex


def _finish_response(response: Response) -> Response:
    for name, value in SECURITY_HEADERS.items():
        response.headers.setdefault(name, value)
    response.headers["X-Request-Id"] = g.request_id
    if request.method == "OPTIONS" and response.status_code == 200:
        response.status_code = 204
        response.headers.pop("Content-Type", None)
        response.headers.pop("Content-Length", None)
        if "PATCH" in response.headers.get("Allow", ""):
            response.headers["Accept-Patch"] = "application/merge-patch+json, application/json"
    if response.status_code == 304:
        response.headers.pop("Content-Type", None)
    return response
