"""Whether a status takes longer the more runs a grinder has.

    PYTHONPATH=service:sdk:tests python tests/bench/status_by_size.py [KIND] [REPEATS]

KIND is sqlite or postgresql.

One grinder with 10 000 runs and one with 100 000, both at one run in 100 s up to now.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from datetime import timedelta

from bench import paired
from burrline_service.actions import ingest
from burrline_service.core.records import Caller
from burrline_service.store.database import Database, open_database
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


def measure(
    database: Database, sizes: Sequence[int], *, repeats: int, calls: int
) -> dict[str, list[float]]:
    names = [f"runs-{size}" for size in sizes]
    caller = new_chain(database, *names, rated_duty={"kind": "intermittent", "duty_fraction": 0.25})
    for position, (name, size) in enumerate(zip(names, sizes, strict=True)):
        fit(database, caller, name, f"set-{name}", NOW - 400 * DAY, diameter_millimetres=64.0)
        fill(database, caller, name, size, first=position * 10_000_000)
    ways = {name: lambda name=name: status(database, caller, name) for name in names}  # type: ignore[misc]
    return paired.times_seconds(ways, repeats=repeats, calls=calls)


def main(kind: str = "sqlite", repeats: str = "20") -> None:
    with paired.maker(kind) as make:
        database = open_database(make().url)
        times = measure(database, (10_000, 100_000), repeats=int(repeats), calls=10)
        database.close()
    small, large = times
    print(
        f"{kind}: {small} {paired.milliseconds(times, small)}, "
        f"{large} {paired.milliseconds(times, large)}, "
        f"ratio {paired.ratio(times, large, small):.2f} "
        f"(quartiles {paired.spread(times, large, small)})"
    )


if __name__ == "__main__":
    main(*sys.argv[1:])
