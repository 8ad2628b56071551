"""How much room a run takes, and how long the service takes to be imported.

PYTHONPATH=service:sdk:tests python tests/bench/footprint.py [KIND] [BATCHES]
"""

from __future__ import annotations

import sqlite3
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path
from urllib.parse import urlsplit

import psycopg

from bench import paired, shapes
from bench.goals import Measured, table
from bench.within import read_all, send
from burrline_service.store.database import Database, open_database
from databases import MadeDatabase
from services import service_environment

CEILINGS = {"postgresql": 190, "sqlite": 110}
SUMS = ("grinder_hour", "grinder_day", "grinder_state")
BASE = "flask, marshmallow, apispec, sqlalchemy, psycopg"
WATCH = """
import sys, time
began = time.process_time()
import {names}
print(time.process_time() - began, 'scipy' in sys.modules, 'numpy' in sys.modules)
"""


def sizes_bytes(made: MadeDatabase) -> tuple[int, int]:
    """Of the runs with their indexes, and of the sums; of SQLite the whole file, and nothing."""
    if made.url.startswith("sqlite"):
        path = Path(made.url.removeprefix("sqlite:///"))

        connection = sqlite3.connect(path)
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        (pages,) = connection.execute("PRAGMA page_count").fetchone()
        (page_bytes,) = connection.execute("PRAGMA page_size").fetchone()
        connection.close()
        return pages * page_bytes, 0
    parts = urlsplit(made.url)
    place = parts.netloc.rpartition("@")[2]
    with psycopg.connect(f"postgresql://postgres@{place}{parts.path}") as connection:
        size = "SELECT pg_total_relation_size(%s::regclass)"
        of_runs, *others = (
            (connection.execute(size, (name,)).fetchone() or (0,))[0] for name in ("run", *SUMS)
        )
        return of_runs, sum(others)


def room(made: MadeDatabase, database: Database, kind: str, *, batches: int) -> list[Measured]:
    """Bytes of a run that came in batches of 1000 of 50 grinders, 60 runs an hour in all."""
    caller = shapes.chain_of(database, shapes.SHAPES["hub"])
    before = sizes_bytes(made)
    coming = shapes.lines_of("hub", seed=21)
    for _ in range(batches):
        send(database, caller, read_all(next(coming)))
    after = sizes_bytes(made)
    count = batches * shapes.BATCH_COUNT
    sums = (after[1] - before[1]) / count
    return [
        Measured(
            "G13",
            f"bytes a run with its indexes, {kind}, {count:,} runs",
            CEILINGS[kind],
            (after[0] - before[0]) / count,
            note="the whole file, sums too" if kind == "sqlite" else f"and {sums:.0f} of sums",
        )
    ]


def importing(*, repeats: int) -> list[Measured]:
    """The application against the libraries that it stands on: processor time, compiled before."""
    times: dict[str, list[float]] = {"app": [], "base": []}
    loaded = ""
    compiled = tempfile.TemporaryDirectory(prefix="burrline-compiled-")
    keeping = {"PYTHONPYCACHEPREFIX": compiled.name, "PYTHONDONTWRITEBYTECODE": ""}
    for repeat in range(-1, repeats):  # the first one compiles
        for name, names in (("app", "burrline_service.app"), ("base", BASE)):
            out = subprocess.run(
                [sys.executable, "-c", WATCH.format(names=names)],
                capture_output=True,
                text=True,
                check=True,
                env={**service_environment({}), **keeping},
                cwd=Path(__file__).parents[2],
            ).stdout.split()
            if repeat >= 0:
                times[name].append(float(out[0]))
            if name == "app":
                loaded = f"scipy loaded: {out[1]}, numpy loaded: {out[2]}"
    compiled.cleanup()
    return [
        Measured(
            "G14",
            f"importing the app, of importing {BASE}",
            1.25,
            paired.ratio(times, "app", "base"),
            note=f"{statistics.median(times['app']):.2f} s; {loaded}",
        )
    ]


def main(kind: str = "postgresql", batches: str = "100") -> None:
    with paired.maker(kind) as make:
        made = make()
        database = open_database(made.url)
        found = room(made, database, kind, batches=int(batches))
        database.close()
    print(table([*found, *importing(repeats=5)]))


if __name__ == "__main__":
    main(*sys.argv[1:])
