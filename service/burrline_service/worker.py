"""The worker: jobs at their own pace, each safe to repeat and to kill at any moment.

Jobs that share a loop follow one another; loops run side by side, so that what takes long holds
up nothing that is waited for.
"""

from __future__ import annotations

import logging
import random
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime

from .actions import delivering, folding, keep, noticing, stream_now
from .actions.dispatching import Dispatcher
from .core.errors import Refusal
from .sender import Sender
from .settings import Settings
from .store.alone import try_alone
from .store.database import Database

KEEPING, DELIVERING, WATCHING = "keeping", "delivering", "watching"
WATCH_SECONDS = 0.5
FOLDED_EVERY_SECONDS = 15.0
STANDBY_SECONDS = 1.0
LONGEST_QUICK_SECONDS = 60.0
LONGEST_WATCH_SECONDS = 600.0

logger = logging.getLogger("burrline.work")


@dataclass
class Job:
    """Something done every so often; ``run`` returns how many things it did.

    ``longest_seconds`` is how long it may be at it before the worker counts as stuck.
    """

    name: str
    every_seconds: float
    run: Callable[[datetime], int]
    loop: str = KEEPING
    longest_seconds: float | None = None
    due_seconds: float = field(default=0.0)
    began_seconds: float | None = field(default=None)
    done_count: int = field(default=0)
    failure_count: int = field(default=0)


def make_dispatcher(settings: Settings, database: Database, *, stop: threading.Event) -> Dispatcher:
    """What delivers to webhooks, with these settings' exceptions."""
    return Dispatcher(
        database,
        Sender(settings.allow_private_webhooks).post,
        clock=now,
        dice=random.random,
        stop=stop,
    )


def make_jobs(
    settings: Settings,
    database: Database,
    *,
    stop: threading.Event,
    dispatcher: Dispatcher | None = None,
) -> list[Job]:
    """The jobs these settings ask for; a long one ends early once ``stop`` is set."""
    put_off: noticing.PutOff = {}
    jobs = [
        Job(
            "watch",
            WATCH_SECONDS,
            lambda at: noticing.watch(
                database, now=at, clock=now, is_stopping=stop.is_set, put_off=put_off
            ),
            WATCHING,
            longest_seconds=LONGEST_WATCH_SECONDS,
        ),
        Job(
            "fold_stream",
            FOLDED_EVERY_SECONDS,
            lambda now: folding.fold_stream(database, is_stopping=stop.is_set),
        ),
        Job(
            "tell_stream",
            FOLDED_EVERY_SECONDS,
            lambda now: stream_now.tell_stream(database, now=now, is_stopping=stop.is_set),
        ),
        Job("forget_replies", 3600, lambda now: keep.forget_replies(database, now=now)),
        Job(
            "forget_alerts",
            6 * 3600,
            lambda now: keep.forget_alerts(database, now=now, is_stopping=stop.is_set),
        ),
        Job("tidy_deliveries", 600, lambda now: delivering.tidy_deliveries(database, now=now)),
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
    if dispatcher is not None:
        jobs.append(
            Job("deliver", 0.2, dispatcher.turn, DELIVERING, longest_seconds=LONGEST_QUICK_SECONDS)
        )
    return jobs


def work(jobs: list[Job], *, stop: threading.Event) -> None:
    """Run the jobs as they fall due until ``stop`` is set; a failed one is tried again later."""
    logger.info("work begins: %s", ", ".join(job.name for job in jobs))
    loops: dict[str, list[Job]] = {}
    for job in jobs:
        loops.setdefault(job.loop, []).append(job)
    first, *others = loops.values()
    threads = [
        threading.Thread(target=_run, args=(of_loop, stop), name=of_loop[0].loop)
        for of_loop in others
    ]
    for thread in threads:
        thread.start()
    _run(first, stop)
    for thread in threads:
        thread.join()
    logger.info("work ends")


def stuck(jobs: list[Job]) -> list[str]:
    """The jobs that have been at it for longer than they may."""
    now_seconds = time.monotonic()
    return [
        job.name
        for job in jobs
        for began_seconds in [job.began_seconds]
        if began_seconds is not None
        and job.longest_seconds is not None
        and now_seconds - began_seconds > job.longest_seconds
    ]


@contextmanager
def alone(database: Database, *, stop: threading.Event) -> Iterator[None]:
    """On SQLite, wait until no other worker is at this file; on PostgreSQL there may be several."""
    if not database.is_sqlite:
        yield
        return
    held = try_alone(database.url)
    if held is None:
        logger.warning("another worker is at work on this database; standing by")
    while held is None and not stop.wait(STANDBY_SECONDS):
        held = try_alone(database.url)
    try:
        yield
    finally:
        if held is not None:
            held.close()


def now() -> datetime:
    """This instant, in whole milliseconds as the store keeps them."""
    at = datetime.now(UTC)
    return at.replace(microsecond=at.microsecond // 1000 * 1000)


def _run(jobs: list[Job], stop: threading.Event) -> None:
    while not stop.is_set():
        for job in jobs:
            if stop.is_set() or time.monotonic() < job.due_seconds:
                continue
            _do(job)
            job.due_seconds = time.monotonic() + job.every_seconds
        now_seconds = time.monotonic()
        stop.wait(min([1.0, *(max(0.05, job.due_seconds - now_seconds) for job in jobs)]))


def _do(job: Job) -> None:
    job.began_seconds = time.monotonic()
    try:
        count = job.run(datetime.now(UTC))
    except Refusal as refusal:
        job.failure_count += 1
        logger.warning("%s: %s", job.name, refusal)
    except Exception:
        job.failure_count += 1
        logger.exception("%s failed", job.name)
    else:
        job.done_count += count
        if count and job.longest_seconds is None:  # what turns all the time tells of itself
            logger.info("%s: %d", job.name, count)
    finally:
        job.began_seconds = None
