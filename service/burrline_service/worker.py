"""The worker: small jobs at their own pace, each safe to repeat and to kill at any moment."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime

from .actions import folding, keep, noticing
from .core.errors import Refusal
from .settings import Settings
from .store.database import Database

FOLDED_EVERY_SECONDS = 15.0
logger = logging.getLogger("burrline.work")


WATCH_SECONDS = 0.5


@dataclass
class Job:
    """Something done every so often; ``run`` returns how many things it did."""

    name: str
    every_seconds: float
    run: Callable[[datetime], int]
    due_seconds: float = field(default=0.0)


def make_jobs(settings: Settings, database: Database, *, stop: threading.Event) -> list[Job]:
    """The jobs these settings ask for; a long one ends early once ``stop`` is set."""
    jobs = [
        Job(
            "watch",
            WATCH_SECONDS,
            lambda now: noticing.watch(database, now=now, is_stopping=stop.is_set),
        ),
        Job(
            "fold_stream",
            FOLDED_EVERY_SECONDS,
            lambda now: folding.fold_stream(database, is_stopping=stop.is_set),
        ),
        Job("forget_replies", 3600, lambda now: keep.forget_replies(database, now=now)),
    ]
    retained_days = settings.retained_days
    if retained_days is not None:
        jobs.append(
            Job(
                "archive_runs",
                3600,
                lambda now: keep.archive_runs(
                    database, retained_days=retained_days, now=now, is_stopping=stop.is_set
                ),
            )
        )
    return jobs


def work(jobs: list[Job], *, stop: threading.Event) -> None:
    """Run the jobs as they fall due until ``stop`` is set; a failed one is tried again later."""
    logger.info("work begins: %s", ", ".join(job.name for job in jobs))
    while not stop.is_set():
        for job in jobs:
            if stop.is_set() or time.monotonic() < job.due_seconds:
                continue
            try:
                count = job.run(datetime.now(UTC))
            except Refusal as refusal:
                logger.warning("%s: %s", job.name, refusal)
            except Exception:
                logger.exception("%s failed", job.name)
            else:
                if count:
                    logger.info("%s: %d", job.name, count)
            job.due_seconds = time.monotonic() + job.every_seconds
        now_seconds = time.monotonic()
        stop.wait(min([1.0, *(max(0.05, job.due_seconds - now_seconds) for job in jobs)]))
    logger.info("work ends")
