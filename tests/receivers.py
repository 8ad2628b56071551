"""Receivers of webhooks on the loopback, well behaved and otherwise; no framework, raw sockets."""

from __future__ import annotations

import gzip
import socket
import ssl
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

CERTIFICATES = Path(__file__).parent / "certificates"
NAME = "hooks.roastery.coffee"  # what the certificate there is for


@dataclass
class Request:
    """A request as it came."""

    path: str
    headers: dict[str, str]
    body: bytes


Behaviour = Callable[[socket.socket, Request, threading.Event], None]


def answer(status: str, body: bytes = b"", *headers: str) -> Behaviour:
    """A plain answer."""
    lines = [f"HTTP/1.1 {status}", f"Content-Length: {len(body)}", *headers, "", ""]

    def behave(connection: socket.socket, request: Request, stop: threading.Event) -> None:
        connection.sendall("\r\n".join(lines).encode("latin-1") + body)

    return behave


def raw(*pieces: bytes, pause_seconds: float = 0.0) -> Behaviour:
    """These bytes, with pauses between."""

    def behave(connection: socket.socket, request: Request, stop: threading.Event) -> None:
        for piece in pieces:
            connection.sendall(piece)
            if stop.wait(pause_seconds):
                return

    return behave


def silent(connection: socket.socket, request: Request, stop: threading.Event) -> None:
    """Never answers."""
    stop.wait(30)


def dripping(first: bytes, piece: bytes) -> Behaviour:
    """Answers for ever, a little at a time: no single read takes long."""

    def behave(connection: socket.socket, request: Request, stop: threading.Event) -> None:
        connection.sendall(first)
        while not stop.wait(0.02):
            connection.sendall(piece)

    return behave


def echo(connection: socket.socket, request: Request, stop: threading.Event) -> None:
    """Gives back what it was sent."""
    answer("200 OK", request.body)(connection, request, stop)


def _gzip_bomb() -> Behaviour:
    body = gzip.compress(bytes(20_000_000))
    return answer("200 OK", body, "Content-Encoding: gzip")


BEHAVIOURS: dict[str, Behaviour] = {
    "/ok": answer("204 No Content"),
    "/ok-long": answer("200 OK", b"thanks " * 10_000),
    "/ok-chunked": raw(
        b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n",
        b"3\r\nabc\r\n2\r\nde\r\n0\r\n\r\n",
    ),
    "/ok-without-length": raw(b"HTTP/1.0 200 OK\r\n\r\n", b"until the end"),
    "/ok-after-continue": raw(b"HTTP/1.1 100 Continue\r\n\r\nHTTP/1.1 200 OK\r\n\r\n"),
    "/ok-then-breaks-off": raw(b"HTTP/1.1 200 OK\r\nContent-Length: 50\r\n\r\nhalf"),
    "/ok-dripping": dripping(b"HTTP/1.1 200 OK\r\nContent-Length: 4000\r\n\r\n", b"."),
    "/ok-without-end": dripping(b"HTTP/1.1 200 OK\r\n\r\n", b"x" * 65_536),
    "/gzip-bomb": _gzip_bomb(),
    "/error": answer("500 Internal Server Error", b"oh no"),
    "/moved": answer("301 Moved Permanently", b"", "Location: http://127.0.0.1:{port}/ok"),
    "/see-other": answer("303 See Other", b"", "Location: /ok"),
    "/moved-by-307": answer("307 Temporary Redirect", b"", "Location: /ok"),
    "/gone": answer("410 Gone"),
    "/busy": answer("503 Service Unavailable", b"", "Retry-After: 120"),
    "/busy-until": answer(
        "429 Too Many Requests", b"", "Retry-After: Mon, 02 Mar 2026 08:10:00 GMT"
    ),
    "/busy-garbage": answer("429 Too Many Requests", b"", "Retry-After: soon, please"),
    "/busy-twice": answer("503 X", b"", "Retry-After: 1", "Retry-After: 2"),
    "/silent": silent,
    "/drips-its-head": dripping(b"HTTP/1.1 200 OK\r\n", b"X-Slow: 1\r\n"),
    "/head-without-end": dripping(b"HTTP/1.1 200 OK\r\nX: ", b"x" * 8192),
    "/continues-for-ever": dripping(b"", b"HTTP/1.1 100 Continue\r\n\r\n" * 500),
    "/closes": raw(),
    "/garbage": raw(b"\x00\x01\x02 not HTTP at all\r\n\r\n"),
    "/banner": raw(b"220 mail.roastery.coffee ESMTP\r\n"),
    "/old": raw(b"<html>HTTP/0.9</html>"),
    "/bad-status": raw(b"HTTP/1.1 OK 200\r\n\r\n"),
    "/bad-header": raw(b"HTTP/1.1 200 OK\r\n\xff\xfe: \x00\r\nno colon\r\n\r\nbody"),
    "/many-headers": raw(b"HTTP/1.1 200 OK\r\n" + b"X: 1\r\n" * 500 + b"\r\n"),
    "/bad-length": raw(b"HTTP/1.1 200 OK\r\nContent-Length: -5\r\n\r\nbody"),
    "/bad-chunks": raw(b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\nbody"),
    "/echo": echo,
}


@dataclass
class Zoo:
    """A server on a free port of the loopback; ``got`` is what it was sent."""

    is_tls: bool = False
    behaviours: dict[str, Behaviour] = field(default_factory=lambda: dict(BEHAVIOURS))
    got: list[Request] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listening.getsockname()[1]
        self._stop = threading.Event()
        self._threads: list[threading.Thread] = []
        self._context: ssl.SSLContext | None = None
        if self.is_tls:
            self._context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
            self._context.load_cert_chain(CERTIFICATES / "receiver.pem")
        self._start(self._accept)

    def url(self, path: str) -> str:
        return f"http://127.0.0.1:{self.port}{path}"

    def at(self, path: str) -> list[Request]:
        """What was sent to one path."""
        return [request for request in self.got if request.path == path]

    def close(self) -> None:
        self._stop.set()
        with suppress(OSError):
            self._listening.shutdown(socket.SHUT_RDWR)
        self._listening.close()
        for thread in self._threads:
            thread.join(10)

    def _start(self, run: Callable[..., None], *arguments: object) -> None:
        thread = threading.Thread(target=run, args=arguments, daemon=True)
        self._threads.append(thread)
        thread.start()

    def _accept(self) -> None:
        while not self._stop.is_set():
            try:
                connection, _ = self._listening.accept()
            except OSError:
                return
            self._start(self._serve, connection)

    def _serve(self, connection: socket.socket) -> None:
        with connection, suppress(OSError):
            connection.settimeout(10)
            if self._context is not None:
                with self._context.wrap_socket(connection, server_side=True) as wrapped:
                    self._answer(wrapped)
            else:
                self._answer(connection)

    def _answer(self, connection: socket.socket) -> None:
        request = read_request(connection)
        if request is None:
            return
        self.got.append(request)
        behave = self.behaviours.get(request.path.partition("?")[0], answer("404 Not Found"))
        behave(connection, request, self._stop)


def read_request(connection: socket.socket) -> Request | None:
    received = b""
    while b"\r\n\r\n" not in received:
        piece = connection.recv(65_536)
        if not piece:
            return None
        received += piece
    head, _, body = received.partition(b"\r\n\r\n")
    first, *lines = head.decode("latin-1").split("\r\n")
    headers = {name.lower(): value for name, _, value in (line.partition(": ") for line in lines)}
    while len(body) < int(headers.get("content-length", "0")):
        piece = connection.recv(65_536)
        if not piece:
            return None
        body += piece
    return Request(first.split(" ")[1], headers, body)


@contextmanager
def open_zoo(*, is_tls: bool = False) -> Iterator[Zoo]:
    zoo = Zoo(is_tls=is_tls)
    try:
        yield zoo
    finally:
        zoo.close()
