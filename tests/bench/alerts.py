"""How long from an event to its receiver: written, found, signed, sent, arrived.

    PYTHONPATH=service:sdk:tests python tests/bench/alerts.py [KIND] [REPEATS]

A worker of this release runs in a process of its own, receivers on the loopback. ``alone`` is one
event at a time for a receiver that answers at once. ``beside`` is the same while other receivers
never answer: it must take no longer. ``burst`` is many events at once for one receiver. PostgreSQL
runs with the settings of the tests (nothing waits for the disk).
"""

from __future__ import annotations

import signal
import statistics
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from itertools import count

from bench import paired
from burrline_service.core.records import Caller
from burrline_service.store.database import Database, open_database
from databases import MadeDatabase
from receivers import Zoo, open_zoo
from services import service_command, service_environment
from small_chain import new_chain
from source_tree import ROOT
from told import a_webhook, an_event, tell

SILENT_COUNT = 6
BURST_COUNT = 200
PATIENCE_SECONDS = 60.0
_serials = count(1)


@contextmanager
def worker(made: MadeDatabase) -> Iterator[None]:
    """``burrline-service work`` on this database."""
    settings = {
        "BURRLINE_DATABASE_URL": made.url,
        "BURRLINE_ALLOW_PRIVATE_WEBHOOKS": "127.0.0.0/8",
        "BURRLINE_LOG_LEVEL": "warning",
    }
    process = subprocess.Popen(service_command("work"), env=service_environment(settings), cwd=ROOT)
    try:
        yield
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(60)


def happen(database: Database, caller: Caller, number: int) -> float:
    """So many events at once; the seconds when they were written, on the monotonic clock."""
    now = datetime.now(UTC)
    events = [an_event(next(_serials), now) for _ in range(number)]
    tell(database, caller, *events, now=now)
    return time.monotonic()


def wait(zoo: Zoo, path: str, number: int) -> float:
    """When the so-manieth request had arrived at a path, on the monotonic clock."""
    until = time.monotonic() + PATIENCE_SECONDS
    while len(zoo.at(path)) < number:
        if time.monotonic() > until:
            raise TimeoutError(f"{len(zoo.at(path))} of {number} arrived")
        time.sleep(0.001)
    return time.monotonic()


def one_by_one(database: Database, caller: Caller, zoo: Zoo, *, repeats: int) -> list[float]:
    """Seconds from an event to its arrival, one at a time."""
    taken = []
    for _ in range(repeats):
        before = len(zoo.at("/ok"))
        began = happen(database, caller, 1)
        taken.append(wait(zoo, "/ok", before + 1) - began)
    return taken


def measure(made: MadeDatabase, *, repeats: int, burst_count: int) -> dict[str, list[float]]:
    """Seconds by what was measured; of ``burst`` the seconds per event."""
    database = open_database(made.url)
    caller = new_chain(database)
    found: dict[str, list[float]] = {}
    with open_zoo() as zoo, worker(made):
        a_webhook(database, caller, datetime.now(UTC), url=zoo.url("/ok"))
        one_by_one(database, caller, zoo, repeats=1)  # the worker has started
        found["alone"] = one_by_one(database, caller, zoo, repeats=repeats)
        before = len(zoo.at("/ok"))
        began = happen(database, caller, burst_count)
        found["burst"] = [(wait(zoo, "/ok", before + burst_count) - began) / burst_count]
        for number in range(SILENT_COUNT):
            a_webhook(database, caller, datetime.now(UTC), url=zoo.url(f"/silent?{number}"))
        found["beside"] = one_by_one(database, caller, zoo, repeats=repeats)
    database.close()
    return found


def lines(found: dict[str, list[float]], kind: str) -> Iterator[str]:
    for name, seconds in found.items():
        middle, worst = statistics.median(seconds), max(seconds)
        yield f"{kind:11} {name:7} median {1000 * middle:7.1f} ms  worst {1000 * worst:7.1f} ms"


def main(kind: str = "sqlite", repeats: str = "30") -> None:
    with paired.maker(kind) as make:
        found = measure(make(), repeats=int(repeats), burst_count=BURST_COUNT)
    for line in lines(found, kind):
        print(line)


if __name__ == "__main__":
    main(*sys.argv[1:])
