"""Bytes on a TCP connection that are no good HTTP/1.1, sent to the real server.

What may be answered follows RFC 9112 (framing, smuggling) and RFC 9110 (methods, Expect). In every
case: no 5xx but 501, no traceback, nothing stored by halves, and the service goes on serving.
"""

from __future__ import annotations

import json
import os
import signal
import socket
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from http.client import HTTPConnection
from pathlib import Path
from typing import Any

import pytest

from burrline_service import server
from burrline_service.server import PAUSE_SECONDS, THREAD_COUNT
from services import LiveService

SECONDS = 10.0
GRINDER = "raw-bar"
MEGABYTE = 1024 * 1024


@dataclass
class Wire:
    """The live service, and connections to it that send what they are told."""

    service: LiveService

    def connect(self) -> socket.socket:
        connection = socket.create_connection(("127.0.0.1", self.service.port), timeout=SECONDS)
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return connection

    def exchange(self, sent: bytes, *, ends: bool = True) -> bytes:
        """All that comes back until the server closes; ``ends``: we send no more after this."""
        with self.connect() as connection:
            try:
                connection.sendall(sent)
                if ends:
                    connection.shutdown(socket.SHUT_WR)
            except OSError:  # it answered before it had read all
                pass
            return read_to_end(connection)

    def head(self, *lines: str, method: str = "POST", target: str = "/v1/runs") -> bytes:
        """A request's head, with the key; the lines follow Host."""
        given = "".join(f"{line}\r\n" for line in lines)
        return (
            f"{method} {target} HTTP/1.1\r\nHost: burrline.test\r\n"
            f"Authorization: Bearer {self.service.key}\r\n{given}"
        ).encode("latin-1")

    def ask(self, method: str, path: str, body: Any = None) -> tuple[int, Any]:
        """An ordinary request on a connection of its own."""
        connection = HTTPConnection("127.0.0.1", self.service.port, timeout=SECONDS)
        headers = {"Authorization": f"Bearer {self.service.key}"}
        if body is not None:
            headers["Content-Type"] = "application/json"
        connection.request(method, path, None if body is None else json.dumps(body), headers)
        answer = connection.getresponse()
        content = json.loads(answer.read())
        connection.close()
        return answer.status, content

    def run_count(self) -> int:
        """How many runs are stored of the grinder all cases write to."""
        status, page = self.ask("GET", f"/v1/grinders/{GRINDER}/runs?limit=200")
        assert status == 200
        assert page["next_cursor"] is None, "one page must hold them all"
        return len(page["items"])


def read_to_end(connection: socket.socket) -> bytes:
    pieces = []
    try:
        while piece := connection.recv(65536):
            pieces.append(piece)
    except (ConnectionResetError, TimeoutError):
        pass
    return b"".join(pieces)


def statuses(received: bytes) -> list[int]:
    """The status of every answer in what came back, each read by its own Content-Length."""
    found = []
    while received:
        head, mark, rest = received.partition(b"\r\n\r\n")
        assert mark, f"an answer without an end of its head: {received[:200]!r}"
        lines = head.split(b"\r\n")
        version, status, *_ = lines[0].split(b" ")
        assert version == b"HTTP/1.1"
        found.append(int(status))
        headers = {
            name.strip().lower(): value.strip()
            for name, _, value in (line.partition(b":") for line in lines[1:])
        }
        assert b"traceback" not in received.lower()
        length = int(headers.get(b"content-length", b"0"))
        body, received = rest[:length], rest[length:]
        if found[-1] >= 400 and body:
            assert headers[b"content-type"] == b"application/problem+json", head
            assert headers[b"x-request-id"]
            assert json.loads(body)["status"] == found[-1]
    return found


@pytest.fixture(scope="module")
def wire(live_service: LiveService) -> Wire:
    made = Wire(live_service)
    site = {"site_id": "raw-site", "name": "Raw", "time_zone": "UTC"}
    assert made.ask("POST", "/v1/sites", site)[0] == 201
    grinder = {"grinder_id": GRINDER, "site_id": "raw-site", "name": "Raw"}
    assert made.ask("POST", "/v1/grinders", grinder)[0] == 201
    return made


_serials = iter(range(1, 100_000))


def new_run() -> bytes:
    return json.dumps(
        {
            "run_id": f"raw-run-{next(_serials):06}",
            "grinder_id": GRINDER,
            "started_at": datetime.now(UTC).isoformat(),
            "seconds": 7,
            "grams": 18,
        }
    ).encode()


def chunked(body: bytes, piece_bytes: int = 10) -> bytes:
    pieces = [body[at : at + piece_bytes] for at in range(0, len(body), piece_bytes)]
    return b"".join(b"%x\r\n%s\r\n" % (len(piece), piece) for piece in pieces) + b"0\r\n\r\n"


JSON = "Content-Type: application/json"
END = b"\r\n"


def sized(wire: Wire, *lines: str, body: bytes | None = None) -> bytes:
    """A good run with a right Content-Length, and further header lines."""
    body = new_run() if body is None else body
    return wire.head(JSON, f"Content-Length: {len(body)}", *lines) + END + body


def with_bad_chunk(wire: Wire, size_line: bytes) -> bytes:
    body = new_run()
    return (
        wire.head(JSON, "Transfer-Encoding: chunked")
        + END
        + size_line
        + b"\r\n"
        + body
        + b"\r\n0\r\n\r\n"
    )


def plain(target: str, method: str = "GET") -> Callable[[Wire], bytes]:
    return lambda wire: wire.head("Connection: close", method=method, target=target) + END


@dataclass(frozen=True)
class Framing:
    """One exchange: what is sent, what each answer may be, how many runs may come of it."""

    name: str
    sent: Callable[[Wire], bytes]
    expects: frozenset[int]
    most_stored: int = 0
    may_be_silent: bool = False  # closing without an answer is right too

    def __str__(self) -> str:
        return self.name


def framing(
    name: str,
    sent: Callable[[Wire], bytes],
    *expects: int,
    most_stored: int = 0,
    may_be_silent: bool = False,
) -> Framing:
    return Framing(name, sent, frozenset(expects), most_stored, may_be_silent)


FRAMINGS = (
    # --- one message, two lengths (RFC 9112, 6.3: to be refused) ---
    framing(
        "Content-Length and chunked",
        lambda w: (
            w.head(JSON, "Content-Length: 6", "Transfer-Encoding: chunked")
            + END
            + b"0\r\n\r\n"
            + sized(w)
        ),
        400,
    ),
    framing(
        "chunked and Content-Length",
        lambda w: (
            w.head(JSON, "Transfer-Encoding: chunked", "Content-Length: 3")
            + END
            + chunked(new_run())
        ),
        400,
    ),
    framing("two lengths that differ", lambda w: sized(w, "Content-Length: 1"), 400),
    framing(
        "two lengths in one line",
        lambda w: w.head(JSON, "Content-Length: 5, 6") + END + new_run(),
        400,
    ),
    framing(
        "length with a plus", lambda w: w.head(JSON, "Content-Length: +5") + END + new_run(), 400
    ),
    framing(
        "negative length", lambda w: w.head(JSON, "Content-Length: -5") + END + new_run(), 400
    ),
    framing("no length at all", lambda w: w.head(JSON, "Content-Length: ") + END + new_run(), 400),
    framing(
        "hexadecimal length",
        lambda w: w.head(JSON, "Content-Length: 0x10") + END + new_run(),
        400,
    ),
    framing(
        "length in superscript digits",
        lambda w: w.head(JSON, "Content-Length: \xb2\xb9") + END + new_run(),
        400,
    ),
    framing(
        "length of 100 digits",
        lambda w: w.head(JSON, "Content-Length: " + "9" * 100) + END + new_run(),
        400,
        413,
    ),
    framing(
        "a terabyte announced",
        lambda w: w.head(JSON, "Content-Length: 1099511627776") + END + new_run(),
        413,
    ),
    # --- transfer codings ---
    framing(
        "unknown transfer coding",
        lambda w: w.head(JSON, "Transfer-Encoding: rot13") + END + new_run(),
        400,
        501,
    ),
    framing(
        "chunked, then another coding",
        lambda w: w.head(JSON, "Transfer-Encoding: chunked, gzip") + END + chunked(new_run()),
        400,
        415,
        501,
    ),
    framing(
        "chunked in quotes",
        lambda w: w.head(JSON, 'Transfer-Encoding: "chunked"') + END + chunked(new_run()),
        400,
        501,
    ),
    framing(
        "chunked twice",
        lambda w: (
            w.head(JSON, "Transfer-Encoding: chunked", "Transfer-Encoding: chunked")
            + END
            + chunked(new_run())
        ),
        400,
    ),
    framing(
        "vertical tab before chunked",
        lambda w: w.head(JSON, "Transfer-Encoding: \x0bchunked") + END + chunked(new_run()),
        400,
        501,
    ),
    framing(
        "chunked in HTTP/1.0",
        lambda w: (
            w.head(JSON, "Transfer-Encoding: chunked").replace(b"HTTP/1.1", b"HTTP/1.0")
            + END
            + chunked(new_run())
        ),
        400,
        411,
    ),
    framing("chunk size that is none", lambda w: with_bad_chunk(w, b"xyz"), 400),
    framing("negative chunk size", lambda w: with_bad_chunk(w, b"-1"), 400),
    framing("chunk size with 0x", lambda w: with_bad_chunk(w, b"0x10"), 400),
    framing("chunk size with an underscore", lambda w: with_bad_chunk(w, b"1_0"), 400),
    framing("empty chunk size", lambda w: with_bad_chunk(w, b""), 400),
    framing("chunk size of 40 digits", lambda w: with_bad_chunk(w, b"f" * 40), 400, 413),
    framing("chunk larger than told", lambda w: with_bad_chunk(w, b"5"), 400),
    framing(
        "chunks cut off",
        lambda w: (
            w.head(JSON, "Transfer-Encoding: chunked")
            + END
            + chunked(new_run())[: -len("0\r\n\r\n") - 4]
        ),
        400,
    ),
    framing(
        "a whole run in chunks, but no end",
        lambda w: (
            w.head(JSON, "Transfer-Encoding: chunked")
            + END
            + chunked(new_run(), 1000)[: -len("0\r\n\r\n")]
        ),
        400,
    ),
    framing(
        "chunks over 1 MiB",
        lambda w: (
            w.head(JSON, "Transfer-Encoding: chunked")
            + END
            + chunked(b'{"runs":[' + b" " * MEGABYTE + b"]}", 60_000)
        ),
        413,
    ),
    # --- heads that two readers split differently (RFC 9112, 2.2, 5.1, 5.2) ---
    framing("bare line feeds", lambda w: sized(w).replace(b"\r\n", b"\n"), 400),
    framing(
        "bare carriage returns",
        lambda w: sized(w).replace(b"\r\n", b"\r"),
        400,
        may_be_silent=True,
    ),
    framing("space before the colon", lambda w: sized(w, "X-Odd : 1"), 400),
    framing(
        "space before the length's colon",
        lambda w: w.head(JSON, "Content-Length : 5") + END + new_run(),
        400,
    ),
    framing("folded line", lambda w: sized(w, "X-Odd: 1", " folded"), 400),
    framing("line without a colon", lambda w: sized(w, "X-Odd"), 400),
    framing("nameless header", lambda w: sized(w, ": 1"), 400),
    framing("NUL in a value", lambda w: sized(w, "X-Odd: a\x00b"), 400),
    framing("carriage return in a value", lambda w: sized(w, "X-Odd: a\rb"), 400),
    framing("NUL in a name", lambda w: sized(w, "X-O\x00dd: 1"), 400),
    framing("byte FF in a name", lambda w: sized(w, "X-\xff: 1"), 400),
    framing("brackets in a name", lambda w: sized(w, "X(Odd): 1"), 400),
    framing(
        "space before the first header",
        lambda w: sized(w).replace(b"Host:", b" Host:"),
        400,
    ),
    framing("two hosts", lambda w: sized(w, "Host: elsewhere.test"), 201, 400, most_stored=1),
    framing(
        "bytes over 7F in a value", lambda w: sized(w, "X-Odd: \xff\xfe"), 201, 400, most_stored=1
    ),
    framing(
        "underscore for a dash",
        lambda w: w.head(JSON, "Content_Length: 9999") + END,
        400,
    ),
    framing("two media types", lambda w: sized(w, "Content-Type: text/plain"), 400, 415),
    framing(
        "two keys",
        lambda w: sized(w, "Authorization: Bearer burrline_other"),
        400,
        401,
    ),
    # --- too much ---
    framing("request line of 5000 bytes", plain("/v1/sites?x=" + "a" * 5000), 414),
    framing("request line of 100 kB", plain("/v1/sites?x=" + "a" * 100_000), 414),
    framing("header of 9000 bytes", lambda w: sized(w, "X-Odd: " + "a" * 9000), 431),
    framing(
        "200 headers",
        lambda w: sized(w, *(f"X-Odd-{number}: 1" for number in range(200))),
        431,
    ),
    framing(
        "a head without an end",
        lambda w: w.head(*(f"X-{number}: {'a' * 4000}" for number in range(40))),
        431,
        may_be_silent=True,  # what we still send may reset the connection before we read
    ),
    # --- request lines ---
    framing("HTTP/0.9", lambda w: b"GET /livez\r\n", 400),
    framing("HTTP/2 by word", lambda w: b"GET /livez HTTP/2.0\r\nHost: x\r\n\r\n", 400),
    framing("HTTP/1.10", lambda w: b"GET /livez HTTP/1.10\r\nHost: x\r\n\r\n", 400),
    framing("HTTP/2 preface", lambda w: b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n", 400),
    framing("a TLS hello", lambda w: b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" * 20, 400,
            may_be_silent=True),
    framing("no method", lambda w: b" /livez HTTP/1.1\r\nHost: x\r\n\r\n", 400),
    framing("method in lower case", lambda w: b"get /livez HTTP/1.1\r\nHost: x\r\n\r\n", 400, 405),
    framing("spaces in the target", lambda w: b"GET /liv ez HTTP/1.1\r\nHost: x\r\n\r\n", 400),
    framing("no target", lambda w: b"GET  HTTP/1.1\r\nHost: x\r\n\r\n", 400),
    framing(
        "a target without a slash", lambda w: b"GET livez HTTP/1.1\r\nHost: x\r\n\r\n", 400, 404
    ),
    framing("target *", plain("*"), 400, 404),
    framing("OPTIONS *", plain("*", "OPTIONS"), 200, 204, 400, 404),
    framing("absolute target", plain("http://elsewhere.test/livez"), 200, 400, 404),
    framing(
        "absolute target of a file", plain("file:///etc/passwd"), 400, 404
    ),
    framing("fragment in the target", plain("/livez#x"), 200, 400, 404),
    framing("target of bytes over 7F", plain("/v1/sites/\xff\xfe"), 400, 404),
    framing("NUL in the target", plain("/v1/sites/\x00"), 400, 404),
    framing("escaped line end in the target", plain("/v1/sites/a%0d%0aX-Odd:%201"), 404),
    framing("traversal", plain("/../../../../etc/passwd"), 400, 404),
    framing("encoded traversal", plain("/static/%2e%2e/%2e%2e/app.py"), 404),
    framing("two slashes", plain("//elsewhere.test/livez"), 400, 404),
    framing("TRACE", plain("/v1/sites", "TRACE"), 405, 400),
    framing("CONNECT", plain("elsewhere.test:443", "CONNECT"), 400, 404, 405),
    framing("made-up method", plain("/v1/sites", "BREW"), 405, 400),
    framing("no bytes at all", lambda w: b"", may_be_silent=True),
    framing("empty lines", lambda w: b"\r\n\r\n", 400, may_be_silent=True),
    framing("half a request line", lambda w: b"POST /v1/ru", 400, may_be_silent=True),
    framing("half a head", lambda w: w.head(JSON), 400, may_be_silent=True),
    # --- bodies ---
    framing(
        "body shorter than told",
        lambda w: w.head(JSON, "Content-Length: 5000") + END + new_run(),
        400,
        may_be_silent=True,
    ),
    framing("body that never comes", lambda w: w.head(JSON, "Content-Length: 200") + END, 400,
            may_be_silent=True),
    framing("no length, body all the same", lambda w: w.head(JSON) + END + new_run(), 400),
    framing(
        "unknown expectation", lambda w: sized(w, "Expect: 200-maybe"), 417, 400
    ),
    framing(
        "upgrade to HTTP/2",
        lambda w: sized(w, "Connection: Upgrade, HTTP2-Settings", "Upgrade: h2c",
                        "HTTP2-Settings: AAMAAABkAAQAAP__"),
        201,
        400,
        most_stored=1,
    ),
)  # fmt: skip


def test_the_framings_are_as_many_as_promised_and_each_named_once() -> None:
    assert len({framing.name for framing in FRAMINGS}) == len(FRAMINGS) >= 20


@pytest.mark.parametrize("framing", FRAMINGS, ids=str)
def test_a_bad_framing_stores_nothing_by_halves(wire: Wire, framing: Framing) -> None:
    before = wire.run_count()
    received = wire.exchange(framing.sent(wire))
    found = statuses(received)
    if not found:
        assert framing.may_be_silent, "closed without an answer"
    else:
        assert found[0] in framing.expects, received[:300]
        assert all(status < 500 or status == 501 for status in found), received[:300]
    stored = wire.run_count() - before
    assert stored <= framing.most_stored, "something was taken for a request that was none"
    if stored:
        assert 201 in found
    assert wire.ask("GET", "/livez")[0] == 200


def test_a_good_request_is_stored_in_either_framing(wire: Wire) -> None:
    """Else the cases above would prove nothing."""
    before = wire.run_count()
    assert statuses(wire.exchange(sized(wire, "Connection: close"))) == [201]
    in_chunks = wire.head(JSON, "Transfer-Encoding: chunked", "Connection: close") + END
    assert statuses(wire.exchange(in_chunks + chunked(new_run()))) == [201]
    assert wire.run_count() == before + 2


def test_no_chunked_body_over_the_limit_is_cut_short_silently(wire: Wire) -> None:
    """Lines of a batch that lie beyond 1 MiB must never be lost behind a 200."""
    lines = [json.loads(new_run()) for _ in range(3)]
    for line in lines:
        line["coffee_lot"] = "x"
    body = json.dumps({"runs": lines}).encode()
    body = body[:-2] + b" " * (MEGABYTE + 1 - len(body)) + body[-2:]
    assert len(body) == MEGABYTE + 1
    before = wire.run_count()
    head = wire.head(
        JSON, "Transfer-Encoding: chunked", "Connection: close", target="/v1/runs/batch"
    )
    assert statuses(wire.exchange(head + END + chunked(body, 65_536))) == [413]
    assert wire.run_count() == before
    within = body.replace(b"  ", b" ", 1)
    assert len(within) == MEGABYTE
    assert statuses(wire.exchange(head + END + chunked(within, 65_536))) == [200]
    assert wire.run_count() == before + 3


def test_what_is_waited_for_with_100_continue_is_stored_once(wire: Wire) -> None:
    body = new_run()
    before = wire.run_count()
    with wire.connect() as connection:
        connection.sendall(
            wire.head(JSON, f"Content-Length: {len(body)}", "Expect: 100-continue",
                      "Connection: close") + END
        )  # fmt: skip
        first = connection.recv(65536)
        connection.sendall(body)
        received = first + read_to_end(connection)
    assert received.startswith(b"HTTP/1.1 100 ")
    assert statuses(received.partition(b"\r\n\r\n")[2]) == [201]
    assert wire.run_count() == before + 1


def test_pipelined_requests_are_answered_in_order(wire: Wire) -> None:
    before = wire.run_count()
    second = wire.head(method="GET", target="/v1/runs/no-such-run") + END
    third = wire.head("Connection: close", method="GET", target="/livez") + END
    received = wire.exchange(sized(wire) + second + third, ends=False)
    assert statuses(received) == [201, 404, 200]
    assert wire.run_count() == before + 1


def test_after_a_refused_body_the_rest_of_it_is_no_request(wire: Wire) -> None:
    """A body the service does not want must not be read as the next request."""
    inner = sized(wire, "Connection: close")
    refused = wire.head(
        "Content-Type: text/plain", f"Content-Length: {len(inner)}", target="/v1/runs"
    )
    before = wire.run_count()
    found = statuses(wire.exchange(refused + END + inner))
    assert found[0] == 415
    assert 201 not in found
    assert wire.run_count() == before


def test_after_an_unauthenticated_body_the_rest_of_it_is_no_request(wire: Wire) -> None:
    inner = sized(wire, "Connection: close")
    refused = (
        f"POST /v1/runs HTTP/1.1\r\nHost: x\r\n{JSON}\r\nContent-Length: {len(inner)}\r\n\r\n"
    ).encode()
    before = wire.run_count()
    found = statuses(wire.exchange(refused + inner))
    assert found[0] == 401
    assert 201 not in found
    assert wire.run_count() == before


def test_half_sent_requests_do_not_hold_the_service_for_good(wire: Wire) -> None:
    """As many as there are threads: devices that lost their network in mid-request."""
    before = wire.run_count()
    whole = sized(wire)
    half = [whole[:60]] * (THREAD_COUNT // 2) + [whole[:-20]] * (THREAD_COUNT // 2)
    lost = [wire.connect() for _ in half]
    try:
        for connection, sent in zip(lost, half, strict=True):
            connection.sendall(sent)
        with wire.connect() as asking:
            asking.settimeout(PAUSE_SECONDS + SECONDS)
            asking.sendall(b"GET /livez HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n")
            assert statuses(read_to_end(asking)) == [200]
        for connection in lost:
            answer = connection.recv(65536)
            assert answer == b"" or statuses(answer) == [400]
    finally:
        for connection in lost:
            connection.close()
    assert wire.run_count() == before


def test_clients_that_do_not_hang_up_make_nobody_wait(wire: Wire) -> None:
    """Each is waited for, for 2 s, but in its own thread: seven in turn would take 14 s."""
    staying = [wire.connect() for _ in range(7)]
    try:
        for connection in staying:
            connection.sendall(b"GET /livez HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n")
        for connection in staying:
            assert connection.recv(65536).startswith(b"HTTP/1.1 200 ")
        assert wire.ask("GET", "/livez")[0] == 200  # within the 10 s that we wait for anything
    finally:
        for connection in staying:
            connection.close()


def test_a_request_that_trickles_in_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(server, "REQUEST_SECONDS", 0.3)
    ours, theirs = socket.socketpair()
    with ours, theirs:
        reads = server.TimedReads(ours)
        began = time.monotonic()
        is_given_up = False
        while not is_given_up and time.monotonic() - began < SECONDS:
            theirs.sendall(b"a")
            try:
                assert reads.recv(100) == b"a"
            except ConnectionResetError:
                is_given_up = True
            time.sleep(0.01)
        assert is_given_up
        reads.begin()
        assert reads.recv(100) == b"a"  # what was sent last is there still
        assert ours.gettimeout() is None


def test_a_pause_within_a_request_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(server, "PAUSE_SECONDS", 0.05)
    ours, theirs = socket.socketpair()
    with ours, theirs, pytest.raises(ConnectionResetError):
        server.TimedReads(ours).recv(100)


def test_a_client_that_goes_away_leaves_a_whole_run_or_none(wire: Wire) -> None:
    before = wire.run_count()
    for cut in (-1, -5, -40):
        whole = sized(wire)
        with wire.connect() as connection:
            connection.sendall(whole[:cut])
    with wire.connect() as connection:
        connection.sendall(sized(wire))  # all of it, but nobody waits for the answer
    deadline = time.monotonic() + SECONDS
    while wire.run_count() < before + 1 and time.monotonic() < deadline:
        time.sleep(0.02)
    assert wire.run_count() == before + 1


def worker_of(service: LiveService) -> int:
    """The process that answers: the one child of the service's process."""
    pid = service.process.pid
    (found,) = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    return int(found)


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="looks for the worker in /proc")
def test_a_killed_worker_is_replaced_and_the_log_says_so(wire: Wire) -> None:
    before, began = wire.run_count(), len(wire.service.log)
    os.kill(worker_of(wire.service), signal.SIGKILL)
    deadline = time.monotonic() + SECONDS
    while "SIGKILL" not in wire.service.log[began:] and time.monotonic() < deadline:
        time.sleep(0.05)
    messages = [json.loads(line)["message"] for line in wire.service.log[began:].splitlines()]
    assert any("SIGKILL" in message for message in messages)
    assert wire.ask("GET", "/livez")[0] == 200
    assert wire.run_count() == before


@pytest.fixture(scope="module", autouse=True)
def log_stays_in_lines(wire: Wire) -> Iterator[None]:
    """After everything above: the log holds whole lines of JSON and no traceback."""
    began = len(wire.service.log)
    yield
    for line in wire.service.log[began:].splitlines():
        assert isinstance(json.loads(line), dict)
    assert wire.service.key not in wire.service.log
