"""Every no in one form: ``application/problem+json`` (RFC 9457), and the one table behind it."""

from __future__ import annotations

import json
import logging
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from flask import Flask, Response, g
from marshmallow import ValidationError
from werkzeug.exceptions import HTTPException
from werkzeug.exceptions import MethodNotAllowed as WrongMethod
from werkzeug.http import HTTP_STATUS_CODES

from ..core import errors
from ..core.errors import Fault, Refusal
from . import refusals

log = logging.getLogger(__name__)

MEDIA_TYPE = "application/problem+json"
TYPE_PREFIX = "urn:burrline:problem:"
MOST_FAULTS = 50
LONGEST_POINTER = 300
RETRY_AFTER_SECONDS = 5
REALM = "burrline"


@dataclass(frozen=True)
class Problem:
    """What a refusal becomes: its type's last part, status, title, and headers."""

    name: str
    status: int
    title: str
    headers: Callable[[Any], dict[str, str]] = lambda refusal: {}
    header_names: tuple[str, ...] = ()


def _challenge(refusal: errors.Unauthenticated) -> dict[str, str]:
    error = f', error="{refusal.error}"' if refusal.error else ""
    return {"WWW-Authenticate": f'Bearer realm="{REALM}"{error}'}


def _wanted_scope(refusal: errors.ScopeMissing) -> dict[str, str]:
    challenge = f'Bearer realm="{REALM}", error="insufficient_scope", scope="{refusal.scope}"'
    return {"WWW-Authenticate": challenge}


def _accepted(refusal: refusals.UnsupportedMediaType) -> dict[str, str]:
    return {refusal.header: ", ".join(refusal.accepted)}


def _allowed(refusal: refusals.MethodNotAllowed) -> dict[str, str]:
    return {"Allow": ", ".join(refusal.methods)}


def _later(refusal: Refusal) -> dict[str, str]:
    return {"Retry-After": str(RETRY_AFTER_SECONDS)}


# The one table: refusal -> what it looks like outside.
PROBLEMS: dict[type[Refusal], Problem] = {
    refusals.NotJson: Problem("not-json", 400, "The body is not strict JSON"),
    refusals.BodyIncomplete: Problem("body-incomplete", 400, "The body did not arrive whole"),
    refusals.BadHeader: Problem("bad-header", 400, "A header is malformed"),
    errors.BadCursor: Problem("bad-cursor", 400, "The cursor is not from this list"),
    errors.Unauthenticated: Problem(
        "unauthenticated", 401, "A valid key is needed", _challenge, ("WWW-Authenticate",)
    ),
    errors.ScopeMissing: Problem(
        "scope-missing", 403, "The key lacks a scope", _wanted_scope, ("WWW-Authenticate",)
    ),
    errors.OutOfReach: Problem("out-of-reach", 403, "The key is bound elsewhere"),
    errors.NotFound: Problem("not-found", 404, "Nothing here by that name"),
    refusals.MethodNotAllowed: Problem(
        "method-not-allowed", 405, "The path does not answer this method", _allowed, ("Allow",)
    ),
    errors.AlreadyExists: Problem("already-exists", 409, "The id is taken"),
    errors.RunConflict: Problem("run-conflict", 409, "The run id has other content"),
    errors.RunArchived: Problem("run-archived", 409, "The run is archived"),
    errors.PeriodArchived: Problem("period-archived", 409, "The period is archived"),
    errors.CorrectionArchived: Problem(
        "correction-archived", 409, "The corrected runs are archived"
    ),
    errors.AccountNotEmpty: Problem("account-not-empty", 409, "The account is not empty"),
    errors.WebhookDisabled: Problem("webhook-disabled", 409, "The webhook is disabled"),
    errors.TooManyWebhooks: Problem("too-many-webhooks", 409, "There are as many as may be"),
    errors.FittingsOverlap: Problem("fittings-overlap", 409, "Burr sets would overlap"),
    refusals.LengthRequired: Problem("length-required", 411, "The body's length is needed"),
    errors.RevisionMismatch: Problem("revision-mismatch", 412, "The object has changed"),
    refusals.TooLarge: Problem("too-large", 413, "The body is too large"),
    refusals.UnsupportedMediaType: Problem(
        "unsupported-media-type",
        415,
        "The body is of another type",
        _accepted,
        ("Accept", "Accept-Encoding", "Accept-Patch"),
    ),
    errors.Invalid: Problem("invalid", 422, "The content is not acceptable"),
    errors.SampleRefused: Problem("sample-refused", 422, "The grind sample cannot be used"),
    errors.ReceiverUnproven: Problem(
        "receiver-unproven", 422, "The receiver did not answer for it"
    ),
    errors.FutureInstant: Problem("future-instant", 422, "The instant has not come yet"),
    errors.InstantArchived: Problem("instant-archived", 422, "The instant's runs are archived"),
    errors.ExportDamaged: Problem("export-damaged", 422, "The export is not whole"),
    errors.KeyReused: Problem("key-reused", 422, "The Idempotency-Key was used before"),
    errors.RevisionRequired: Problem("revision-required", 428, "If-Match is needed"),
    errors.Unavailable: Problem(
        "unavailable", 503, "Temporarily not available", _later, ("Retry-After",)
    ),
    errors.SchemaMismatch: Problem(
        "schema-mismatch", 503, "The database is of another release", _later, ("Retry-After",)
    ),
    refusals.NotReady: Problem("not-ready", 503, "Not ready to serve", _later, ("Retry-After",)),
}

INTERNAL_ERROR = Problem("internal-error", 500, "Something went wrong here")
_BY_STATUS = {
    problem.status: problem
    for problem in (
        PROBLEMS[errors.NotFound],
        PROBLEMS[refusals.TooLarge],
        PROBLEMS[refusals.LengthRequired],
        INTERNAL_ERROR,
    )
}


def problem_of(kind: type[Refusal]) -> Problem:
    """The table's row for a refusal, or for the nearest ancestor that has one."""
    for ancestor in kind.__mro__:
        if ancestor in PROBLEMS:
            return PROBLEMS[ancestor]
    return INTERNAL_ERROR


def response_of(refusal: Refusal) -> Response:
    """The problem document of a refusal."""
    problem = problem_of(type(refusal))
    if problem is INTERNAL_ERROR:
        log.error("a refusal without a row in the table: %s", type(refusal).__name__)
        return _response(problem, _NO_DETAIL)
    response = _response(problem, str(refusal), refusal.faults)
    response.headers.update(problem.headers(refusal))
    return response


_NO_DETAIL = "The fault is ours and has been logged under this request id."


def _response(problem: Problem, detail: str, faults: Iterable[Fault] = ()) -> Response:
    body: dict[str, Any] = {
        "type": TYPE_PREFIX + problem.name,
        "title": problem.title,
        "status": problem.status,
        "detail": detail,
        "instance": f"urn:request:{g.get('request_id', 'unknown')}",
    }
    listed = [fault_body(fault) for fault in faults]
    if listed:
        body["errors"] = listed[:MOST_FAULTS]
    return Response(
        json.dumps(body, ensure_ascii=False, separators=(",", ":")) + "\n",
        problem.status,
        content_type=MEDIA_TYPE,
    )


def fault_body(fault: Fault) -> dict[str, str]:
    """One entry of ``errors``: a pointer into the body as URI fragment, or a named parameter."""
    body = {"detail": fault.detail}
    if fault.pointer is not None:
        pointer = fault.pointer
        while len(pointer) > LONGEST_POINTER:
            pointer = pointer.rpartition("/")[0]
        body["pointer"] = "#" + quote(pointer, safe="/~!$&'()*+,;=:@-._?", errors="replace")
    if fault.parameter is not None:
        body["parameter"] = fault.parameter[:LONGEST_POINTER]
        body["in"] = fault.place or "query"
    return body


def faults_of(error: ValidationError, prefix: str = "") -> tuple[Fault, ...]:
    """The schema's complaints as faults with JSON pointers (RFC 6901)."""
    return tuple(
        Fault(detail, pointer=pointer) for pointer, detail in _leaves(error.messages, prefix)
    )[: MOST_FAULTS + 1]


def query_faults_of(error: ValidationError) -> tuple[Fault, ...]:
    """The query schema's complaints as faults of named parameters."""
    return tuple(
        Fault(detail, parameter=pointer.removeprefix("/"), place="query")
        for pointer, detail in _leaves(error.messages, "", escapes=False)
    )[: MOST_FAULTS + 1]


def _leaves(messages: Any, pointer: str, *, escapes: bool = True) -> Iterable[tuple[str, str]]:
    if isinstance(messages, dict):
        for name, inner in messages.items():
            if name == "_schema":
                yield from _leaves(inner, pointer, escapes=escapes)
                continue
            token = str(name)
            if escapes:
                token = token.replace("~", "~0").replace("/", "~1")
            yield from _leaves(inner, f"{pointer}/{token}", escapes=escapes)
    elif isinstance(messages, list):
        for inner in messages:
            yield from _leaves(inner, pointer, escapes=escapes)
    else:
        yield pointer, str(messages)


def install(app: Flask) -> None:
    """Answer every exception with a problem document."""

    def on_refusal(refusal: Exception) -> Response:
        assert isinstance(refusal, Refusal)
        if isinstance(refusal, errors.Unavailable | errors.SchemaMismatch):
            log.warning("%s", refusal)
        return response_of(refusal)

    def on_http(error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        status = error.code or 500
        if status < 400:
            return Response(status=status, headers=error.get_response().headers)
        if isinstance(error, WrongMethod):
            return response_of(refusals.MethodNotAllowed(tuple(sorted(error.valid_methods or ()))))
        phrase = HTTP_STATUS_CODES.get(status, "Error")
        problem = _BY_STATUS.get(status) or Problem(
            phrase.lower().replace(" ", "-").replace("'", ""), status, phrase
        )
        response = _response(problem, _HTTP_DETAILS.get(status, phrase + "."))
        for name, value in error.get_headers():
            if name.lower() not in ("content-type", "content-length"):
                response.headers[name] = value
        return response

    def on_exception(error: Exception) -> Response:
        log.exception("unhandled error, request %s", g.get("request_id", "unknown"))
        return _response(INTERNAL_ERROR, _NO_DETAIL)

    app.register_error_handler(Refusal, on_refusal)
    app.register_error_handler(HTTPException, on_http)
    app.register_error_handler(Exception, on_exception)


_HTTP_DETAILS = {404: "There is nothing at this path.", 500: _NO_DETAIL}
