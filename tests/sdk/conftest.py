"""Fixtures for tests of the SDK: a wire that answers what it is told, and time that does not pass.

``wire`` stands for a service where an answer of the real one would be hard to get. ``sockets``
goes further down: real connections that break where they are told to, so that it is the real
errors of ``requests`` that are sorted.
"""

from __future__ import annotations

import socket
import struct
import threading
from collections.abc import Callable, Iterator

import pytest
import responses

from burrline import Client
from fake_time import FakeTime

URL = "http://burrline.test:8460"
KEY = "burrline_abcdefgh" + "S3cret" * 5 + "xyzTAIL"
RESET = b"RESET"
"""In a script: end the connection by RST instead of in order."""


@pytest.fixture(autouse=True)
def bare_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    """No setting of the machine the tests run on reaches them."""
    for name in ("BURRLINE_URL", "BURRLINE_KEY", "NETRC", "NO_PROXY", "no_proxy"):
        monkeypatch.delenv(name, raising=False)
    for scheme in ("http", "https", "all"):
        monkeypatch.delenv(f"{scheme}_proxy", raising=False)
        monkeypatch.delenv(f"{scheme.upper()}_PROXY", raising=False)


@pytest.fixture
def url() -> str:
    return URL


@pytest.fixture
def key() -> str:
    return KEY


@pytest.fixture
def fake_time() -> FakeTime:
    return FakeTime()


@pytest.fixture
def make_client(fake_time: FakeTime) -> Callable[..., Client]:
    """Clients whose dice always fall on the longest pause and whose time is the fake one."""

    def make(url: str = URL, key: str | None = KEY, **settings: object) -> Client:
        given: dict[str, object] = {
            "clock": fake_time.clock,
            "now": fake_time.now,
            "sleep": fake_time.sleep,
            "uniform": lambda low, high: high,
        }
        return Client(url, key, **{**given, **settings})  # type: ignore[arg-type]

    return make


@pytest.fixture
def client(make_client: Callable[..., Client]) -> Client:
    return make_client()


@pytest.fixture
def wire() -> Iterator[responses.RequestsMock]:
    """What is sent, and what is answered; everything prepared must have been asked for."""
    with responses.RequestsMock(assert_all_requests_are_fired=True) as mock:
        yield mock


class Sockets:
    """Takes connections one by one, reads a request, sends the next script, ends the connection.

    The last script is used for every further connection.
    """

    def __init__(self, *scripts: bytes) -> None:
        self.scripts = list(scripts)
        self.requests: list[bytes] = []
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"
        self._thread = threading.Thread(target=self._serve)
        self._thread.start()

    def close(self) -> None:
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self._thread.join()

    def _serve(self) -> None:
        while True:
            try:
                connection, _ = self._listener.accept()
            except OSError:
                return
            with connection:
                self.requests.append(self._read_request(connection))
                script = self.scripts.pop(0) if len(self.scripts) > 1 else self.scripts[0]
                if script == RESET:
                    lingering = struct.pack("ii", 1, 0)
                    connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, lingering)
                else:
                    connection.sendall(script)

    @staticmethod
    def _read_request(connection: socket.socket) -> bytes:
        connection.settimeout(5)
        received = b""
        while b"\r\n\r\n" not in received and (piece := connection.recv(65536)):
            if not received and piece[:1] == b"\x16":  # the greeting of TLS, not of HTTP
                return piece
            received += piece
        head, _, body = received.partition(b"\r\n\r\n")
        length_bytes = 0
        for line in head.split(b"\r\n"):
            name, _, value = line.partition(b":")
            if name.lower() == b"content-length":
                length_bytes = int(value)
        while len(body) < length_bytes and (piece := connection.recv(65536)):
            body += piece
        return head + b"\r\n\r\n" + body


@pytest.fixture
def make_sockets() -> Iterator[Callable[..., Sockets]]:
    made: list[Sockets] = []

    def make(*scripts: bytes) -> Sockets:
        made.append(Sockets(*scripts))
        return made[-1]

    yield make
    for one in made:
        one.close()
