"""Four processes send the same runs at once: each counts once, and no snapshot shows a half."""

from __future__ import annotations

import json
import random
import subprocess
import sys
import threading
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import psycopg
from sqlalchemy import case, func, select

from burrline_service.actions import admin
from burrline_service.store.database import Connection, Database
from burrline_service.store.tables import grinder_day, grinder_hour, grinder_state, run
from databases import MadeDatabase
from reliability import resend
from services import service_environment
from small_chain import MINUTE, NOW, a_run, make_grinder, make_site, new_chain, send, status

PROCESS_COUNT = 4
ACCOUNT_ID = "lantern"
Sums = dict[tuple[int, int], tuple[int, ...]]


def sums_of_runs(connection: Connection) -> Sums:
    """Counts, motor time and grams by grinder and purpose, straight from the runs."""
    rows = connection.execute(
        select(
            run.c.grinder_no,
            run.c.purpose,
            func.sum(case((run.c.voided_ms.is_(None), 1), else_=0)),
            func.sum(case((run.c.voided_ms.is_(None), run.c.on_ms), else_=0)),
            func.sum(case((run.c.voided_ms.is_(None), run.c.grams_mg), else_=0)),
        ).group_by(run.c.grinder_no, run.c.purpose)
    )
    return {(row[0], row[1]): tuple(map(int, row[2:])) for row in rows}


def sums_kept(connection: Connection, table: Any) -> Sums:
    rows = connection.execute(
        select(
            table.c.grinder_no,
            table.c.purpose,
            func.sum(table.c.run_count),
            func.sum(table.c.on_ms),
            func.sum(table.c.grams_mg),
        ).group_by(table.c.grinder_no, table.c.purpose)
    )
    return {(row[0], row[1]): tuple(map(int, row[2:])) for row in rows}


def snapshot(connection: Connection) -> tuple[Sums, Sums, Sums]:
    return (
        sums_of_runs(connection),
        sums_kept(connection, grinder_hour),
        sums_kept(connection, grinder_day),
    )


def start(database_url: str, seed: int) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-W", "error", resend.__file__, database_url, ACCOUNT_ID, str(seed)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=service_environment({}),
    )


def test_what_many_send_at_once_and_again_counts_once(
    database: Database, made_database: MadeDatabase
) -> None:
    admin.create_account(database, account_id=ACCOUNT_ID, name=None, now=NOW)
    caller = admin.owner(database, account_id=ACCOUNT_ID, now=NOW)
    make_site(database, caller)
    for grinder_id in resend.GRINDERS:
        make_grinder(database, caller, grinder_id)

    snapshots: list[tuple[Sums, Sums, Sums]] = []
    is_over = threading.Event()

    def watch() -> None:
        while not is_over.is_set():
            snapshots.append(database.read(caller.account_no, snapshot))

    watching = threading.Thread(target=watch)
    senders = [start(made_database.url, seed) for seed in range(PROCESS_COUNT)]
    outcomes: Counter[str] = Counter()
    try:
        for sender in senders:
            assert sender.stdout is not None
            assert sender.stdout.readline() == "ready\n"
        watching.start()
        for sender in senders:
            assert sender.stdin is not None
            sender.stdin.write("go\n")
            sender.stdin.flush()
        for sender in senders:
            out, complaint = sender.communicate(timeout=120)
            assert (sender.returncode, complaint) == (0, "")
            outcomes.update(json.loads(out))
    finally:
        is_over.set()
        if watching.ident is not None:
            watching.join()
        for sender in senders:
            if sender.poll() is None:
                sender.kill()
                sender.communicate()

    runs = resend.all_runs()
    assert outcomes == {
        "accepted": resend.RUN_COUNT,
        "duplicate": (PROCESS_COUNT - 1) * resend.RUN_COUNT,
    }
    for of_runs, by_hour, by_day in snapshots:
        assert of_runs == by_hour == by_day
    counted = {sum(share[0] for share in of_runs.values()) for of_runs, _, _ in snapshots}
    assert len(counted) > 3, "the watcher saw the sums grow"

    left = [one for one in runs if one not in resend.voided(runs)]
    of_runs, by_hour, by_day = database.read(caller.account_no, snapshot)
    assert of_runs == by_hour == by_day
    assert sum(share[0] for share in of_runs.values()) == len(left)
    for grinder_id in resend.GRINDERS:
        own_mg = [round(1000 * (one.grams or 0)) for one in left if one.grinder_id == grinder_id]
        assert status(database, caller, grinder_id).throughput.grinder_grams == sum(own_mg) / 1000
    revisions = database.read(
        caller.account_no,
        lambda connection: connection.execute(select(grinder_state.c.revision)).scalars().all(),
    )
    assert len(revisions) == len(resend.GRINDERS)

    if not database.is_sqlite:
        database.close()
        assert deadlock_count(made_database) == 0


def test_an_id_that_many_send_for_different_grinders_counts_for_one_of_them(
    database: Database, made_database: MadeDatabase
) -> None:
    # These writers hold different grinders, so only the id itself makes them wait.
    caller = new_chain(database, *resend.GRINDERS)
    numbers = range(120)
    at_once = threading.Barrier(len(resend.GRINDERS))

    def send_all(grinder_id: str) -> Counter[str]:
        chance = random.Random(grinder_id)
        sending = [
            a_run(number, NOW - number * MINUTE, grinder_id=grinder_id) for number in numbers
        ]
        chance.shuffle(sending)
        outcomes: Counter[str] = Counter()
        at_once.wait()
        while sending:
            size = chance.randint(1, 40)
            outcomes.update(send(database, caller, sending[:size]))
            sending = sending[size:]
        return outcomes

    with ThreadPoolExecutor(len(resend.GRINDERS)) as threads:
        outcomes = list(threads.map(send_all, resend.GRINDERS))
    assert sum(found["accepted"] for found in outcomes) == len(numbers)
    assert sum(found["conflict"] for found in outcomes) == 3 * len(numbers)
    of_runs, by_hour, by_day = database.read(caller.account_no, snapshot)
    assert of_runs == by_hour == by_day
    for grinder_id, found in zip(resend.GRINDERS, outcomes, strict=True):
        total = status(database, caller, grinder_id).throughput
        assert total.grinder_grams == found["accepted"] * 18.0
    if not database.is_sqlite:
        database.close()
        assert deadlock_count(made_database) == 0


def deadlock_count(made: MadeDatabase) -> int:
    """How many deadlocks the server has seen in this database, once its sessions have ended."""
    with psycopg.connect(made.url) as connection:
        found = connection.execute(
            "SELECT deadlocks FROM pg_stat_database WHERE datname = current_database()"
        ).fetchone()
    assert found is not None
    counted: int = found[0]
    return counted
