"""How long the break-in of a set with ten checkpoints takes, and what it adds to a status.

    PYTHONPATH=service:sdk:tests python tests/bench/break_in.py [KIND] [REPEATS]

KIND is sqlite or postgresql. Asked within the process. A run goes on between two calls of "a run
later", so that nothing of the forecast is remembered from the call before.
"""

from __future__ import annotations

import math
import os
import sys
import time
from itertools import count

from bench import paired
from burrline_service.actions import break_in, checkpoints
from burrline_service.core import stage_facts, stages
from burrline_service.core.records import Caller
from burrline_service.store.database import Database, open_database
from small_chain import DAY, HOUR, NOW, a_run, fit, new_chain, send, status

BREAK_IN, LATER, FIRST = "break-in", "break-in, a run later", "break-in, nothing remembered"
MEASURED, BARE = "status", "status without checkpoints"
CHECKPOINT_COUNT = 10


def chain_of(database: Database) -> Caller:
    """Two grinders of 3 000 runs, of which one has ten checkpoints."""
    caller = new_chain(database, "measured", "bare")
    for place, grinder_id in enumerate(("measured", "bare")):
        fit(database, caller, grinder_id, f"set-{place}", NOW - 60 * DAY, diameter_millimetres=98.0)
        runs = [
            a_run(3000 * place + number, NOW - 50 * DAY + number * HOUR / 3, grinder_id=grinder_id)
            for number in range(3000)
        ]
        send(database, caller, runs)
    for number in range(CHECKPOINT_COUNT):
        done = 40 * -math.expm1(-number / 2)
        doses = [
            {
                "distribution": {
                    "kind": "percentiles",
                    "d50_micrometres": 320 + done + off,
                    "fines_fraction": 0.14 - done / 1000 + off / 1000,
                }
            }
            for off in (-3.0, 0.0, 3.0)
        ]
        fields = {"ground_at": NOW - (49 - 4 * number) * DAY, "method": "laser"}
        fields |= {"replicates": doses}
        checkpoints.add_checkpoint(database, caller, grinder_id="measured", fields=fields, now=NOW)
    return caller


def measure(database: Database, *, repeats: int, calls: int) -> dict[str, list[float]]:
    caller = chain_of(database)
    numbers = count(1_000_000)

    def ask() -> object:
        return break_in.get_break_in(database, caller, grinder_id="measured", now=NOW)

    def a_run_later() -> object:
        send(database, caller, [a_run(next(numbers), NOW - HOUR / 2, grinder_id="measured")])
        return ask()

    def at_first() -> object:
        for kept in (stage_facts._assessed, stages._forecast, stages._following):
            kept.cache_clear()
        return ask()

    ways = {
        BREAK_IN: ask,
        LATER: a_run_later,
        FIRST: at_first,
        MEASURED: lambda: status(database, caller, "measured"),
        BARE: lambda: status(database, caller, "bare"),
    }
    return paired.times_seconds(ways, repeats=repeats, calls=calls)


def main(kind: str = "sqlite", repeats: str = "20") -> None:
    with paired.maker(kind) as make:
        database = open_database(make().url)
        times = measure(database, repeats=int(repeats), calls=3)
        database.close()
    for name in times:
        print(f"{kind}, {CHECKPOINT_COUNT} checkpoints, {name}: {paired.milliseconds(times, name)}")
    print(f"{MEASURED} by {BARE}: {paired.ratio(times, MEASURED, BARE):.2f}")
    print(f"{time.process_time():.0f} s in all; load average {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main(*sys.argv[1:])
