"""Batches of 1000 runs through HTTP against raw writing into the same indexed table.

    PYTHONPATH=service:sdk:tests python tests/bench/batches.py [KIND] [REPEATS]

KIND is sqlite or postgresql. Of each shape: one client against COPY (or executemany) on one
connection, and on PostgreSQL four clients against COPY on two.
"""

from __future__ import annotations

import json
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from bench import paired, serving, shapes
from bench.goals import Measured, load, table
from burrline_service.api import runs as api_runs
from burrline_service.store.database import Database, open_database
from databases import MadeDatabase

FLOORS = {
    ("postgresql", 1): ("G1", dict.fromkeys(shapes.SHAPES, 0.40)),
    ("postgresql", 4): ("G2", dict.fromkeys(shapes.SHAPES, 0.35)),
    ("sqlite", 1): ("G4", {"fleet": 0.50, "hub": 0.65}),
}
RAW_CONNECTIONS = {1: 1, 4: 2}


def prepared(shape: str, count: int, seed: int) -> Iterator[list[dict[str, Any]]]:
    """Made before anything is timed."""
    batches = shapes.lines_of(shape, seed=seed)
    return iter([next(batches) for _ in range(count)])


def ways_of(
    made: MadeDatabase, port: int, secret: str, shape: str, client_count: int, repeats: int
) -> dict[str, Callable[[], None]]:
    """Both ways to write as many batches as there are clients."""
    raw_count = RAW_CONNECTIONS[client_count]
    of_line = lambda line: api_runs.run_of(api_runs._line_schema().load(line))  # noqa: E731
    ready = (repeats + 1) * client_count
    seed = 10 * client_count + list(shapes.SHAPES).index(shape)
    bodies = iter([json.dumps({"runs": lines}).encode() for lines in prepared(shape, ready, seed)])
    rows = iter([shapes.rows_of(lines, of_line) for lines in prepared(shape, ready, seed + 100)])
    clients = [serving.Client(port, "/v1/runs/batch", secret) for _ in range(client_count)]
    writers = [shapes.RawWriter(made.url) for _ in range(raw_count)]

    def send(client: serving.Client, body: bytes) -> None:
        answer = client.post(body)
        assert answer["accepted"] == shapes.BATCH_COUNT, answer["problems"][:1]

    def service() -> None:
        sending = [(client, next(bodies)) for client in clients]
        serving.at_once([lambda one=one: send(*one) for one in sending])  # type: ignore[misc]

    def raw() -> None:
        shares = [[next(rows) for _ in range(client_count // raw_count)] for _ in writers]
        serving.at_once(
            [
                lambda writer=writer, share=share: [writer.write(batch) for batch in share]  # type: ignore[misc]
                for writer, share in zip(writers, shares, strict=True)
            ]
        )

    return {"service": service, "raw": raw}


def measure(
    made: MadeDatabase,
    database: Database,
    kind: str,
    *,
    repeats: int,
    client_counts: tuple[int, ...],
) -> list[Measured]:
    found = []
    caller = shapes.chain_of(database, max(shapes.SHAPES.values()))
    folder = Path(tempfile.mkdtemp(prefix="burrline-bench-served-"))
    with serving.service(made, database, caller, folder) as (port, secret):
        for client_count in client_counts:
            name, floors = FLOORS[kind, client_count]
            for shape, floor in floors.items():
                ways = ways_of(made, port, secret, shape, client_count, repeats)
                times = paired.times_seconds(ways, repeats=repeats, calls=1)
                rate = client_count * shapes.BATCH_COUNT / min(times["service"])
                found.append(
                    Measured(
                        name,
                        f"batch 1000 {shape}, {client_count} client(s), {kind}, of raw writing",
                        floor,
                        paired.ratio(times, "raw", "service"),
                        is_floor=True,
                        note=f"quartiles {paired.spread(times, 'raw', 'service')}; "
                        f"best {rate:,.0f} runs/s",
                    )
                )
    return found


def main(kind: str = "postgresql", repeats: str = "8") -> None:
    with paired.maker(kind) as make:
        made = make()
        database = open_database(made.url)
        counts = (1, 4) if kind == "postgresql" else (1,)
        print(table(measure(made, database, kind, repeats=int(repeats), client_counts=counts)))
        database.close()
    print(load())


if __name__ == "__main__":
    main(*sys.argv[1:])
