"""One of several devices that send the same runs again and again, in their own order.

    python resend.py DATABASE_URL ACCOUNT_ID SEED

Waits for a line on standard input, then sends every run of ``all_runs`` in batches of its own and
voids some; prints how often each outcome came, as JSON.
"""

from __future__ import annotations

import json
import random
import sys
from collections import Counter
from datetime import UTC, datetime, timedelta

from burrline_service.actions import admin, ingest
from burrline_service.core.records import Run, RunOutcome
from burrline_service.store.database import open_database

NOW = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
GRINDERS = ("bar-1", "bar-2", "bar-3", "lab")
RUN_COUNT = 240
VOIDED_EVERY = 24


def all_runs() -> list[Run]:
    """The same runs for everybody, spread over three days and all grinders."""
    return [
        Run(
            run_id=f"run-{number:08d}",
            grinder_id=GRINDERS[number % len(GRINDERS)],
            started_at=NOW - timedelta(minutes=17 * number, milliseconds=number),
            seconds=(5000 + 7 * number) / 1000,
            grams=(16_000 + 13 * number) / 1000,
            purpose=("service", "service", "purge")[number % 3],
        )
        for number in range(RUN_COUNT)
    ]


def voided(runs: list[Run]) -> list[Run]:
    return runs[::VOIDED_EVERY]


def main(database_url: str, account_id: str, seed: str) -> None:
    chance = random.Random(int(seed))
    database = open_database(database_url)
    owner = admin.owner(database, account_id=account_id, now=NOW)
    runs = all_runs()
    sending = list(runs)
    chance.shuffle(sending)
    sys.stdout.write("ready\n")
    sys.stdout.flush()
    sys.stdin.readline()
    outcomes: Counter[str] = Counter()
    while sending:
        size = chance.randint(1, 30)
        for outcome in ingest.add_runs(database, owner, runs=sending[:size], now=NOW):
            word = outcome.outcome if isinstance(outcome, RunOutcome) else type(outcome).__name__
            outcomes[word] += 1
        sending = sending[size:]
    for run in voided(runs):
        ingest.void_run(database, owner, run_id=run.run_id, now=NOW)
    database.close()
    sys.stdout.write(json.dumps(outcomes))


if __name__ == "__main__":
    main(*sys.argv[1:])
