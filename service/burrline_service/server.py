"""The HTTP server: gunicorn with threads, and problem documents even for what it refuses itself."""

from __future__ import annotations

import errno
import gc
import json
import secrets
import socket
import time
from collections.abc import Callable
from contextlib import suppress
from typing import Any

from flask import Flask
from gunicorn import util
from gunicorn.app.base import BaseApplication
from gunicorn.glogging import Logger
from gunicorn.http import errors, get_parser
from gunicorn.workers.gthread import ThreadWorker

THREAD_COUNT = 8
COLLECTED_EVERY = 10_000  # more objects kept than dropped; a batch makes some thousands
# A device that loses its network in mid-request never closes the connection: without a bound a
# few of them would hold every thread for good.
PAUSE_SECONDS = 10.0
REQUEST_SECONDS = 60.0
LINGER_SECONDS = 2.0
_TOO_SLOW = "the request came too slowly"
_TITLES = {
    400: "Bad Request",
    414: "URI Too Long",
    417: "Expectation Failed",
    431: "Request Header Fields Too Large",
    500: "Internal Server Error",
    501: "Not Implemented",
}


class TimedReads:
    """A connection as the parser reads it: no long pause, and a bound on the whole request."""

    def __init__(self, connection: socket.socket) -> None:
        self._connection = connection
        self.gettimeout, self.settimeout = connection.gettimeout, connection.settimeout
        self.begin()

    def begin(self) -> None:
        """The next request may take as long as any other."""
        self._until = time.monotonic() + REQUEST_SECONDS

    def recv(self, size_bytes: int) -> bytes:
        """Raises ConnectionResetError (which every reader expects) when time is up."""
        given = self._connection.gettimeout()
        left = min(PAUSE_SECONDS, self._until - time.monotonic(), given or REQUEST_SECONDS)
        if left <= 0:
            raise ConnectionResetError(errno.ECONNRESET, _TOO_SLOW)
        try:
            self._connection.settimeout(left)
            return self._connection.recv(size_bytes)
        except TimeoutError as error:
            with suppress(OSError):
                self._connection.shutdown(socket.SHUT_RD)  # we may still answer, but read no more
            raise ConnectionResetError(errno.ECONNRESET, _TOO_SLOW) from error
        finally:
            self._connection.settimeout(given)


def take_leave(connection: socket.socket) -> None:
    """End our side and let the client read our last words before all is closed.

    Closing with unread bytes would reset the connection (RFC 9112, section 9.6). The server does
    this too, but in the one loop that serves everybody; after this it has nothing to wait for.
    """
    until = time.monotonic() + LINGER_SECONDS
    with suppress(OSError):
        connection.shutdown(socket.SHUT_WR)
        while (left := until - time.monotonic()) > 0:
            connection.settimeout(left)
            if not connection.recv(65536):
                break
    with suppress(OSError):
        connection.shutdown(socket.SHUT_RD)


told_of_the_end: list[Callable[[], None]] = []
"""Called in each process when it is asked to end, before it waits for its requests."""


class ProblemWorker(ThreadWorker):
    """A worker that answers unreadable requests with a problem document (RFC 9457)."""

    def handle_exit(self, sig: Any, frame: Any) -> None:
        for tell in told_of_the_end:
            tell()
        super().handle_exit(sig, frame)

    def handle(self, conn: Any) -> Any:
        if conn.parser is None:
            timed: Any = TimedReads(conn.sock)
            conn.parser = get_parser(self.cfg, timed, conn.client)
        conn.parser.unreader.sock.begin()
        outcome = super().handle(conn)
        if outcome is False:
            take_leave(conn.sock)
        return outcome

    def handle_error(self, req: Any, client: Any, addr: Any, exc: BaseException) -> None:
        status = status_of(exc)
        if status == 500:
            self.log.exception("a request could not be served")
        request_id = secrets.token_hex(16)
        body = json.dumps(
            {
                "type": "about:blank",
                "title": _TITLES[status],
                "status": status,
                "detail": "The request could not be read as HTTP."
                if status != 500
                else "The service failed on this request.",
                "instance": f"urn:request:{request_id}",
            }
        ).encode()
        head = (
            f"HTTP/1.1 {status} {_TITLES[status]}\r\n"
            "Connection: close\r\n"
            "Content-Type: application/problem+json\r\n"
            "Cache-Control: no-store\r\n"
            "X-Content-Type-Options: nosniff\r\n"
            f"X-Request-Id: {request_id}\r\n"
            f"Content-Length: {len(body)}\r\n\r\n"
        )
        try:
            util.write_nonblock(client, head.encode("ascii") + body)
        except OSError:
            self.log.debug("the client had gone before it could be told")


def status_of(error: BaseException) -> int:
    """The status for a request that never reached the application."""
    if isinstance(error, errors.LimitRequestLine):
        return 414
    if isinstance(error, errors.LimitRequestHeaders):
        return 431
    if isinstance(error, errors.ExpectationFailed):
        return 417
    if isinstance(error, errors.UnsupportedTransferCoding):
        return 501
    return 400 if isinstance(error, errors.ParseException) else 500


class JournalLogger(Logger):
    """The server's own messages, written by the journal of this process like all others."""

    def setup(self, cfg: Any) -> None:
        super().setup(cfg)
        self.error_log.handlers.clear()
        self.error_log.propagate = True


class Server(BaseApplication):
    """Gunicorn, set up in code: nothing is read from files or the command line."""

    def __init__(
        self, make_app: Callable[[], Flask], *, host: str, port: int, worker_count: int
    ) -> None:
        self._make_app = make_app
        address = f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
        self._chosen = {
            "bind": address,
            "workers": worker_count,
            "threads": THREAD_COUNT,
            "worker_class": ProblemWorker,
            "logger_class": JournalLogger,
            "graceful_timeout": 20,
            "keepalive": 30,
            "control_socket_disable": True,
            "limit_request_line": 4094,
            "proc_name": "burrline-service",
            "loglevel": "warning",
        }
        super().__init__()

    def load_config(self) -> None:
        for name, value in self._chosen.items():
            self.cfg.set(name, value)

    def load(self) -> Any:
        app = self._make_app()
        # What is there now stays: the collector need not walk through it during a large batch.
        gc.collect()
        gc.freeze()
        gc.set_threshold(COLLECTED_EVERY)
        return app
