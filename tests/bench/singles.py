"""A single post against a bare Flask route that does one SQLAlchemy insert.

PYTHONPATH=service:sdk:tests python tests/bench/singles.py [KIND] [REPEATS]
"""

from __future__ import annotations

import json
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from bench import paired, serving, shapes
from bench.goals import Measured, load, table
from burrline_service.store.database import Database, open_database
from databases import MadeDatabase

FLOORS = {
    ("postgresql", 1): ("G5", 0.85),
    ("postgresql", 8): ("G5", 0.85),
    ("sqlite", 1): ("G6", 0.85),
    ("sqlite", 8): ("G6", 0.55),
}
CALL_COUNT = 25  # posts of each client in one repeat


def posting(
    port: int, path: str, secret: str, client_count: int, seed: int, repeats: int
) -> Callable[[], None]:
    batches = shapes.lines_of("hub", CALL_COUNT * client_count, seed)
    bodies = iter(
        [[json.dumps(line).encode() for line in next(batches)] for _ in range(repeats + 1)]
    )
    clients = [serving.Client(port, path, secret) for _ in range(client_count)]

    def post_all(client: serving.Client, mine: list[bytes]) -> None:
        for body in mine:
            client.post(body)

    def work() -> None:
        sending = next(bodies)
        serving.at_once(
            [
                lambda client=client, mine=sending[place::client_count]: post_all(client, mine)  # type: ignore[misc]
                for place, client in enumerate(clients)
            ]
        )

    return work


def measure(made: MadeDatabase, database: Database, kind: str, *, repeats: int) -> list[Measured]:
    found = []
    caller = shapes.chain_of(database, shapes.SHAPES["hub"])
    folder = Path(tempfile.mkdtemp(prefix="burrline-bench-served-"))
    with (
        serving.service(made, database, caller, folder) as (port, secret),
        serving.bare_route(made) as bare_port,
    ):
        for client_count in (1, 8):
            name, floor = FLOORS[kind, client_count]
            ways = {
                "service": posting(port, "/v1/runs", secret, client_count, client_count, repeats),
                "bare": posting(bare_port, "/runs", "", client_count, 50 + client_count, repeats),
            }
            times = paired.times_seconds(ways, repeats=repeats, calls=1)
            rate = client_count * CALL_COUNT / min(times["service"])
            found.append(
                Measured(
                    name,
                    f"single post of 50 grinders, {client_count} client(s), {kind}, "
                    "of a bare insert route",
                    floor,
                    paired.ratio(times, "bare", "service"),
                    is_floor=True,
                    note=f"quartiles {paired.spread(times, 'bare', 'service')}; "
                    f"best {rate:,.0f}/s; every answer 2xx",
                )
            )
    return found


def main(kind: str = "postgresql", repeats: str = "8") -> None:
    with paired.maker(kind) as make:
        made = make()
        database = open_database(made.url)
        print(table(measure(made, database, kind, repeats=int(repeats))))
        database.close()
    print(load())


if __name__ == "__main__":
    main(*sys.argv[1:])
