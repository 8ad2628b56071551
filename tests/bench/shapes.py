"""Batches of three shapes, and how to write their rows with nothing around it.

``fleet``: runs of 3000 grinders by chance. ``hub``: of 50 grinders by chance. ``spool``: of one
grinder, one after the other, as a device sends that was out of reach. Which shape it is matters
more than anything else.
"""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from datetime import timedelta
from itertools import count
from typing import Any
from urllib.parse import urlsplit

import psycopg

from burrline_service.api.instants import instant_text
from burrline_service.core.records import Caller, Run
from burrline_service.store import grinders, runs
from burrline_service.store.database import Database
from burrline_service.store.row_columns import RunRow
from burrline_service.store.run_rows import row_of
from small_chain import NOW, make_site, new_account

SHAPES = {"fleet": 3000, "hub": 50, "spool": 1}
BATCH_COUNT = 1000
RAW_ACCOUNT_NO = 900_001  # rows that only the raw writer makes, beside those of the service
NAMES = RunRow._fields[:-1]
Line = dict[str, Any]


def chain_of(database: Database, grinder_count: int) -> Caller:
    """A new account with grinders ``g-0`` to ``g-<count - 1>``."""
    caller = new_account(database)
    make_site(database, caller)

    def work(connection: Any) -> None:
        (site_no,) = connection.exec_driver_sql(
            f"SELECT max(site_no) FROM site WHERE account_no = {caller.account_no}"
        ).one()
        for number in range(grinder_count):
            grinders.add(
                connection,
                caller.account_no,
                grinder_id=f"g-{number}",
                site_no=site_no,
                plate={"name": f"g-{number}"},
                now=NOW,
            )

    database.write(caller.account_no, work)
    return caller


def lines_of(shape: str, size: int = BATCH_COUNT, seed: int = 1) -> Iterator[list[Line]]:
    """Batches without end, no run twice: the service's row of nine members."""
    dice = random.Random(seed)
    numbers = count()
    while True:
        yield [_line(shape, next(numbers), dice, seed) for _ in range(size)]


def _line(shape: str, number: int, dice: random.Random, seed: int) -> Line:
    grinder = dice.randrange(SHAPES[shape])
    minutes = number if shape == "spool" else number / 60
    return {
        "run_id": f"{dice.getrandbits(48):012x}-{seed}-{number:07d}",
        "grinder_id": f"g-{grinder}",
        "started_at": instant_text(NOW - timedelta(minutes=minutes)),
        "seconds": dice.randrange(5000, 12_000) / 1000,
        "grams": dice.randrange(16_000, 21_000) / 1000,
        "setting": 5,
        "motor_celsius": dice.randrange(300, 600) / 10,
        "purpose": "service",
        "feed": "hopper",
    }


def rows_of(lines: Sequence[Line], run_of: Callable[[Line], Run]) -> list[tuple[Any, ...]]:
    """The rows that the service would write for the lines, for the raw writer's account."""
    made = []
    for line in lines:
        run = run_of(line)
        assert run.started_at is not None
        row = row_of(
            run,
            grinder_no=int(run.grinder_id.partition("-")[2]),
            source_no=None,
            started_at=run.started_at,
            time_source="device",
            received_at=NOW,
            finding=None,
        )
        made.append((RAW_ACCOUNT_NO, *row[:-1]))
    return made


class RawWriter:
    """One connection that writes rows into the service's own table with its indexes, no more."""

    def __init__(self, url: str) -> None:
        self._columns = ", ".join(("account_no", *NAMES))
        self._sqlite: sqlite3.Connection | None = None
        if url.startswith("sqlite"):
            self._sqlite = sqlite3.connect(
                url.removeprefix("sqlite:///"), isolation_level=None, check_same_thread=False
            )
            for pragma in ("journal_mode=WAL", "synchronous=FULL", "busy_timeout=15000",
                           "wal_autocheckpoint=4000"):  # fmt: skip
                self._sqlite.execute(f"PRAGMA {pragma}")
        else:
            parts = urlsplit(url)  # row-level security does not let the service's own role copy
            place = parts.netloc.rpartition("@")[2]
            self._postgresql = psycopg.connect(f"postgresql://postgres@{place}{parts.path}")

    def write(self, rows: Sequence[tuple[Any, ...]]) -> None:
        if self._sqlite is not None:
            places = ", ".join("?" * (len(NAMES) + 1))
            self._sqlite.execute("BEGIN IMMEDIATE")
            self._sqlite.executemany(f"INSERT INTO run ({self._columns}) VALUES ({places})", rows)
            self._sqlite.execute("COMMIT")
            return
        copying = f"COPY run ({self._columns}) FROM STDIN (FORMAT binary)"
        with self._postgresql.cursor() as cursor, cursor.copy(copying) as copy:
            copy.set_types(_COPY_TYPES)
            for row in rows:
                copy.write_row(row)
        self._postgresql.commit()

    def close(self) -> None:
        (self._sqlite or self._postgresql).close()


_TYPES = {"LargeBinary": "bytea", "Text": "text", "Integer": "int4", "BigInteger": "int8",
          "SmallInteger": "int2"}  # fmt: skip
_COPY_TYPES = ["int4", *(_TYPES[type(column.type).__name__] for column in runs.COLUMNS)]
