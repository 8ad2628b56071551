"""One of two processes that count up the same number in one SQLite file.

    python increment.py FILE MANNER COUNT

MANNER is ``ours`` (the store's own way in), ``deferred`` (plain BEGIN) or ``driver`` (the driver
begins when it likes, as it does by default). Waits for a line on standard input; prints how many
times it counted up and how many times it was refused.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from contextlib import AbstractContextManager

from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.exc import OperationalError

from burrline_service.store.database import open_database

THINKING_SECONDS = 0.0005


def count_up(connection: Connection) -> None:
    """Read the number, think, write it one higher."""
    number = connection.execute(text("SELECT number FROM counter")).scalar_one()
    time.sleep(THINKING_SECONDS)
    connection.execute(text("UPDATE counter SET number = :next"), {"next": number + 1})


def plain_engine(path: str, *, is_deferred: bool) -> Engine:
    engine = create_engine(f"sqlite:///{path}", connect_args={"timeout": 15})
    if is_deferred:

        @event.listens_for(engine, "connect")
        def on_connect(connection: object, _: object) -> None:
            connection.isolation_level = None  # type: ignore[attr-defined]

        @event.listens_for(engine, "begin")
        def on_begin(connection: Connection) -> None:
            connection.exec_driver_sql("BEGIN")

    return engine


def manner(name: str, path: str) -> tuple[Callable[[], None], Callable[[], None]]:
    """How to count up once, and how to close what was opened."""
    if name == "ours":
        database = open_database(f"sqlite:///{path}")
        return lambda: database.write(None, count_up), database.close
    engine = plain_engine(path, is_deferred=name == "deferred")

    def once() -> None:
        opened: AbstractContextManager[Connection] = engine.begin()
        with opened as connection:
            count_up(connection)

    return once, engine.dispose


def main(path: str, name: str, count: str) -> None:
    once, close = manner(name, path)
    sys.stdout.write("ready\n")
    sys.stdout.flush()
    sys.stdin.readline()
    refused = 0
    for _ in range(int(count)):
        try:
            once()
        except OperationalError:
            refused += 1
    close()
    sys.stdout.write(f"{int(count) - refused} {refused}")


if __name__ == "__main__":
    main(*sys.argv[1:])
