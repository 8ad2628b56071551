"""What a run costs alone and in a batch.

    PYTHONPATH=service:sdk:tests python tests/bench/single_and_batch.py [KIND] [REPEATS]

KIND is sqlite or postgresql.

The action alone, without HTTP: one run in a transaction of its own against 1000 of one grinder in
one, per run.
"""

from __future__ import annotations

import sys
from datetime import timedelta
from itertools import count

from bench import paired
from burrline_service.actions import ingest
from burrline_service.store.database import Database, open_database
from small_chain import NOW, a_run, new_chain

SINGLE, BATCH = "single", "batch"


def measure(database: Database, *, batch_count: int, repeats: int) -> dict[str, list[float]]:
    """Seconds per run, each way recording as many runs per repeat."""
    caller = new_chain(database)
    numbers = count()

    def batch(size: int) -> None:
        runs = [
            a_run(number, NOW - timedelta(seconds=20 * (number % 10_000)))
            for number in (next(numbers) for _ in range(size))
        ]
        ingest.add_runs(database, caller, runs=runs, now=NOW)

    def singles() -> None:
        for _ in range(batch_count):
            batch(1)

    ways = {SINGLE: singles, BATCH: lambda: batch(batch_count)}
    times = paired.times_seconds(ways, repeats=repeats, calls=1)
    return {name: [taken / batch_count for taken in row] for name, row in times.items()}


def main(kind: str = "sqlite", repeats: str = "6") -> None:
    with paired.maker(kind) as make:
        database = open_database(make().url)
        times = measure(database, batch_count=1000, repeats=int(repeats))
        database.close()
    print(
        f"{kind}: single {paired.milliseconds(times, SINGLE)} a run, "
        f"batch {paired.milliseconds(times, BATCH)} a run, "
        f"ratio {paired.ratio(times, SINGLE, BATCH):.1f} "
        f"(quartiles {paired.spread(times, SINGLE, BATCH)})"
    )


if __name__ == "__main__":
    main(*sys.argv[1:])
