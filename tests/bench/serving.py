"""Real servers to measure against, burrline and the bare route, and clients of theirs."""

from __future__ import annotations

import http.client
import json
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import databases
from burrline_service.actions import access
from burrline_service.core.records import Caller
from burrline_service.store.database import Database
from databases import MadeDatabase
from services import is_ready, service_environment, start_live_service
from small_chain import NOW


class Client:
    """One kept connection."""

    def __init__(self, port: int, path: str, secret: str = "") -> None:
        self._port, self._path = port, path
        self._headers = {"Content-Type": "application/json", "Authorization": f"Bearer {secret}"}
        self._connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)

    def post(self, body: bytes) -> Any:
        return self._ask("POST", body)

    def get(self) -> Any:
        return self._ask("GET", None)

    def _ask(self, method: str, body: bytes | None) -> Any:
        self._connection.request(method, self._path, body, self._headers)
        answer = self._connection.getresponse()
        text = answer.read()
        if answer.status not in (200, 201):
            raise AssertionError(f"{answer.status}: {text[:500]!r}")
        return json.loads(text)


@contextmanager
def service(
    made: MadeDatabase, database: Database, caller: Caller, folder: Path
) -> Iterator[tuple[int, str]]:
    """burrline on this database: its port and a key of the caller's account."""
    _, secret = access.create_key(database, caller, name="bench", now=NOW)
    live = start_live_service(folder, {"BURRLINE_DATABASE_URL": made.url})
    try:
        yield live.port, secret
    finally:
        live.stop()


@contextmanager
def bare_route(made: MadeDatabase) -> Iterator[int]:
    """The bare route on this database: its port."""
    port = databases.free_port()
    workers = "1" if made.url.startswith("sqlite") else "2"
    process = subprocess.Popen(
        [sys.executable, "-m", "bench.bare", made.url, str(port), workers],
        env=service_environment({}),
        cwd=Path(__file__).parents[2],
    )
    try:
        deadline = time.monotonic() + 30
        while not is_ready(f"http://127.0.0.1:{port}"):
            if time.monotonic() > deadline:
                raise AssertionError("the bare route did not start")
            time.sleep(0.1)
        yield port
    finally:
        process.terminate()
        process.wait(30)


def at_once(works: Sequence[Callable[[], object]]) -> None:
    """Do them all at the same time, each in a thread."""
    if len(works) == 1:
        works[0]()
        return
    with ThreadPoolExecutor(len(works)) as pool:
        for done in [pool.submit(work) for work in works]:
            done.result()
