"""Kills a device at every single statement its spool ever runs, before and after it.

    python tests/reliability/spool/crash_points.py [--every N]

For each point a process is forked that takes, sends, requeues and sends again, and is killed
there. What it promised must then be found: recorded by the service, or waiting, or refused.
Prints how many points there are; fails at the first that loses a run or leaves wrong counts.
"""

from __future__ import annotations

import argparse
import os
import signal
import sqlite3
import tempfile
import traceback
from collections.abc import Iterable, Mapping
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from burrline import _spool_store
from burrline._device_time import Moment
from burrline.models import BatchProblem, Fault, RunBatchOutcome
from burrline.spool import Spool

REFUSED = "run-000004"


class CountingConnection(sqlite3.Connection):
    """Counts statements, and kills this process at the one it is told."""

    count = 0
    kill_at: int | None = None
    kills_after = False

    def execute(self, *arguments: Any) -> sqlite3.Cursor:
        kind = CountingConnection
        kind.count += 1
        if kind.count == kind.kill_at and not kind.kills_after:
            os.kill(os.getpid(), signal.SIGKILL)
        cursor = super().execute(*arguments)
        if kind.count == kind.kill_at:
            os.kill(os.getpid(), signal.SIGKILL)
        return cursor


class FileService:
    """Stands for client and service: what it has recorded is a file, so it outlives kills."""

    def __init__(self, file: Path, *, refuses: bool) -> None:
        self._file, self._refuses = file, refuses
        self._transport = SimpleNamespace(told_time=(1_767_254_400.0, 0.0), clock=lambda: 1.0)

    def recorded(self) -> list[str]:
        return self._file.read_text().split() if self._file.exists() else []

    def add_runs(self, lines: Iterable[Mapping[str, Any]]) -> RunBatchOutcome:
        known, problems, counts = set(self.recorded()), [], {"accepted": 0, "duplicates": 0}
        given = list(lines)
        with self._file.open("a") as file:
            for index, line in enumerate(given):
                run_id = line["run_id"]
                if self._refuses and run_id == REFUSED:
                    fault = Fault(detail="no grinder named 'attic'")
                    problems.append(
                        BatchProblem(
                            index=index, run_id=run_id, outcome="rejected", errors=(fault,)
                        )
                    )
                elif run_id in known:
                    counts["duplicates"] += 1
                else:
                    counts["accepted"] += 1
                    file.write(f"{run_id}\n")
        return RunBatchOutcome(
            received=len(given),
            conflicts=0,
            rejected=len(problems),
            problems=tuple(problems),
            **counts,
        )


def _moment() -> Moment:
    return Moment("boot-a", 100.0, 1_767_254_400.0)


def work(folder: Path, promise: Any) -> None:
    """What a device does in its life; ``promise`` is told each id once it may rely on it."""
    picky = FileService(folder / "service.txt", refuses=True)
    spool = Spool(folder / "runs.spool", picky, moment=_moment)  # type: ignore[arg-type]
    for number in (1, 2, 3):
        promise(spool.put({"run_id": f"run-{number:06}", "grams": number}))
    spool.flush()
    for run_id in spool.put_all([{"run_id": f"run-{number:06}", "grams": 1} for number in (4, 5)]):
        promise(run_id)
    spool.flush()
    spool.requeue()
    kind = FileService(folder / "service.txt", refuses=False)
    spool = Spool(folder / "runs.spool", kind, moment=_moment)  # type: ignore[arg-type]
    promise(spool.put({"run_id": "run-000006", "grams": 6}))
    spool.flush()
    spool.close()


def live_and_die(folder: Path, kill_at: int, *, after: bool) -> bool:
    """Fork a device that is killed at a statement; whether it got that far."""
    promises = folder / "promised.txt"
    pid = os.fork()
    if pid == 0:
        try:
            CountingConnection.count = 0
            CountingConnection.kill_at, CountingConnection.kills_after = kill_at, after
            handle = os.open(promises, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
            work(folder, lambda run_id: os.write(handle, f"{run_id}\n".encode()))
        except BaseException:
            traceback.print_exc()
            os._exit(3)
        os._exit(0)
    _, status = os.waitpid(pid, 0)
    if os.WIFSIGNALED(status):
        return True
    if os.WEXITSTATUS(status) != 0:
        raise AssertionError(f"point {kill_at}: the device failed instead of being killed")
    return False


def check(folder: Path, point: str) -> None:
    """Nothing that was promised is lost, the counts are right, and all of it can be sent."""
    CountingConnection.kill_at = None
    file = folder / "promised.txt"
    promised = set(file.read_text().split()) if file.exists() else set()
    service = FileService(folder / "service.txt", refuses=False)
    spool = Spool(folder / "runs.spool", service, moment=_moment)  # type: ignore[arg-type]
    held = spool.held()
    kept = [*spool.waiting(), *(one.line for one in spool.dead())]
    sizes = sum(len(_spool_store.text_of(dict(line)).encode()) for line in kept)
    if (held.run_count, held.size_bytes) != (len(kept), sizes):
        raise AssertionError(f"{point}: it counts {held}, but holds {len(kept)} runs of {sizes} B")
    there = {line["run_id"] for line in kept} | set(service.recorded())
    if lost := promised - there:
        raise AssertionError(f"{point}: lost {sorted(lost)}")
    spool.requeue()
    spool.flush()
    recorded = service.recorded()
    if promised - set(recorded) or len(recorded) != len(set(recorded)):
        raise AssertionError(f"{point}: promised {sorted(promised)}, recorded {recorded}")
    if spool.held().run_count:
        raise AssertionError(f"{point}: something is left")
    spool.close()


def try_points(every: int) -> int:
    """Try every point, or every so many; how many there were."""
    connect = sqlite3.connect
    points = 0
    try:
        _spool_store.sqlite3.connect = lambda *given, **more: connect(  # type: ignore[assignment]
            *given, **{**more, "factory": CountingConnection}
        )
        for after in (False, True):
            kill_at = 1
            while True:
                with tempfile.TemporaryDirectory() as name:
                    was_killed = live_and_die(Path(name), kill_at, after=after)
                    check(Path(name), f"{'after' if after else 'before'} statement {kill_at}")
                if not was_killed:
                    break
                points += 1
                kill_at += every
    finally:
        _spool_store.sqlite3.connect = connect
    return points


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--every", type=int, default=1)
    print(f"{try_points(parser.parse_args().every)} points, nothing lost")
