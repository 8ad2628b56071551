"""What is measured within one process: validation, repeats of batches, late runs, growth.

PYTHONPATH=service:sdk:tests python tests/bench/within.py [KIND] [REPEATS]
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from datetime import timedelta
from typing import Any

from marshmallow import Schema, ValidationError

from bench import paired, shapes, status_by_size
from bench.goals import Measured, load, table
from burrline_service.actions import access, ingest, report
from burrline_service.api import runs as api_runs
from burrline_service.api.batches import Kind, judge
from burrline_service.api.fast_lines import plan_of, quick_runs
from burrline_service.api.schemas_runs import NewRunSchema
from burrline_service.app import make_app
from burrline_service.core.records import Caller, Run
from burrline_service.core.run_columns import RunColumns
from burrline_service.settings import read_settings
from burrline_service.store.database import Database, open_database
from databases import MadeDatabase
from small_chain import DAY, NOW, a_run, fit, new_chain, status

SLOWEST = {"fleet": 1.8, "hub": 2.5, "spool": 2.5}
GROWN = {"single": 1.5, "hub": 1.5, "fleet": 4.0}
SCHEMA = NewRunSchema()
PLAN = plan_of(SCHEMA)


def read_all(lines: Sequence[Any]) -> RunColumns:
    """As the service reads them: the schema has nothing to add."""
    made = quick_runs(PLAN, lines)
    assert isinstance(made, RunColumns)
    return made


def validation(*, repeats: int) -> list[Measured]:
    """Clean and broken batches of 1000 by the quick way, against ``Schema(many=True).load``."""
    clean = next(shapes.lines_of("hub"))
    broken = [{**line, "grams": "18"} for line in clean]
    many = NewRunSchema(many=True)

    def by_schema(lines: Sequence[Any]) -> None:
        with suppress(ValidationError):
            Schema.load(many, lines)

    kind = Kind(
        member="runs",
        id_name="run_id",
        record_of=lambda line: api_runs.run_of(SCHEMA.load(line)),
        conflict=str,
        quickly=lambda lines: quick_runs(PLAN, lines),
    )
    ways = {
        "quick": lambda: quick_runs(PLAN, clean),
        "many": lambda: by_schema(clean),
        "broken": lambda: judge(kind, broken, lambda good: []),
        "broken many": lambda: by_schema(broken),
    }
    times = paired.times_seconds(ways, repeats=repeats, calls=1)
    return [
        Measured(
            "G12",
            "validating a clean batch 1000 hub into columns, of marshmallow(many)",
            1 / 12,
            paired.ratio(times, "quick", "many"),
            note=f"{paired.milliseconds(times, 'quick')} for 1000",
        ),
        Measured(
            "G12",
            "a batch 1000 hub of bad lines with its whole answer, of marshmallow(many)",
            1.6,
            paired.ratio(times, "broken", "broken many"),
        ),
    ]


def by_schema_alone(
    made: MadeDatabase, database: Database, kind: str, *, repeats: int
) -> list[Measured]:
    """The whole request within the process, with the quick way and with it switched off."""
    caller = shapes.chain_of(database, max(shapes.SHAPES.values()))
    _, secret = access.create_key(database, caller, name="bench", now=NOW)
    settings = read_settings({"BURRLINE_DATABASE_URL": made.url})
    client = make_app(settings, database, clock=lambda: NOW).test_client()
    headers = {"Authorization": f"Bearer {secret}", "Content-Type": "application/json"}
    quick = api_runs.quick_runs
    found = []
    for seed, (shape, floor) in enumerate(SLOWEST.items(), 300):
        batches = shapes.lines_of(shape, seed=seed)
        bodies = iter(
            [json.dumps({"runs": next(batches)}).encode() for _ in range(2 * repeats + 2)]
        )

        def post(bodies: Any = bodies) -> None:
            answer = client.post("/v1/runs/batch", data=next(bodies), headers=headers)
            assert answer.json["accepted"] == shapes.BATCH_COUNT

        def post_slowly(post: Callable[[], None] = post) -> None:
            api_runs.quick_runs = lambda plan, lines, clock: [None] * len(lines)
            try:
                post()
            finally:
                api_runs.quick_runs = quick

        times = paired.times_seconds(
            {"quick": post, "schema": post_slowly}, repeats=repeats, calls=1
        )
        found.append(
            Measured(
                "G3",
                f"batch 1000 {shape}, {kind}, times as fast as by the schema alone",
                floor,
                paired.ratio(times, "schema", "quick"),
                is_floor=True,
                note=f"{paired.milliseconds(times, 'quick')} in all",
            )
        )
    return found


def repeated(database: Database, kind: str, *, repeats: int) -> list[Measured]:
    """A batch sent again, and one with a single run sent before, against a clean one."""
    caller = shapes.chain_of(database, shapes.SHAPES["hub"])
    batches = shapes.lines_of("hub", seed=7)
    first = read_all(next(batches))
    send(database, caller, first)
    clean = iter([read_all(next(batches)) for _ in range(repeats + 1)])
    again = next(shapes.lines_of("hub", seed=7))[0]
    nearly = iter([read_all([again, *next(batches)[1:]]) for _ in range(repeats + 1)])
    ways = {
        "clean": lambda: send(database, caller, next(clean)),
        "again": lambda: send(database, caller, first),
        "one": lambda: send(database, caller, next(nearly)),
    }
    times = paired.times_seconds(ways, repeats=repeats, calls=1)
    return [
        Measured("G15", f"{what}, {kind}, of a clean one", goal, paired.ratio(times, name, "clean"))
        for name, what, goal in (
            ("again", "batch 1000 hub all duplicates", 1.0),
            ("one", "batch 1000 hub with one duplicate", 2.0),
        )
    ]


def send(database: Database, caller: Caller, runs: Sequence[Run]) -> None:
    ingest.add_runs(database, caller, runs=runs, now=NOW)


def late(database: Database, kind: str, *, repeats: int) -> list[Measured]:
    """400 runs of a day, uploaded a year late, against today's; then one status, which repairs."""
    caller = new_chain(database)
    fit(database, caller, "bar-1", "set-1", NOW - 500 * DAY, diameter_millimetres=64.0)
    numbers = iter(range(10**9))

    def day(days: int) -> None:
        start = NOW - days * DAY
        runs = [a_run(next(numbers), start - timedelta(minutes=n)) for n in range(400)]
        send(database, caller, runs)
        status(database, caller)

    ways = {"today": lambda: day(0), "late": lambda: day(365)}
    times = paired.times_seconds(ways, repeats=repeats, calls=1)
    return [
        Measured(
            "G10",
            f"400 runs 365 days late and a status, {kind}, of the same today",
            2.0,
            paired.ratio(times, "late", "today"),
            note=paired.milliseconds(times, "late"),
        )
    ]


def history(
    made: MadeDatabase, database: Database, kind: str, sizes: Sequence[int], *, repeats: int
) -> list[Measured]:
    """A status and a fleet page with few and with many runs, at equal density of late."""
    found = status_by_size.measured(made, database, kind, sizes, repeats=repeats)
    callers = []
    for each in (10, sizes[1] // sizes[0] * 10):
        caller = shapes.chain_of(database, 200)
        for first in range(0, each, 10):
            runs = [
                a_run(200 * n + g, NOW - n * timedelta(hours=2), grinder_id=f"g-{g}")
                for n in range(first, first + 10)
                for g in range(200)
            ]
            send(database, caller, runs)
        callers.append(caller)

    def page(caller: Caller) -> Any:
        return report.get_fleet(database, caller, site_id=None, limit=200, position=None, now=NOW)

    ways = {
        "few": lambda: page(callers[0]),
        "many": lambda: page(callers[1]),
        "one": lambda: status(database, callers[1], "g-1"),
    }
    times = paired.times_seconds(ways, repeats=repeats, calls=1)
    return [
        *found,
        Measured(
            "G8",
            f"fleet page of 200, {kind}, {sizes[1] // sizes[0]} times the runs",
            2.0,
            paired.ratio(times, "many", "few"),
            note=paired.milliseconds(times, "many"),
        ),
        Measured(
            "G8",
            f"fleet page of 200, {kind}, in statuses",
            15.0,
            paired.ratio(times, "many", "one"),
        ),
    ]


def growth(
    made: Sequence[MadeDatabase], kind: str, sizes: Sequence[int], *, repeats: int
) -> list[Measured]:
    """Writing beside few and beside many runs of the same account."""
    ways: dict[str, dict[str, Callable[[], None]]] = {shape: {} for shape in GROWN}
    opened = [open_database(one.url) for one in made]
    for one, database, size in zip(made, opened, sizes, strict=True):
        caller = shapes.chain_of(database, shapes.SHAPES["fleet"])
        writer = shapes.RawWriter(one.url)
        batches = shapes.lines_of("fleet", 10_000, seed=9)
        for _ in range(size // 10_000):
            rows = shapes.rows_of(next(batches), lambda line: read_all([line])[0])
            writer.write([(caller.account_no, *row[1:]) for row in rows])
        writer.close()
        for shape in GROWN:
            count = 1 if shape == "single" else shapes.BATCH_COUNT
            batches = shapes.lines_of("hub" if shape == "single" else shape, count, seed=11)
            ready = iter([read_all(next(batches)) for _ in range(3 * (repeats + 1))])
            ways[shape][str(size)] = lambda database=database, caller=caller, ready=ready: send(  # type: ignore[misc]
                database, caller, next(ready)
            )
    found = []
    for shape, goal in GROWN.items():
        times = paired.times_seconds(ways[shape], repeats=repeats, calls=1)
        small, large = times
        found.append(
            Measured(
                "G9",
                f"writing {shape}, {kind}, {sizes[1]:,} runs there of {sizes[0]:,}",
                goal,
                paired.ratio(times, large, small),
                note=f"{paired.milliseconds(times, small)}, {paired.milliseconds(times, large)}",
            )
        )
    for database in opened:
        database.close()
    return found


def main(kind: str = "postgresql", repeats: str = "8") -> None:
    count = int(repeats)
    with paired.maker(kind) as make:
        made = make()
        database = open_database(made.url)
        found = [
            *validation(repeats=count),
            *by_schema_alone(made, database, kind, repeats=count),
            *repeated(database, kind, repeats=count),
            *late(database, kind, repeats=count),
            *history(made, database, kind, (1_000, 10_000), repeats=count),
            *growth([make(), make()], kind, (10_000, 100_000), repeats=count),
        ]
        database.close()
    print(table(found))
    print(load())


if __name__ == "__main__":
    main(*sys.argv[1:])
