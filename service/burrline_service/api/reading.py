"""Reading a request: its credential, headers, query and the whole of its body, within bounds."""

from __future__ import annotations

import hashlib
import re
from typing import Any

from flask import Request
from marshmallow import Schema, ValidationError
from werkzeug.http import parse_options_header

from ..core.errors import Fault, Invalid, NotFound, Unauthenticated
from .operation import MERGE_PATCH, PATH_IDS, SOME_KEY_ID, Operation
from .problems import faults_of, query_faults_of
from .refusals import BadHeader, BodyIncomplete, LengthRequired, TooLarge, UnsupportedMediaType
from .strict_json import parse

LARGEST_BODY_BYTES = 1024 * 1024
_READ_BYTES = 64 * 1024
ANY_REVISION = -1


def read_credential(request: Request) -> str:
    """The key as sent: ``Authorization: Bearer`` first, else ``X-API-Key``.

    Raises Unauthenticated when there is none, when the scheme is another, and when both headers
    are there and differ.
    """
    authorization = request.headers.get("Authorization")
    api_key = request.headers.get("X-API-Key")
    if authorization is None:
        if api_key is None:
            raise Unauthenticated("Send a key: Authorization: Bearer <key>, or X-API-Key: <key>.")
        return api_key.strip(" \t")
    scheme, _, rest = authorization.strip(" \t").partition(" ")
    if scheme.lower() != "bearer":
        raise Unauthenticated("Send the key as: Authorization: Bearer <key>.")
    credential = rest.strip(" \t")
    if api_key is not None and api_key.strip(" \t") != credential:
        raise Unauthenticated(
            "Authorization and X-API-Key name different keys.", error="invalid_request"
        )
    return credential


def check_path_ids(operation: Operation, path_ids: dict[str, Any]) -> None:
    """An id that cannot exist does not: it is answered like an absent one."""
    for name, value in path_ids.items():
        path_id = PATH_IDS[name]
        if re.fullmatch(path_id.pattern, value, re.ASCII) is None:
            raise NotFound(path_id.noun, value)


def read_query(request: Request, schema: Schema | None) -> dict[str, Any]:
    """The query's values; unknown and repeated parameters are refused."""
    faults = [
        Fault("is given more than once", parameter=name, place="query")
        for name, values in request.args.lists()
        if len(values) > 1
    ]
    if faults:
        raise Invalid(*faults[:50])
    given = request.args.to_dict()
    if schema is None:
        if given:
            raise Invalid(
                *(
                    Fault("is not a known parameter", parameter=name, place="query")
                    for name in given
                )
            )
        return {}
    try:
        loaded: dict[str, Any] = schema.load(given)
    except ValidationError as error:
        raise Invalid(*query_faults_of(error)) from None
    return loaded


def read_fields(body: bytes, schema: Schema) -> Any:
    """The body's content as the operation's schema loads it."""
    value = parse(body)
    try:
        return schema.load(value)
    except ValidationError as error:
        raise Invalid(*faults_of(error)) from None


def check_media_type(request: Request, accepted: tuple[str, ...]) -> None:
    """Refuse any other media type, charset or content encoding."""
    encoding = request.headers.get("Content-Encoding")
    if encoding is not None and encoding.strip(" \t").lower() not in ("", "identity"):
        raise UnsupportedMediaType(
            "Send the body without Content-Encoding.",
            header="Accept-Encoding",
            accepted=("identity",),
        )
    media_type, options = parse_options_header(request.headers.get("Content-Type", ""))
    charset = options.get("charset", "utf-8").lower()
    if media_type.lower() not in accepted or charset not in ("utf-8", "utf8"):
        raise UnsupportedMediaType(
            f"Send the body as {' or '.join(accepted)}, in UTF-8.",
            header="Accept-Patch" if MERGE_PATCH in accepted else "Accept",
            accepted=accepted,
        )


def read_body(request: Request) -> bytes:
    """The whole body, at most ``LARGEST_BODY_BYTES``: never a part of it.

    The framework's own bound cuts a chunked body short without a word, so the server's stream is
    read here: one byte more than allowed is asked for, and refused if it comes.
    """
    environ = request.environ
    stream = environ["wsgi.input"]
    announced = environ.get("CONTENT_LENGTH") or None
    is_chunked = "HTTP_TRANSFER_ENCODING" in environ
    if announced is not None:
        if is_chunked:
            raise BodyIncomplete("Content-Length and Transfer-Encoding contradict each other")
        if re.fullmatch("[0-9]{1,18}", announced) is None:
            raise BodyIncomplete("Content-Length is no number")
        length_bytes = int(announced)
        if length_bytes > LARGEST_BODY_BYTES:
            raise TooLarge(LARGEST_BODY_BYTES)
        body = _read_up_to(stream, length_bytes)
        if len(body) < length_bytes:
            raise BodyIncomplete(f"{len(body)} of {length_bytes} bytes came")
        return body
    if not is_chunked:
        return b""
    if not environ.get("wsgi.input_terminated"):
        raise LengthRequired
    body = _read_up_to(stream, LARGEST_BODY_BYTES + 1)
    if len(body) > LARGEST_BODY_BYTES:
        raise TooLarge(LARGEST_BODY_BYTES)
    return body


def _read_up_to(stream: Any, length_bytes: int) -> bytes:
    pieces: list[bytes] = []
    missing_bytes = length_bytes
    while missing_bytes > 0:
        try:
            piece = stream.read(min(_READ_BYTES, missing_bytes))
        except Exception as error:
            # Servers raise errors of their own for broken chunks and closed connections.
            raise BodyIncomplete("the connection or its framing broke") from error
        if not piece:
            break
        pieces.append(piece)
        missing_bytes -= len(piece)
    return b"".join(pieces)


def check_no_body(request: Request) -> None:
    """An operation without a body takes none (an empty object is let pass)."""
    if read_body(request).strip() not in (b"", b"{}"):
        raise Invalid(Fault("this operation takes no body", pointer=""))


_TAG = re.compile(r'[ \t]*(W/)?"([\x21\x23-\x7e\x80-\xff]*)"[ \t]*')


def read_if_match(request: Request) -> frozenset[int] | None:
    """The revisions named by If-Match, compared strongly (RFC 9110, 13.1.1).

    None without the header; ``ANY_REVISION`` for ``*``; weak tags and anything that is not one
    of our tags match nothing.
    """
    header = request.headers.get("If-Match")
    if header is None:
        return None
    if header.strip(" \t") == "*":
        return frozenset({ANY_REVISION})
    revisions = set()
    at = 0
    while at < len(header):
        match = _TAG.match(header, at)
        if match is None:
            return frozenset()
        own = re.fullmatch("r([1-9][0-9]{0,15})", match[2])
        if own is not None and match[1] is None:
            revisions.add(int(own[1]))
        at = match.end()
        if at < len(header):
            if header[at] != ",":
                return frozenset()
            at += 1
    return frozenset(revisions)


def matches_none(request: Request, tag: str) -> bool:
    """Whether If-None-Match names this tag, compared weakly (RFC 9110, 13.1.2)."""
    header = request.headers.get("If-None-Match")
    if header is None:
        return False
    if header.strip(" \t") == "*":
        return True
    return any(f'"{match[2]}"' == tag for match in _TAG.finditer(header))


def read_idempotency_key(request: Request) -> str | None:
    """The Idempotency-Key, bare or as a quoted string; None without one."""
    header = request.headers.get("Idempotency-Key")
    if header is None:
        return None
    match = re.fullmatch(f'("?)({SOME_KEY_ID})\\1', header.strip(" \t"), re.ASCII)
    if match is None:
        raise BadHeader(
            "Idempotency-Key",
            "must be 8 to 128 characters of A-Z a-z 0-9 . _ : -, or such a text in double quotes",
        )
    return match[2]


def fingerprint_of(request: Request, body: bytes) -> bytes:
    """SHA-256 of method, path and body: what a repeated Idempotency-Key must bring again."""
    digest = hashlib.sha256()
    for part in (request.method.encode(), request.path.encode("utf-8", "replace"), body):
        digest.update(len(part).to_bytes(8, "big"))
        digest.update(part)
    return digest.digest()
