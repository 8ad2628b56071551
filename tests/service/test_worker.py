"""The worker: jobs at their own pace; it survives their failures and stops when told."""

from __future__ import annotations

import logging
import socket
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
from burrline_service.worker import (
    DELIVERING,
    Job,
    alone,
    make_dispatcher,
    make_jobs,
    stuck,
    work,
)
from receivers import Request, answer, open_zoo
from small_chain import DAY, SECOND, a_run, new_chain, send
from told import a_webhook, an_event, tell


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
    always = [
        "watch",
        "fold_stream",
        "tell_stream",
        "forget_replies",
        "forget_alerts",
        "tidy_deliveries",
    ]
    jobs = make_jobs(read_settings(given), database, stop=stop)
    assert [job.name for job in jobs] == always
    given["BURRLINE_RETAINED_DAYS"] = "30"
    jobs = make_jobs(read_settings(given), database, stop=stop)
    assert [job.name for job in jobs] == [*always, "archive_runs"]


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
    watch, fold, tell_stream, forget, _, _, archive = make_jobs(settings, database, stop=stop)
    stop.set()
    assert (fold.run(now), tell_stream.run(now), archive.run(now)) == (0, 0, 0)
    stop.clear()
    jobs = (fold, tell_stream, forget, archive)
    assert [job.run(now) for job in jobs] == [6, 1, 1, 5]
    assert [job.run(now) for job in jobs] == [0, 0, 0, 0]
    assert watch.run(now) == 0
    send(database, caller, [a_run(90, now - 900 * SECOND, seconds=700.0)], now=now)
    assert watch.run(now) == 2  # a long run: opened, and closed
    assert watch.run(now) == 0


def test_a_job_that_takes_long_holds_up_no_other_loop() -> None:
    stop, is_quick_done = threading.Event(), threading.Event()

    def long(now: datetime) -> int:
        assert is_quick_done.wait(20), "the quick one waits for the long one"
        stop.set()
        return 0

    def quick(now: datetime) -> int:
        is_quick_done.set()
        return 0

    jobs = [Job("long", 3600, long), Job("quick", 3600, quick, "quick", longest_seconds=60)]
    work(jobs, stop=stop)
    assert [job.began_seconds for job in jobs] == [None, None]


def test_a_job_at_it_for_longer_than_it_may_is_named() -> None:
    slow, patient = Job("slow", 1, lambda now: 0, longest_seconds=5), Job("patient", 1, int)  # type: ignore[arg-type]
    assert stuck([slow, patient]) == []
    slow.began_seconds = patient.began_seconds = 0.0
    assert stuck([slow, patient]) == ["slow"]


def test_what_is_due_is_delivered_by_a_loop_of_its_own(database: Database, tmp_path: Path) -> None:
    """The whole of it, on the loopback: an event in the outbox arrives at a receiver."""
    stop = threading.Event()
    settings = read_settings(
        {"BURRLINE_DATA_DIR": str(tmp_path), "BURRLINE_ALLOW_PRIVATE_WEBHOOKS": "127.0.0.1"}
    )
    now = datetime.now(UTC)
    caller = new_chain(database)
    with open_zoo() as zoo:

        def stops(connection: socket.socket, request: Request, _: threading.Event) -> None:
            answer("204 No Content")(connection, request, stop)
            stop.set()

        zoo.behaviours["/ok"] = stops
        a_webhook(database, caller, now, url=zoo.url("/ok"))
        tell(database, caller, an_event(1, now), now=now)
        dispatcher = make_dispatcher(settings, database, stop=stop)
        jobs = make_jobs(settings, database, stop=stop, dispatcher=dispatcher)
        assert [job.loop for job in jobs if job.name == "deliver"] == [DELIVERING]
        work(jobs, stop=stop)
        dispatcher.close()
        (request,) = zoo.got
    assert request.headers["webhook-id"] == "event-000001"
    assert dispatcher.outcomes == {"delivered": 1}


@pytest.mark.parametrize("database_kind", ["sqlite"])
def test_a_second_worker_on_one_file_says_so_and_stands_by(
    database: Database, caplog: pytest.LogCaptureFixture
) -> None:
    first, second = threading.Event(), threading.Event()
    with alone(database, stop=first):
        second.set()  # told to stop while it waits
        with alone(database, stop=second):
            pass
    assert [line.getMessage() for line in caplog.records] == [
        "another worker is at work on this database; standing by"
    ]
    caplog.clear()
    with alone(database, stop=first):
        assert caplog.records == []
