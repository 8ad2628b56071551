"""What the flow of a busy grinder tells after a year: cells with kilograms, and the verdict.

    PYTHONPATH=service:sdk:tests python tests/bench/stream.py [KIND] [REPEATS]

KIND is sqlite or postgresql. Asked within the process, all hours folded, a run after they were,
and once with nothing folded yet (what that read folds is kept). Seconds are those of the clock,
but for the last lines, which are of this process' own time.
"""

from __future__ import annotations

import gc
import math
import os
import random
import statistics
import sys
import time
from collections.abc import Callable
from itertools import count
from typing import Any

from sqlalchemy import delete, func, select

from bench import paired
from burrline_service.actions import asked, counting, folding, stream, stream_now
from burrline_service.actions.break_in import get_break_in
from burrline_service.actions.stream import StreamEvidence
from burrline_service.core.records import Caller, Run
from burrline_service.core.stream import assess_stream
from burrline_service.store import grinders
from burrline_service.store.database import Connection, Database, open_database
from burrline_service.store.stream_cells import Folded
from burrline_service.store.stream_tables import stream_cell, stream_fold, stream_told
from small_chain import DAY, HOUR, MINUTE, NOW, a_run, fit, new_chain, send, status

EVIDENCE, LATER, VERDICT = "evidence", "evidence, a run later", "verdict from evidence"
BARE, WARM, COLD = "status without the flow", "status, its memo holds", "status, no memo"
BREAK_IN = "whole break-in answer"
STATUS_PART = "what every answer loads"
FOLDING = "folding and keeping everything"
OPEN_HOURS = range(6, 20)
RUNS_AN_HOUR = 20
SEND_COUNT = 5000


def a_year(days: int) -> list[Run]:
    """Doses by a barista who moves the setting a little, as the burrs and the days want it."""
    dice = random.Random(7)
    runs: list[Run] = []
    grams, setting = 0.0, 5.0
    for day in range(days):
        level = dice.gauss(0, 0.015)
        for hour in OPEN_HOURS:
            begins = NOW - (days - day) * DAY - 12 * HOUR + hour * HOUR
            for number in range(RUNS_AN_HOUR):
                dose = dice.choice((9.0, 18.0, 18.0, 18.0)) + dice.gauss(0, 0.2)
                flow = 2.2 * math.exp(
                    level - 0.15 * math.exp(-grams / 6000) + 0.4 * (setting - 5)
                    + dice.gauss(0, 0.06)
                )  # fmt: skip
                runs.append(
                    a_run(
                        len(runs),
                        begins + number * 3 * MINUTE,
                        grams=round(dose, 2),
                        seconds=round(dose / flow, 3),
                        setting=round(setting, 1),
                        feed="hopper",
                        purpose="purge" if number == 0 else "service",
                    )
                )
                grams += dose
                if dice.random() < 0.03:
                    setting = min(6.0, max(4.0, setting + dice.choice((-0.1, 0.1))))
    return runs


def chain_of(database: Database, days: int) -> Caller:
    caller = new_chain(database)
    fit(database, caller, "bar-1", "set-1", NOW - (days + 1) * DAY)
    runs = a_year(days)
    for first in range(0, len(runs), SEND_COUNT):
        send(database, caller, runs[first : first + SEND_COUNT])
    return caller


def read(database: Database, caller: Caller, times: dict[str, float] | None = None) -> Any:
    def work(connection: Connection) -> tuple[StreamEvidence, Folded | None]:
        began = time.perf_counter()
        row = grinders.by_id(connection, caller.account_no, "bar-1", as_of=NOW)
        assert row is not None
        (one,) = asked.about(connection, caller.account_no, [row], as_of=None, now=NOW)
        stream.want_stream(row.grinder_no, one.stays)
        counting.count(connection, caller.account_no, {stay.counter for stay in one.stays})
        if times is not None:
            times[STATUS_PART] = time.perf_counter() - began
        return stream.stream_evidence_of(
            connection, caller.account_no, row.grinder_no, one.stays, at_ms=one.at_ms
        )

    return database.read(caller.account_no, work)


def measure(
    database: Database, *, days: int, repeats: int, calls: int = 1
) -> tuple[dict[str, list[float]], dict[str, float]]:
    """Seconds of each way again and again, and of what is done once; counts beside."""
    caller = chain_of(database, days)
    once: dict[str, float] = {}

    def first() -> None:
        _, folded = read(database, caller)
        stream.keep_folded(database, caller.account_no, folded)

    for name, call in ((f"first read, {FOLDING}", first), ("read after it", first)):
        began = time.perf_counter()
        call()
        once[name] = time.perf_counter() - began
    database.write(caller.account_no, _forget)
    began = time.perf_counter()
    while folding.fold_stream(database):
        pass
    once["the same by the worker, in its turns"] = time.perf_counter() - began
    read(database, caller, once)
    found, _ = read(database, caller)
    numbers = count(10_000_000)

    def later() -> object:
        send(database, caller, [a_run(next(numbers), NOW - HOUR / 2, setting=5.0, feed="hopper")])
        return read(database, caller)

    steadied_of = stream_now.steadied_of

    def without(*_: object, **__: object) -> Any:
        return {}, []

    def bare() -> object:
        stream_now.steadied_of = without
        found = status(database, caller)
        stream_now.steadied_of = steadied_of
        return found

    def cold() -> object:
        database.write(caller.account_no, lambda c: c.execute(delete(stream_told)))
        stream_now.TOLD.clear()
        return status(database, caller)

    ways: dict[str, Callable[[], object]] = {
        BARE: bare,
        WARM: lambda: status(database, caller),
        COLD: cold,
        BREAK_IN: lambda: get_break_in(database, caller, grinder_id="bar-1", now=NOW),
        EVIDENCE: lambda: read(database, caller),
        LATER: later,
        VERDICT: lambda: assess_stream(found.sessions, closed_before=found.closed_before),
    }
    counted = select(func.count()).select_from(stream_cell)
    once["cells"] = database.read(caller.account_no, lambda c: c.execute(counted).scalar_one())
    once["cells of the fit"] = len(found.sessions.cells)
    gc.collect()
    gc.freeze()  # as the server does
    for name in (EVIDENCE, VERDICT, BARE, WARM, COLD, BREAK_IN):
        ways[name]()
        spent = []
        for _ in range(repeats):
            began = time.process_time()
            ways[name]()
            spent.append(time.process_time() - began)
        once[f"{name}, own time"] = statistics.median(spent)
    times = paired.times_seconds(ways, repeats=repeats, calls=calls)
    statuses = {BARE: bare, WARM: ways[WARM]}
    return times | paired.times_seconds(statuses, repeats=8 * repeats, calls=3 * calls), once


def _forget(connection: Connection) -> None:
    connection.execute(delete(stream_cell))
    connection.execute(delete(stream_fold))


def main(kind: str = "sqlite", repeats: str = "15", days: str = "365") -> None:
    with paired.maker(kind) as make:
        database = open_database(make().url)
        times, once = measure(database, days=int(days), repeats=int(repeats))
        database.close()
    runs = int(days) * len(OPEN_HOURS) * RUNS_AN_HOUR
    print(f"{kind}, {runs} runs of one grinder in {days} days")
    for name, value in once.items():
        print(f"{name}: {value}" if name.startswith("cells") else f"{name}: {value * 1000:.1f} ms")
    for name in times:
        print(f"{name}: {paired.milliseconds(times, name)}, best {1000 * min(times[name]):.0f} ms")
    print(f"status, memo of without: {paired.ratio(times, WARM, BARE):.3f}")
    print(f"load average {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main(*sys.argv[1:])
