"""What row-level security costs a single post.

    PYTHONPATH=service:sdk:tests python tests/bench/row_security.py [REPEATS]

Two PostgreSQL databases, one as migrated; in the other the policies are off and no transaction
says whose it is. Compared: the action that records one run, and a whole ``POST /v1/runs`` within
the process (routing, key lookup, schema, action, answer; no network). In the whole post the key
lookup names its key to PostgreSQL in both; what one such statement takes is told apart.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from itertools import count
from typing import Any

import psycopg
from psycopg import sql
from sqlalchemy import Connection, Engine, text

from bench import paired
from burrline_service.actions import access, ingest
from burrline_service.app import make_app
from burrline_service.core.records import Caller
from burrline_service.settings import read_settings
from burrline_service.store.database import Database
from burrline_service.store.tables import OF_ACCOUNT
from databases import MadeDatabase
from small_chain import NOW, a_run, new_chain

WITH, WITHOUT = "with", "without"


class WithoutAccount(Database):
    """The same doors, but no transaction says whose it is."""

    def _in_transaction(
        self, engine: Engine, account_no: int | None, work: Callable[[Connection], Any]
    ) -> Any:
        return super()._in_transaction(engine, None, work)


def disarm(made: MadeDatabase) -> None:
    """Switch the policies of every table off."""
    with psycopg.connect(made.migration_url) as connection:
        for table in OF_ACCOUNT:
            name = sql.Identifier(table.name)
            for off in ("NO FORCE", "DISABLE"):
                connection.execute(
                    sql.SQL("ALTER TABLE {} {} ROW LEVEL SECURITY").format(name, sql.SQL(off))
                )


def add_one(database: Database, caller: Caller) -> Callable[[], object]:
    numbers = count()
    return lambda: ingest.add_run(database, caller, run=a_run(next(numbers), NOW), now=NOW)


def post_one(database: Database, caller: Caller, made: MadeDatabase) -> Callable[[], object]:
    _, secret = access.create_key(database, caller, name="bench", now=NOW)
    settings = read_settings({"BURRLINE_DATABASE_URL": made.url})
    client = make_app(settings, database, clock=lambda: NOW).test_client()
    headers = {"Authorization": f"Bearer {secret}"}
    numbers = count(10_000_000)

    def post() -> None:
        body = {
            "run_id": f"run-{next(numbers):08d}",
            "grinder_id": "bar-1",
            "started_at": NOW.isoformat(),
            "seconds": 8.0,
            "grams": 18.0,
        }
        answer = client.post("/v1/runs", json=body, headers=headers)
        assert answer.status_code == 201, answer.text

    return post


def say_whose(database: Database) -> Callable[[], object]:
    """A transaction of a single statement, the one that row-level security asks for."""
    statement = text("SELECT set_config('burrline.account', '1', true)")
    return lambda: database.read(None, lambda connection: connection.execute(statement))


def measure(
    armed: MadeDatabase, disarmed: MadeDatabase, *, repeats: int, calls: int
) -> dict[str, dict[str, list[float]]]:
    disarm(disarmed)
    opened = {WITH: Database(armed.url), WITHOUT: WithoutAccount(disarmed.url)}
    made = {WITH: armed, WITHOUT: disarmed}
    callers = {name: new_chain(database) for name, database in opened.items()}
    adding = {name: add_one(opened[name], callers[name]) for name in opened}
    posting = {name: post_one(opened[name], callers[name], made[name]) for name in opened}
    found = {
        "record one run": paired.times_seconds(adding, repeats=repeats, calls=calls),
        "whole post": paired.times_seconds(posting, repeats=repeats, calls=calls),
        "one statement": paired.times_seconds(
            {WITH: say_whose(opened[WITH])}, repeats=repeats, calls=calls
        ),
    }
    for database in opened.values():
        database.close()
    return found


def main(repeats: str = "40") -> None:
    with paired.maker("postgresql") as make:
        found = measure(make(), make(), repeats=int(repeats), calls=25)
    for name in ("record one run", "whole post"):
        times = found[name]
        print(
            f"{name}: with {paired.milliseconds(times, WITH)}, "
            f"without {paired.milliseconds(times, WITHOUT)}, "
            f"ratio {paired.ratio(times, WITH, WITHOUT):.2f} "
            f"(quartiles {paired.spread(times, WITH, WITHOUT)})"
        )
    print(f"a transaction of one statement: {paired.milliseconds(found['one statement'], WITH)}")


if __name__ == "__main__":
    main(*sys.argv[1:])
