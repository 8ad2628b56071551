"""A device that weighs runs and puts them into a spool, until it is killed.

    python producer.py SPOOL URL KEY FIRST COUNT

Prints the id of each run once ``put`` has returned. Every twentieth run is of a grinder that the
service does not know.
"""

from __future__ import annotations

import sys
import time

from burrline import Client, _spool_worker
from burrline.spool import Spool

POISON_EVERY = 20
GRINDERS = ("bar-1", "bar-2")


def run_numbered(number: int) -> dict[str, object]:
    grinder_id = "attic" if number % POISON_EVERY == 7 else GRINDERS[number % 2]
    return {
        "run_id": f"made-{number:08}",
        "grinder_id": grinder_id,
        "grams": (16_000 + number) / 1000,
        "seconds": 7.25,
    }


def main(path: str, url: str, key: str, first: str, count: str) -> None:
    # in a hurry, for it does not live long: many tries, many faults
    _spool_worker.FIRST_PAUSE_SECONDS, _spool_worker.LONGEST_PAUSE_SECONDS = 0.01, 0.05
    client = Client(url, key, timeout=(0.3, 0.3), deadline_seconds=1.0, uniform=lambda *_: 0.01)
    with Spool(path, client) as spool:
        for number in range(int(first), int(first) + int(count)):
            print(spool.put(run_numbered(number)), flush=True)
            time.sleep(0.001)


if __name__ == "__main__":
    main(*sys.argv[1:])
