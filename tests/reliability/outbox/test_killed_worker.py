"""A real worker, killed in the middle of a request: the next one delivers, under the same id."""

from __future__ import annotations

import subprocess
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import select, update

from burrline_service.store.database import Database, open_database
from burrline_service.store.webhook_tables import DELIVERED, delivery
from databases import MadeDatabase
from receivers import BEHAVIOURS, open_zoo
from services import service_command, service_environment
from small_chain import new_chain
from source_tree import ROOT
from told import a_webhook, an_event, tell


def start_worker(made: MadeDatabase, folder: Path) -> subprocess.Popen[bytes]:
    settings = {
        "BURRLINE_DATA_DIR": str(folder),
        "BURRLINE_DATABASE_URL": made.url,
        "BURRLINE_ALLOW_PRIVATE_WEBHOOKS": "127.0.0.0/8",
        "BURRLINE_LOG_LEVEL": "error",
    }
    return subprocess.Popen(service_command("work"), env=service_environment(settings), cwd=ROOT)


def wait_until(is_so: Callable[[], bool]) -> None:
    until = time.monotonic() + 40
    while not is_so():
        assert time.monotonic() < until
        time.sleep(0.02)


def end(process: subprocess.Popen[bytes]) -> None:
    process.kill()
    process.wait()


@pytest.mark.parametrize("database_kind", ["sqlite"])
def test_a_worker_killed_within_a_request_loses_nothing_and_leaves_nothing_behind(
    made_database: MadeDatabase, tmp_path: Path
) -> None:
    database = open_database(made_database.url)
    caller = new_chain(database)
    now = datetime.now(UTC)
    with open_zoo() as zoo:
        zoo.behaviours["/in"] = BEHAVIOURS["/silent"]
        a_webhook(database, caller, now, url=zoo.url("/in"))
        tell(database, caller, an_event(1, now), now=now)
        first = start_worker(made_database, tmp_path)
        try:
            wait_until(lambda: len(zoo.at("/in")) == 1)
        finally:
            end(first)
        state, due_at = row(database, caller.account_no)
        assert state != DELIVERED
        assert due_at > now + timedelta(seconds=30), "the lease of the dead is still on"
        # its end is not waited for
        database.write(
            caller.account_no,
            lambda connection: connection.execute(update(delivery).values(due_at=now)),
        )
        zoo.behaviours["/in"] = BEHAVIOURS["/ok"]
        second = start_worker(made_database, tmp_path)
        try:
            wait_until(lambda: row(database, caller.account_no)[0] == DELIVERED)
        finally:
            end(second)
        sent = zoo.at("/in")
        assert [one.headers["webhook-id"] for one in sent] == ["event-000001"] * 2
        assert sent[0].body == sent[1].body
    database.close()


def row(database: Database, account_no: int) -> tuple[int, datetime]:
    state, due_at = database.read(
        account_no,
        lambda connection: connection.execute(select(delivery.c.state, delivery.c.due_at)).one(),
    )
    return state, due_at
