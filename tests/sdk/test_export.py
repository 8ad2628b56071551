"""A whole account through the SDK: every line, or an error."""

from __future__ import annotations

import json
from collections.abc import Callable
from hashlib import sha256
from typing import Any

import pytest
import responses

from burrline import Client
from burrline.errors import PermissionDenied, TransportError

URL = "http://burrline.test:8460"
MEDIA_TYPE = "application/x-ndjson"


def closed(*middle: bytes) -> list[bytes]:
    """An export as the service writes it, as far as the SDK looks."""
    digest = sha256(b"".join(middle)).hexdigest()
    end = json.dumps({"kind": "end", "counts": {}, "sha256": digest}).encode() + b"\n"
    return [b'{"kind":"header"}\n', *middle, end]


def answer(wire: responses.RequestsMock, body: bytes, media_type: str = MEDIA_TYPE) -> None:
    wire.get(f"{URL}/v1/export", body=body, content_type=media_type)


@pytest.mark.parametrize("count", [0, 1, 5000])
def test_all_lines_come_as_they_were_sent(
    client: Client, wire: responses.RequestsMock, count: int
) -> None:
    lines = closed(
        *(b'{"kind":"run","note":"\xc3\xa9\xe2\x80\xa8 %d"}\n' % n for n in range(count))
    )
    answer(wire, b"".join(lines))
    assert list(client.export_account()) == lines


@pytest.mark.parametrize(
    "spoil",
    [
        lambda lines: lines[:-1],
        lambda lines: [*lines[:-1], lines[-1][:-10]],
        lambda lines: [*lines[:2], *lines[3:]],
        lambda lines: [*lines[:2], lines[2].replace(b"2", b"3"), *lines[3:]],
        lambda lines: [],
    ],
)
def test_an_export_that_is_not_whole_is_an_error(
    client: Client,
    wire: responses.RequestsMock,
    spoil: Callable[[list[bytes]], list[bytes]],
) -> None:
    lines = spoil(closed(b'{"n":1}\n', b'{"n":2}\n', b'{"n":3}\n'))
    answer(wire, b"".join(lines))
    with pytest.raises(TransportError, match="broke off"):
        list(client.export_account())


def test_a_page_of_somebody_else_is_no_export(client: Client, wire: responses.RequestsMock) -> None:
    answer(wire, b"<html>sign in</html>", "text/html")
    with pytest.raises(TransportError, match="text/html"):
        client.export_account()


def test_a_refusal_is_raised_before_the_first_line(
    client: Client, wire: responses.RequestsMock
) -> None:
    problem = {"type": "urn:burrline:problem:out-of-reach", "title": "t", "status": 403,
               "detail": "A key bound to sites or grinders cannot export the account."}  # fmt: skip
    wire.get(f"{URL}/v1/export", json=problem, status=403, content_type="application/problem+json")
    with pytest.raises(PermissionDenied, match="bound"):
        client.export_account()


@pytest.mark.parametrize("ending", [b"", b"0\r\n\r\n"])
def test_a_connection_that_ends_early_is_an_error(
    make_client: Callable[..., Client], make_sockets: Callable[..., Any], ending: bytes
) -> None:
    """As chunks (RFC 9112 section 7.1) without the last one, and with it after too few lines."""
    head = f"HTTP/1.1 200 OK\r\nContent-Type: {MEDIA_TYPE}\r\nTransfer-Encoding: chunked\r\n"
    lines = closed(b'{"n":1}\n', b'{"n":2}\n')[:-1]
    chunks = b"".join(b"%x\r\n%s\r\n" % (len(line), line) for line in lines)
    sockets = make_sockets(head.encode() + b"Connection: close\r\n\r\n" + chunks + ending)
    taken: list[bytes] = []
    with pytest.raises(TransportError, match="broke off"):
        taken.extend(make_client(sockets.url).export_account())
    assert taken == lines[:-1]
