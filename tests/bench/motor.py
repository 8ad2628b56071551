"""Whether questions about a motor take longer with more runs, and how long a fit takes.

    PYTHONPATH=service:sdk:tests python tests/bench/motor.py [KIND] [REPEATS] [LARGE]

KIND is sqlite or postgresql; LARGE how many runs the large grinder has (1 000 000). The last 10 000
runs, over the last 31 days and a little more, are the same for both. The fit is of a month of one
busy grinder: 12 000 runs, each with a reading at its end.
"""

from __future__ import annotations

import random
import sys
import time
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta

from bench import paired
from burrline_service.actions import ingest, motor_fitting, motor_report, run_readiness
from burrline_service.core.records import Caller, Run
from burrline_service.core.thermal import trajectory_celsius
from burrline_service.core.thermal_fit import fit_motor
from burrline_service.store.database import (
    Database,
    open_database,
    single_connection_engine,
)
from small_chain import DAY, NOW, fit, new_chain, status
from warm_motors import TRUE_MOTOR, warm_runs

RECENT_COUNT = 10_000
RECENT_EVERY, OLD_EVERY = timedelta(seconds=270), timedelta(seconds=150)
FIT_COUNT = 12_000
BATCH_COUNT = 5000
PLATE = {
    "rated_duty": {"kind": "intermittent", "duty_fraction": 0.25},
    "motor": {"sensor": "housing", "limit_celsius": 75.0},
}


def recent_runs(grinder_id: str) -> list[Run]:
    dice = random.Random(4)
    spans: list[tuple[datetime, float]] = [
        (NOW - number * RECENT_EVERY - timedelta(seconds=60), round(dice.uniform(8.0, 40.0), 1))
        for number in range(RECENT_COUNT)
    ]
    return warm_runs(spans[::-1], grinder_id=grinder_id)


def old_runs(grinder_id: str, count: int) -> Iterator[Run]:
    before = NOW - (RECENT_COUNT + 1) * RECENT_EVERY
    for number in range(count):
        yield Run(
            run_id=f"old-{grinder_id}-{number:08d}",
            grinder_id=grinder_id,
            started_at=before - number * OLD_EVERY,
            seconds=9.0,
            grams=18.0,
            motor_celsius=41.0,
        )


def fill(database: Database, caller: Caller, grinder_id: str, run_count: int) -> None:
    fit(database, caller, grinder_id, f"set-{grinder_id}", NOW - 400 * DAY)
    batch: list[Run] = []
    for run in (*recent_runs(grinder_id), *old_runs(grinder_id, run_count - RECENT_COUNT)):
        batch.append(run)
        if len(batch) == BATCH_COUNT:
            ingest.add_runs(database, caller, runs=batch, now=NOW)
            batch = []
    assert not batch, f"give a multiple of {BATCH_COUNT}"


def questions(database: Database, caller: Caller) -> dict[str, Callable[[str], object]]:
    def ready(grinder_id: str) -> object:
        return run_readiness.get_readiness(
            database, caller, grinder_id=grinder_id, run_seconds=30.0, now=NOW
        )

    def ready_from_the_store(grinder_id: str) -> object:
        motor_fitting.REMEMBERED.clear()
        return ready(grinder_id)

    return {
        "readiness": ready,
        "readiness, fit from the store": ready_from_the_store,
        "motor": lambda grinder_id: motor_report.get_motor(
            database, caller, grinder_id=grinder_id, now=NOW
        ),
        "status": lambda grinder_id: status(database, caller, grinder_id),
    }


def fit_milliseconds(repeats: int, run_count: int = FIT_COUNT) -> list[float]:
    """A month of one busy grinder, worked out anew each time."""
    dice = random.Random(5)
    starts, ends, at = [], [], 0.0
    for _ in range(run_count):
        at += dice.expovariate(1 / 190.0)
        starts.append(at)
        at += dice.uniform(8.0, 40.0)
        ends.append(at)
    true = trajectory_celsius(starts, ends, ends, TRUE_MOTOR)
    read = [round(float(one) + dice.gauss(0.0, 0.5), 1) for one in true]
    found = []
    for _ in range(repeats):
        began = time.perf_counter()
        fit_motor(starts, ends, ends, read, body="housing")
        found.append(1000 * (time.perf_counter() - began))
    return sorted(found)


def main(kind: str = "sqlite", repeats: str = "20", large: str = "1000000") -> None:
    count = int(repeats)
    sizes = {"small": RECENT_COUNT, "large": int(large)}
    with paired.maker(kind) as make:
        made = make()
        database = open_database(made.url)
        caller = new_chain(database, *sizes, **PLATE)
        for grinder_id, size in sizes.items():
            fill(database, caller, grinder_id, size)
        engine = single_connection_engine(made.migration_url)
        with engine.begin() as connection:  # as the database does by itself within a minute
            connection.exec_driver_sql("ANALYZE")
        engine.dispose()
        for name, ask in questions(database, caller).items():
            ways = {grinder_id: lambda g=grinder_id, ask=ask: ask(g) for grinder_id in sizes}  # type: ignore[misc]
            times = paired.times_seconds(ways, repeats=count, calls=3)
            print(
                f"{kind}, {name}: {sizes['small']:,} runs {paired.milliseconds(times, 'small')}, "
                f"{sizes['large']:,} runs {paired.milliseconds(times, 'large')}, "
                f"ratio {paired.ratio(times, 'large', 'small'):.2f} "
                f"(quartiles {paired.spread(times, 'large', 'small')}; wanted at most 1.2)",
                flush=True,
            )
        database.close()
    fits = fit_milliseconds(count)
    print(
        f"a fit of {FIT_COUNT:,} runs: {fits[0]:.0f} ms at best, {fits[len(fits) // 2]:.0f} ms in "
        "the middle (wanted under 150)"
    )


if __name__ == "__main__":
    main(*sys.argv[1:])
