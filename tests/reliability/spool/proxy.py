"""A proxy that breaks requests on purpose: what lies between a device and its service.

Each connection draws one fault from the dice, or none. What the service did and what the device
hears of it then differ in every way that a network can make them differ.
"""

from __future__ import annotations

import contextlib
import random
import socket
import struct
import threading
import time
from collections import Counter

FAULTS = (
    "refused",  # closed at once
    "reset_before",  # reset when half of the request has been read
    "answer_dropped",  # the service acts, its answer is lost
    "answer_cut",  # half of the answer, then the end
    "headers_cut",  # the end within the headers: looks like an empty 200
    "slow",  # byte after byte
    "split",  # in pieces
    "sent_twice",  # the request reaches the service twice
    "silent",  # taken, never answered
    "guest_page",  # 200 with somebody else's HTML
    "gateway",  # 502 of somebody in between
)
GUEST_PAGE = b"<html>Welcome to the guest network! Please accept our terms.</html>"
SILENT_SECONDS = 0.4


class Proxy:
    """Listens on a port of its own and passes connections on to the service, or does not."""

    def __init__(self, target_port: int, seed: int, fault_probability: float) -> None:
        self._target_port, self._dice = target_port, random.Random(seed)
        self._lock = threading.Lock()
        self.fault_probability = fault_probability
        self.drawn: Counter[str] = Counter()
        self._listening = socket.create_server(("127.0.0.1", 0), backlog=64)
        self.port: int = self._listening.getsockname()[1]
        self._thread = threading.Thread(target=self._listen, daemon=True)
        self._thread.start()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def close(self) -> None:
        with contextlib.suppress(OSError):
            self._listening.shutdown(socket.SHUT_RDWR)
        self._listening.close()
        self._thread.join(5)

    def _listen(self) -> None:
        while True:
            try:
                connection, _ = self._listening.accept()
            except OSError:
                return
            threading.Thread(target=self._serve, args=(connection,), daemon=True).start()

    def _draw(self) -> str:
        with self._lock:
            fault = "none"
            if self._dice.random() < self.fault_probability:
                fault = self._dice.choice(FAULTS)
            self.drawn[fault] += 1
        return fault

    def _serve(self, connection: socket.socket) -> None:
        connection.settimeout(10)
        with connection, contextlib.suppress(OSError):
            self._pass_on(connection, self._draw())

    def _pass_on(self, connection: socket.socket, fault: str) -> None:
        if fault == "refused":
            return
        if fault == "reset_before":
            connection.recv(200)
            _reset(connection)
            return
        request = _read_message(connection)
        if not request:
            return
        if fault == "guest_page":
            connection.sendall(_message(b"200 OK", GUEST_PAGE))
            return
        if fault == "gateway":
            connection.sendall(_message(b"502 Bad Gateway", b"<h1>502</h1>"))
            return
        answer = self._ask(request)
        if fault == "sent_twice":
            answer = self._ask(request)
        if fault == "silent":
            time.sleep(SILENT_SECONDS)
        elif fault == "answer_cut":
            connection.sendall(answer[: max(1, len(answer) * 3 // 4)])
        elif fault == "headers_cut":
            connection.sendall(answer[: max(1, answer.find(b"\r\n\r\n") // 2)])
        elif fault in ("slow", "split"):
            size = 1 if fault == "slow" else 40
            for begin in range(0, len(answer), size):
                connection.sendall(answer[begin : begin + size])
                time.sleep(0.0002 if fault == "slow" else 0.002)
        elif fault != "answer_dropped":
            connection.sendall(answer)

    def _ask(self, request: bytes) -> bytes:
        with socket.create_connection(("127.0.0.1", self._target_port), timeout=10) as service:
            service.sendall(request)
            return _read_message(service)


def _read_message(connection: socket.socket) -> bytes:
    """One HTTP message whose length its headers tell; b"" when it never came whole."""
    found = b""
    while b"\r\n\r\n" not in found:
        more = connection.recv(65536)
        if not more:
            return b""
        found += more
    head, _, body = found.partition(b"\r\n\r\n")
    length = 0
    for line in head.split(b"\r\n"):
        name, _, value = line.partition(b":")
        if name.strip().lower() == b"content-length":
            length = int(value)
    while len(body) < length:
        more = connection.recv(65536)
        if not more:
            return b""
        body += more
    # one message for each connection, so that each one draws a fault of its own
    kept = [line for line in head.split(b"\r\n") if not line.lower().startswith(b"connection:")]
    return b"\r\n".join([*kept, b"Connection: close"]) + b"\r\n\r\n" + body


def _message(status: bytes, body: bytes) -> bytes:
    return (
        b"HTTP/1.1 %s\r\nContent-Type: text/html\r\nContent-Length: %d\r\nConnection: close\r\n\r\n"
        % (status, len(body))
    ) + body


def _reset(connection: socket.socket) -> None:
    connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
