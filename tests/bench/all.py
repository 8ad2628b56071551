"""Every goal of speed and room beside what this machine gives, in one table.

    PYTHONPATH=service:sdk:tests python tests/bench/all.py [--quick]

With ``--quick`` few repeats and 60 000 runs at most, in under five minutes on two quiet cores;
else 1 000 000 runs. All of it are ratios of things done in turn in the same run. PostgreSQL runs
with the settings of the tests (nothing waits for the disk), for both sides of each ratio.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator

from bench import batches, footprint, paired, singles, within
from bench.goals import Measured, table
from burrline_service.store.database import open_database


def measured(*, is_quick: bool) -> Iterator[list[Measured]]:
    repeats = 4 if is_quick else 12
    sizes = (10_000, 60_000 if is_quick else 1_000_000)
    yield within.validation(repeats=4 * repeats)
    yield footprint.importing(repeats=repeats)
    for kind in ("postgresql", "sqlite"):
        with paired.maker(kind) as make:
            made = make()
            database = open_database(made.url)
            counts = (1, 4) if kind == "postgresql" else (1,)
            yield batches.measure(made, database, kind, repeats=repeats, client_counts=counts)
            database.close()
            made = make()
            database = open_database(made.url)
            yield singles.measure(made, database, kind, repeats=repeats)
            yield within.by_schema_alone(made, database, kind, repeats=repeats)
            yield within.repeated(database, kind, repeats=repeats)
            yield within.late(database, kind, repeats=repeats)
            database.close()
            alone = make()
            database = open_database(alone.url)
            yield footprint.room(alone, database, kind, batches=sizes[1] // 5000)
            database.close()
            alone = make()  # a service makes its keys for the one account there is
            database = open_database(alone.url)
            yield within.history(alone, database, kind, sizes, repeats=repeats)
            database.close()
            yield within.growth([make(), make()], kind, sizes, repeats=repeats)


def main(*arguments: str) -> None:
    began, load = time.monotonic(), os.getloadavg()[0]
    found: list[Measured] = []
    for more in measured(is_quick="--quick" in arguments):
        found += more
        print(table(more), flush=True)
    print()
    print(table(sorted(found, key=lambda one: int(one.name[1:]))))
    print("G11 is a test: tests/reliability/test_many_senders.py")
    met = sum(one.is_met for one in found)
    print(
        f"{met} of {len(found)} met; {time.monotonic() - began:.0f} s on {os.cpu_count()} cores; "
        f"load {load:.1f} at the start, {os.getloadavg()[0]:.1f} at the end"
    )


if __name__ == "__main__":
    main(*sys.argv[1:])
