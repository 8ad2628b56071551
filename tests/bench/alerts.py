"""How long from an event to its receiver: written, found, signed, sent, arrived.

    PYTHONPATH=service:sdk:tests python tests/bench/alerts.py [KIND] [REPEATS]

A worker of this release runs in a process of its own, receivers on the loopback. ``run`` is the
whole way: from when a run that overheated its motor is recorded, over the worker that notices it,
to the receiver; one at a time, each of another grinder. The others begin with the event. ``alone``
is one event at a time for a receiver that answers at once. ``beside`` is the same while other
receivers never answer: it must take no longer. ``burst`` is many events at once for one receiver.
PostgreSQL runs with the settings of the tests (nothing waits for the disk).
"""

from __future__ import annotations

import json
import statistics
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from itertools import count

from bench import paired
from burrline_service.actions import ingest
from burrline_service.core.alert_records import ALERT_OPENED
from burrline_service.core.records import Caller, Run
from burrline_service.store.database import Database, open_database
from burrline_service.worker import WATCH_SECONDS
from databases import MadeDatabase
from receivers import Request, Zoo, open_zoo
from services import service_command, service_environment
from small_chain import make_grinder, new_chain
from source_tree import ROOT
from told import a_webhook, an_event, tell

SILENT_COUNT = 20
BURST_COUNT = 200
PATIENCE_SECONDS = 60.0
SETTLE_SECONDS = 2.0
LIMIT_CELSIUS = 80.0
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
        process.kill()  # it would wait for receivers that never answer
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


def overheat(database: Database, caller: Caller, grinder_id: str) -> float:
    """Record a run that overheated a motor; the seconds when it was, on the monotonic clock."""
    now = datetime.now(UTC)
    run = Run(
        run_id=f"run-of-{grinder_id}",
        grinder_id=grinder_id,
        started_at=now - timedelta(seconds=9),
        seconds=8.0,
        grams=18.0,
        motor_celsius=LIMIT_CELSIUS + 15,
    )
    ingest.add_run(database, caller, run=run, now=now)
    return time.monotonic()


def run_by_run(
    database: Database, caller: Caller, zoo: Zoo, *, repeats: int, settle_seconds: float
) -> list[float]:
    """Seconds from a recorded run to the arrival of its alert, one at a time."""
    names = [f"hot-{number}" for number in range(repeats)]
    motor = {"sensor": "winding", "caution_celsius": 70, "limit_celsius": LIMIT_CELSIUS}
    for name in names:
        make_grinder(database, caller, name, motor=motor)
    time.sleep(settle_seconds)  # the worker has looked at the new grinders
    taken = []
    for number, name in enumerate(names):
        began = overheat(database, caller, name)
        while not any(told_of(request) == name for request in zoo.at("/ok")):
            if time.monotonic() - began > PATIENCE_SECONDS:
                raise TimeoutError(f"nobody was told of {name}")
            time.sleep(0.001)
        taken.append(time.monotonic() - began)
        time.sleep(WATCH_SECONDS * (number % 7) / 7)  # anywhere between two looks of the worker
    return taken


def told_of(request: Request) -> str | None:
    """The grinder whose overheated motor a request tells of."""
    event = json.loads(request.body)
    is_it = (event["type"], event["data"].get("kind")) == (ALERT_OPENED, "motor_overheat")
    return str(event["subject"]) if is_it else None


def measure(
    made: MadeDatabase,
    *,
    repeats: int,
    burst_count: int,
    settle_seconds: float = SETTLE_SECONDS,
) -> dict[str, list[float]]:
    """Seconds by what was measured; of ``burst`` the seconds per event."""
    database = open_database(made.url)
    caller = new_chain(database)
    found: dict[str, list[float]] = {}
    with open_zoo() as zoo, worker(made):
        a_webhook(database, caller, datetime.now(UTC), url=zoo.url("/ok"))
        one_by_one(database, caller, zoo, repeats=1)  # the worker has started
        found["run"] = run_by_run(
            database, caller, zoo, repeats=repeats, settle_seconds=settle_seconds
        )
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
