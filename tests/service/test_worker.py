"""The worker: jobs at their own pace; it survives their failures and stops when told."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from burrline_service.actions import once
from burrline_service.actions.once import Reply
from burrline_service.core.errors import Unavailable
from burrline_service.settings import read_settings
from burrline_service.store.database import Database
from burrline_service.worker import Job, make_jobs, work
from small_chain import DAY, SECOND, a_run, new_chain, send


def stopping_after(stop: threading.Event, count: int) -> Callable[[datetime], int]:
    """A job that ends the work at its so-manieth turn."""
    turns = []

    def run(now: datetime) -> int:
        turns.append(now)
        if len(turns) == count:
            stop.set()
        return 0

    return run


def test_a_job_that_fails_or_is_refused_is_told_of_and_the_others_go_on(
    caplog: pytest.LogCaptureFixture,
) -> None:
    stop = threading.Event()

    def fails(now: datetime) -> int:
        raise ZeroDivisionError("no reason")

    def refused(now: datetime) -> int:
        raise Unavailable

    jobs = [
        Job("fails", 3600, fails),
        Job("refused", 3600, refused),
        Job("busy", 3600, lambda now: 7),
        Job("last", 3600, stopping_after(stop, 1)),
    ]
    with caplog.at_level(logging.INFO):
        work(jobs, stop=stop)
    assert [(line.levelname, line.getMessage()) for line in caplog.records] == [
        ("INFO", "work begins: fails, refused, busy, last"),
        ("ERROR", "fails failed"),
        ("WARNING", "refused: The store cannot be reached; nothing was recorded."),
        ("INFO", "busy: 7"),
        ("INFO", "work ends"),
    ]


def test_each_job_has_its_own_pace_and_gets_the_time() -> None:
    stop = threading.Event()
    at: list[datetime] = []

    def rare(now: datetime) -> int:
        at.append(now)
        return 0

    began_at = datetime.now(UTC)
    work([Job("rare", 3600, rare), Job("often", 0, stopping_after(stop, 4))], stop=stop)
    assert len(at) == 1
    assert began_at <= at[0] <= datetime.now(UTC)


def test_when_told_to_stop_no_further_job_begins() -> None:
    stop = threading.Event()
    begun: list[str] = []

    def first(now: datetime) -> int:
        begun.append("first")
        stop.set()
        return 0

    def second(now: datetime) -> int:
        begun.append("second")
        return 0

    work([Job("first", 1, first), Job("second", 1, second)], stop=stop)
    work([Job("second", 1, second)], stop=stop)
    assert begun == ["first"]


def test_without_a_retention_runs_are_kept_for_ever(database: Database, tmp_path: Path) -> None:
    stop = threading.Event()
    given = {"BURRLINE_DATA_DIR": str(tmp_path)}
    assert [job.name for job in make_jobs(read_settings(given), database, stop=stop)] == [
        "watch",
        "fold_stream",
        "forget_replies",
    ]
    given["BURRLINE_RETAINED_DAYS"] = "30"
    jobs = make_jobs(read_settings(given), database, stop=stop)
    assert [job.name for job in jobs] == ["watch", "fold_stream", "forget_replies", "archive_runs"]


def test_the_jobs_do_their_work_once_and_end_early_when_told(
    database: Database, tmp_path: Path
) -> None:
    now = datetime.now(UTC)
    caller = new_chain(database)
    old = [a_run(number, now - (90 + number) * DAY) for number in range(6)]
    send(database, caller, old, now=now)
    once.perform(
        database,
        caller,
        key="old-key",
        fingerprint=b"f",
        now=now - once.KEPT_FOR - timedelta(days=1),
        produce=lambda _: Reply(201),
    )
    stop = threading.Event()
    settings = read_settings({"BURRLINE_DATA_DIR": str(tmp_path), "BURRLINE_RETAINED_DAYS": "30"})
    watch, fold, forget, archive = make_jobs(settings, database, stop=stop)
    stop.set()
    assert (fold.run(now), archive.run(now)) == (0, 0)
    stop.clear()
    assert (fold.run(now), forget.run(now), archive.run(now)) == (6, 1, 5)
    assert (fold.run(now), forget.run(now), archive.run(now)) == (0, 0, 0)
    assert watch.run(now) == 0
    send(database, caller, [a_run(90, now - 900 * SECOND, seconds=700.0)], now=now)
    assert watch.run(now) == 2  # a long run: opened, and closed
    assert watch.run(now) == 0
