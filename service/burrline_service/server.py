"""The HTTP server: gunicorn with threads, and problem documents even for what it refuses itself."""

from __future__ import annotations

import json
import secrets
from collections.abc import Callable
from typing import Any

from flask import Flask
from gunicorn import util
from gunicorn.app.base import BaseApplication
from gunicorn.http import errors
from gunicorn.workers.gthread import ThreadWorker

THREAD_COUNT = 8
_TITLES = {
    400: "Bad Request",
    414: "URI Too Long",
    417: "Expectation Failed",
    431: "Request Header Fields Too Large",
    500: "Internal Server Error",
    501: "Not Implemented",
}


class ProblemWorker(ThreadWorker):
    """A worker that answers unreadable requests with a problem document (RFC 9457)."""

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
        return self._make_app()
