"""Whether a status takes longer the more runs a grinder has.

    PYTHONPATH=service:sdk:tests python tests/bench/status_by_size.py [KIND] [REPEATS] [RUNS]

KIND is sqlite or postgresql. One grinder with 10 000 runs and one with RUNS (a million unless
told), all through ingest, both at one run in 100 s up to now; asked within the process and over
HTTP.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path

from bench import paired, serving
from bench.goals import Measured, table
from burrline_service.actions import ingest
from burrline_service.core.records import Caller
from burrline_service.store.database import Database, open_database
from databases import MadeDatabase
from small_chain import DAY, NOW, a_run, fit, new_chain, status

EVERY = timedelta(seconds=100)
BATCH_COUNT = 2000


def fill(database: Database, caller: Caller, grinder_id: str, run_count: int, first: int) -> None:
    for start in range(0, run_count, BATCH_COUNT):
        runs = [
            a_run(first + number, NOW - number * EVERY, grinder_id=grinder_id, motor_celsius=41.0)
            for number in range(start, min(run_count, start + BATCH_COUNT))
        ]
        ingest.add_runs(database, caller, runs=runs, now=NOW)


def names_of(sizes: Sequence[int]) -> list[str]:
    return [f"runs-{size}" for size in sizes]


def chain_of(database: Database, sizes: Sequence[int]) -> Caller:
    """An account with a grinder of each size, each with a set fitted before its first run."""
    names = names_of(sizes)
    caller = new_chain(database, *names, rated_duty={"kind": "intermittent", "duty_fraction": 0.25})
    for position, (name, size) in enumerate(zip(names, sizes, strict=True)):
        fit(database, caller, name, f"set-{name}", NOW - 2000 * DAY, diameter_millimetres=64.0)
        fill(database, caller, name, size, first=position * 10_000_000)
    return caller


def within(
    database: Database, caller: Caller, sizes: Sequence[int], *, repeats: int, calls: int
) -> dict[str, list[float]]:
    ways = {
        name: lambda name=name: status(database, caller, name)  # type: ignore[misc]
        for name in names_of(sizes)
    }
    return paired.times_seconds(ways, repeats=repeats, calls=calls)


def over_http(
    made: MadeDatabase,
    database: Database,
    caller: Caller,
    sizes: Sequence[int],
    *,
    repeats: int,
    calls: int,
) -> dict[str, list[float]]:
    """As of the instant of the last run, as the server's clock is nobody's to set."""
    with (
        tempfile.TemporaryDirectory() as folder,
        serving.service(made, database, caller, Path(folder)) as (port, secret),
    ):
        instant = NOW.isoformat().replace("+00:00", "Z")
        clients = {
            name: serving.Client(port, f"/v1/grinders/{name}/status?as_of={instant}", secret)
            for name in names_of(sizes)
        }
        ways = {name: client.get for name, client in clients.items()}
        return paired.times_seconds(ways, repeats=repeats, calls=calls)


def measured(
    made: MadeDatabase, database: Database, kind: str, sizes: Sequence[int], *, repeats: int
) -> list[Measured]:
    caller = chain_of(database, sizes)
    found = []
    for how, goal, times in (
        ("within", 1.5, within(database, caller, sizes, repeats=repeats, calls=3)),
        ("HTTP", 1.2, over_http(made, database, caller, sizes, repeats=repeats, calls=3)),
    ):
        small, large = times
        quartiles = paired.spread(times, large, small)
        found.append(
            Measured(
                "G7",
                f"status, {kind}, {how}, {sizes[1]:,} runs of {sizes[0]:,}",
                goal,
                paired.ratio(times, large, small),
                note=f"{paired.milliseconds(times, small)}, {paired.milliseconds(times, large)};"
                f" quartiles {quartiles}",
            )
        )
    return found


def main(kind: str = "sqlite", repeats: str = "20", runs: str = "1000000") -> None:
    began = time.monotonic()
    with paired.maker(kind) as make:
        made = make()
        database = open_database(made.url)
        found = measured(made, database, kind, (10_000, int(runs)), repeats=int(repeats))
        database.close()
    print(table(found))
    print(f"{time.monotonic() - began:.0f} s in all; load average {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main(*sys.argv[1:])
