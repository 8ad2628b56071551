"""A request is read whole or refused: body, credential, tags, keys, media types."""

from __future__ import annotations

import io
from typing import Any

import pytest
from flask import Request

from burrline_service.api.operation import JSON, MERGE_PATCH
from burrline_service.api.reading import (
    LARGEST_BODY_BYTES,
    check_media_type,
    fingerprint_of,
    matches_none,
    read_body,
    read_credential,
    read_idempotency_key,
    read_if_match,
)
from burrline_service.api.refusals import (
    BadHeader,
    BodyIncomplete,
    LengthRequired,
    TooLarge,
    UnsupportedMediaType,
)
from burrline_service.core.errors import Unauthenticated


def request_with(headers: dict[str, str] | None = None, **environ: Any) -> Request:
    base: dict[str, Any] = {
        "REQUEST_METHOD": "POST",
        "PATH_INFO": "/v1/runs",
        "QUERY_STRING": "",
        "SERVER_NAME": "localhost",
        "SERVER_PORT": "80",
        "wsgi.url_scheme": "http",
        "wsgi.input": io.BytesIO(),
    }
    for name, value in (headers or {}).items():
        key = name.upper().replace("-", "_")
        base[key if key in ("CONTENT_TYPE", "CONTENT_LENGTH") else f"HTTP_{key}"] = value
    return Request({**base, **environ})


class Dribble(io.RawIOBase):
    """A stream that gives a few bytes at a time, and may break."""

    def __init__(self, size: int, *, broken_after: int | None = None) -> None:
        self.left, self.given, self.broken_after = size, 0, broken_after

    def read(self, size: int = -1) -> bytes:
        assert size > 0, "the whole stream must never be asked for"
        if self.broken_after is not None and self.given >= self.broken_after:
            raise RuntimeError("chunk size is nonsense")
        piece = min(size, self.left, 1000)
        self.left -= piece
        self.given += piece
        return b"x" * piece


def chunked(size: int, **more: Any) -> Request:
    stream = Dribble(size, **more)
    return request_with(
        {"Transfer-Encoding": "chunked"}, **{"wsgi.input": stream, "wsgi.input_terminated": True}
    )


def test_a_body_of_announced_length_is_read_whole_and_no_further() -> None:
    stream = io.BytesIO(b"0123456789")
    request = request_with({"Content-Length": "4"}, **{"wsgi.input": stream})
    assert read_body(request) == b"0123"
    assert stream.read() == b"456789"


def test_a_body_shorter_than_announced_is_refused() -> None:
    with pytest.raises(BodyIncomplete, match="3 of 4 bytes"):
        read_body(request_with({"Content-Length": "4"}, **{"wsgi.input": io.BytesIO(b"012")}))


def test_a_body_announced_too_long_is_refused_unread() -> None:
    stream = Dribble(10**9)
    length = str(LARGEST_BODY_BYTES + 1)
    with pytest.raises(TooLarge):
        read_body(request_with({"Content-Length": length}, **{"wsgi.input": stream}))
    assert stream.given == 0


@pytest.mark.parametrize("size", [0, 1, 999, 70_000, LARGEST_BODY_BYTES])
def test_a_chunked_body_is_read_whole(size: int) -> None:
    assert len(read_body(chunked(size))) == size


@pytest.mark.parametrize("beyond", [1, 2, 1000, 10**9])
def test_a_chunked_body_beyond_the_bound_is_refused_never_cut(beyond: int) -> None:
    request = chunked(LARGEST_BODY_BYTES + beyond)
    with pytest.raises(TooLarge):
        read_body(request)
    assert request.environ["wsgi.input"].given == LARGEST_BODY_BYTES + 1


def test_broken_framing_is_refused() -> None:
    with pytest.raises(BodyIncomplete, match="broke"):
        read_body(chunked(5000, broken_after=2000))


@pytest.mark.parametrize("length", ["-1", "+4", "4.0", "0x4", "4 ", "４", "9" * 30])
def test_a_length_that_is_no_number_is_refused(length: str) -> None:
    with pytest.raises((BodyIncomplete, TooLarge)):
        read_body(request_with({"Content-Length": length}))


def test_two_ways_of_telling_the_length_are_refused() -> None:
    with pytest.raises(BodyIncomplete, match="contradict"):
        read_body(request_with({"Content-Length": "2", "Transfer-Encoding": "chunked"}))


def test_a_body_of_unknown_end_is_refused_and_none_announced_is_none() -> None:
    with pytest.raises(LengthRequired):
        read_body(request_with({"Transfer-Encoding": "chunked"}))
    assert read_body(request_with(**{"wsgi.input": io.BytesIO(b"never read")})) == b""


# --- media types -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "content_type",
    ["application/json", "Application/JSON", 'application/json; charset="UTF-8"',
     "application/json;charset=utf-8; v=1"],
)  # fmt: skip
def test_json_in_utf_8_is_taken(content_type: str) -> None:
    check_media_type(request_with({"Content-Type": content_type}), (JSON,))


@pytest.mark.parametrize(
    "content_type",
    ["", "text/plain", "application/x-www-form-urlencoded", "application/jsonx", "json",
     "application/json, text/plain", "application/json; charset=latin-1",
     "application/problem+json"],
)  # fmt: skip
def test_another_media_type_is_refused_and_the_right_one_named(content_type: str) -> None:
    with pytest.raises(UnsupportedMediaType) as caught:
        check_media_type(request_with({"Content-Type": content_type}), (JSON,))
    assert (caught.value.header, caught.value.accepted) == ("Accept", (JSON,))


def test_a_patch_of_another_type_is_answered_with_accept_patch() -> None:
    # RFC 5789, 2.2: the 415 response SHOULD include an Accept-Patch header
    with pytest.raises(UnsupportedMediaType) as caught:
        check_media_type(request_with({"Content-Type": "text/plain"}), (MERGE_PATCH, JSON))
    assert caught.value.header == "Accept-Patch"


@pytest.mark.parametrize("encoding", ["gzip", "deflate", "br", "identity, gzip", "x"])
def test_an_encoded_body_is_refused(encoding: str) -> None:
    headers = {"Content-Type": JSON, "Content-Encoding": encoding}
    with pytest.raises(UnsupportedMediaType) as caught:
        check_media_type(request_with(headers), (JSON,))
    assert caught.value.header == "Accept-Encoding"
    check_media_type(request_with({"Content-Type": JSON, "Content-Encoding": "Identity"}), (JSON,))


# --- credentials -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "headers",
    [
        {"Authorization": "Bearer abc"},
        {"Authorization": "bearer   abc "},
        {"X-API-Key": "abc"},
        {"Authorization": "Bearer abc", "X-API-Key": "abc"},
    ],
)
def test_a_key_is_found(headers: dict[str, str]) -> None:
    assert read_credential(request_with(headers)) == "abc"


@pytest.mark.parametrize(
    ("headers", "error"),
    [
        ({}, None),
        ({"Authorization": "Basic YTpi"}, None),
        ({"Authorization": "abc"}, None),
        ({"Authorization": ""}, None),
        ({"Authorization": "Basic YTpi", "X-API-Key": "abc"}, None),
        ({"Authorization": "Bearer abc", "X-API-Key": "abd"}, "invalid_request"),
        ({"Authorization": "Bearer", "X-API-Key": "abc"}, "invalid_request"),
    ],
)
def test_no_key_or_two_keys_are_refused(headers: dict[str, str], error: str | None) -> None:
    with pytest.raises(Unauthenticated) as caught:
        read_credential(request_with(headers))
    assert caught.value.error == error


# --- tags and keys -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("header", "revisions"),
    [
        ('"r1"', {1}),
        ('"r1", "r20"', {1, 20}),
        ('"r1","r2"', {1, 2}),
        (' "r1" ', {1}),
        ("*", {-1}),
        ('W/"r1"', set()),  # RFC 9110, 13.1.1: If-Match compares strongly
        ('W/"r1", "r2"', {2}),
        ('"x"', set()),
        ('"r1", "some,other"', {1}),
        ("r1", set()),
        ('"r1', set()),
        ('"r1" "r2"', set()),
        ('"r0"', set()),
        ('"r01"', set()),
        ('"r-1"', set()),
        ('"r' + "9" * 40 + '"', set()),
        ("", set()),
        ('*, "r1"', set()),
    ],
)
def test_if_match_names_revisions(header: str, revisions: set[int]) -> None:
    assert read_if_match(request_with({"If-Match": header})) == revisions


def test_a_missing_if_match_is_told_from_an_empty_one() -> None:
    assert read_if_match(request_with()) is None


# RFC 9110, 8.8.3.2, the table of comparisons, column "Weak Comparison".
@pytest.mark.parametrize(
    ("header", "tag", "is_match"),
    [('W/"1"', '"1"', True), ('"1"', '"1"', True), ('W/"2"', '"1"', False), ('"2"', '"1"', False),
     ('"2", W/"1"', '"1"', True), ("*", '"1"', True), ("1", '"1"', False), (None, '"1"', False)],
)  # fmt: skip
def test_if_none_match_compares_weakly(header: str | None, tag: str, is_match: bool) -> None:
    headers = {} if header is None else {"If-None-Match": header}
    assert matches_none(request_with(headers), tag) is is_match


@pytest.mark.parametrize("header", ["8e03978e-40d5", '"8e03978e-40d5"', ' "8e03978e-40d5" '])
def test_an_idempotency_key_is_taken_bare_or_quoted(header: str) -> None:
    assert read_idempotency_key(request_with({"Idempotency-Key": header})) == "8e03978e-40d5"


@pytest.mark.parametrize(
    "header",
    ["", "short", "x" * 129, '"8e03978e-40d5', "8e03978e 40d5", "8e03978e,40d5", "ключключ"],
)
def test_a_malformed_idempotency_key_is_refused(header: str) -> None:
    with pytest.raises(BadHeader, match="Idempotency-Key"):
        read_idempotency_key(request_with({"Idempotency-Key": header}))


def test_the_fingerprint_tells_requests_apart() -> None:
    def of(method: str, path: str, body: bytes) -> bytes:
        request = request_with(REQUEST_METHOD=method, PATH_INFO=path)
        return fingerprint_of(request, body)

    first = of("POST", "/v1/sites", b"{}")
    assert first == of("POST", "/v1/sites", b"{}")
    assert len(first) == 32
    others = [("PUT", "/v1/sites", b"{}"), ("POST", "/v1/site", b"s{}"), ("POST", "/v1/sites", b"")]
    assert first not in [of(*other) for other in others]
