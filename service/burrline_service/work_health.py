"""The worker's own health and numbers, on an address of its own: for probes, no key is asked."""

from __future__ import annotations

import json
import logging
import socket
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from . import __version__

JSON = "application/json"
logger = logging.getLogger("burrline.work")

Answer = tuple[int, str, str]
"""Status, media type, text."""


def checked(checks: Mapping[str, str]) -> Answer:
    """Checks by name as an answer: 200 where all are ``pass``, else 503."""
    is_well = all(found == "pass" for found in checks.values())
    body = json.dumps({"status": "pass" if is_well else "fail", "checks": dict(checks)})
    return (200 if is_well else 503), JSON, body + "\n"


@contextmanager
def answering(
    address: tuple[str, int] | None, answers: Mapping[str, Callable[[], Answer]]
) -> Iterator[int | None]:
    """Answer these paths at an address for as long as this is open; gives the port."""
    if address is None:
        yield None
        return

    class Handler(BaseHTTPRequestHandler):
        server_version, sys_version = f"burrline/{__version__}", ""
        timeout = 5

        def do_GET(self) -> None:
            found = answers.get(self.path)
            try:
                status, media, text = (404, JSON, "{}\n") if found is None else found()
            except Exception:
                logger.exception("%s could not be answered", self.path)
                status, media, text = 500, JSON, "{}\n"
            body = text.encode()
            self.send_response(status)
            self.send_header("Content-Type", media)
            self.send_header("Content-Length", str(len(body)))
            self.send_header("Cache-Control", "no-store")
            self.end_headers()
            if self.command == "GET":
                self.wfile.write(body)

        do_HEAD = do_GET

        def log_message(self, format: str, *arguments: Any) -> None:
            """Probes come all the time; they are not worth a line each."""

    family = socket.AF_INET6 if ":" in address[0] else socket.AF_INET

    class Server(ThreadingHTTPServer):
        daemon_threads = True
        address_family = family

    with Server(address, Handler) as server:
        thread = threading.Thread(target=server.serve_forever, args=(0.1,), daemon=True)
        thread.start()
        try:
            yield int(server.server_address[1])
        finally:
            server.shutdown()
            thread.join()
