"""Store and forward: runs that wait on disk until the service has answered for them.

::

    from burrline import Client
    from burrline.spool import Spool

    with Client() as client, Spool("runs.spool", client) as spool:  # sends in the background
        spool.put({"grinder_id": "bar-1", "grams": 18.2, "seconds": 7.4})

``put`` returns when the run is on disk. It is sent, oldest first, until the service answers for
it; sent twice it counts once. A run the service refuses is set aside with its reason, where it can
be looked at, sent again, exported or removed: nothing that was put is ever dropped by itself. When
the spool is full, ``put`` raises ``SpoolFull`` and counts it.

A kill at any instant loses nothing. Whether a power cut does rests on the disk: some cards say
"written" before it is true.
"""

from __future__ import annotations

import os
import random
import sqlite3
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any

from burrline._convert import body_of
from burrline._device_time import Moment, moment_now
from burrline._places import Given
from burrline._spool_line import New, insert, is_same, placed
from burrline._spool_sender import Flushed, Sender, started
from burrline._spool_store import DEAD, WAITING, Held, Kept, Store
from burrline._spool_worker import Worker
from burrline.client import Client

__all__ = ["DeadRun", "Flushed", "Held", "Spool", "SpoolConflict", "SpoolError", "SpoolFull"]

MOST_RUNS = 200_000
MOST_BYTES = 128 * 1024 * 1024
RESERVE_BYTES = 8 * 1024 * 1024
"""Left free on the disk: letting go of what was sent needs some room as well."""
CLOSE_SECONDS = 5.0
SUSPECT_SECONDS = 60.0
"""A wall clock this far behind a time the service once told stood still or was set back."""


class SpoolError(Exception):
    """The spool's file could not be read or written; the run was not taken."""


class SpoolFull(SpoolError):
    """There is no room for another run; it was not taken, and that was counted."""


class SpoolConflict(SpoolError):
    """Another run with this id waits, or was refused and set aside; the first one is kept."""


@dataclass(frozen=True)
class DeadRun:
    """A run that the service refused, and why."""

    run_id: str
    line: Mapping[str, Any]
    reason: str


class Spool:
    """Runs on disk until they are recorded; one spool may serve threads and processes alike.

    Parameters
    ----------
    path
        The file; its directory must exist.
    client
        What sends; without it the spool can be filled and looked at.
    most_runs, most_bytes
        How much it may hold, dead runs included.
    moment, uniform
        This device's time and dice, to be replaced in tests.

    As a context manager it sends in the background from entry to exit; at exit a request under
    way is given five seconds, and what is left waits for the next time.
    A child of a fork may go on putting; to send in the background it has to ``start`` anew.
    """

    def __init__(
        self,
        path: str | os.PathLike[str],
        client: Client | None = None,
        *,
        most_runs: int | None = None,
        most_bytes: int | None = None,
        moment: Callable[[], Moment] = moment_now,
        uniform: Callable[[float, float], float] = random.uniform,
    ) -> None:
        self._moment, self._uniform = moment, uniform
        self._most_runs = MOST_RUNS if most_runs is None else most_runs
        self._most_bytes = MOST_BYTES if most_bytes is None else most_bytes
        self._path, self._uncounted = os.fspath(path), 0
        with self._telling():
            self._store = Store(path)
        self._sender = None if client is None else Sender(self._store, client, moment)
        self._worker: Worker | None = None

    def __enter__(self) -> Spool:
        if self._sender is not None:
            self.start()
        return self

    def __exit__(self, *exception: object) -> None:
        self.close()

    # --- taking ------------------------------------------------------------------------------

    def put(self, run: Given) -> str:
        """Take one run, a mapping or a model; gives its id once the run is on disk.

        Left out, ``run_id`` is a fresh UUID version 7, and the run is taken to have just ended.
        ``ValueError`` or ``TypeError``: it cannot be sent as JSON. The same run twice is once.
        """
        return self.put_all([run])[0]

    def put_reading(self, reading: Given) -> str:
        """Take one reading likewise; left out, ``reading_id`` is made, and it was read just now.

        Gives its id in the spool, which begins with ``reading:``.
        """
        line = body_of(reading, {})
        return self.put_all([{**line, "reading_id": line.get("reading_id")}])[0]

    def put_all(self, runs: Sequence[Given]) -> list[str]:
        """Take many runs in one go: all of them, or none."""
        moment = self._moment()
        new = [placed(body_of(run, {}), moment) for run in runs]
        try:
            with self._telling():
                self._take(new, moment)
        except _DiskFull:
            self._uncounted += len(new)  # written down when there is room again
            raise
        self._wake()
        return [run.key for run in new]

    def _take(self, new: Sequence[New], moment: Moment) -> None:
        full, uncounted = "", self._uncounted
        with self._store.transaction() as connection:
            numbers = dict(connection.execute("SELECT name, value FROM number").fetchall())
            run_count, size_bytes = int(numbers["run_count"]), int(numbers["size_bytes"])
            fresh = _fresh(connection, new)
            run_count += len(fresh)
            size_bytes += sum(run.size_bytes for run in fresh)
            if fresh and run_count > self._most_runs:
                full = f"it may hold {self._most_runs} runs"
            elif fresh and size_bytes > self._most_bytes:
                full = f"it may hold {self._most_bytes} bytes"
            elif fresh and self._store.room_bytes(connection) < RESERVE_BYTES:
                full = f"its disk has less than {RESERVE_BYTES} bytes left"
            not_taken = uncounted + (len(fresh) if full else 0)
            if not_taken:
                connection.execute(
                    "UPDATE number SET value = value + ? WHERE name = 'refused_count'",
                    (not_taken,),
                )
            if not full:
                is_suspect = moment.wall_seconds < numbers["told_at"] - SUSPECT_SECONDS
                insert(connection, fresh, moment, is_suspect=is_suspect)
        self._uncounted -= uncounted
        if full:
            raise SpoolFull(f"the spool {self._path} is full: {full}")

    @property
    def path(self) -> str:
        """The file."""
        return self._path

    # --- sending -----------------------------------------------------------------------------

    def flush(self) -> Flushed:
        """Send until nothing waits; raises what stopped it, its counts as ``error.flushed``.

        ``errors.APIError``: the service could not be reached, or would not have this client.
        """
        with self._telling():
            return self._sending().flush()

    @property
    def total(self) -> Flushed:
        """What became of all that this object has sent, in the background too."""
        return Flushed() if self._sender is None else self._sender.total

    def start(self) -> None:
        """Send in the background whenever something waits, until ``stop``."""
        sender = self._sending()
        if self._worker is None or not self._worker.is_alive():
            self._worker = Worker(sender, self._store.path, self._uniform)

    def stop(self, timeout_seconds: float | None = None) -> None:
        """Send no more in the background; what waits stays."""
        worker, self._worker = self._worker, None
        if worker is not None:
            worker.stop(timeout_seconds)

    def close(self) -> None:
        self.stop(CLOSE_SECONDS)
        self._store.close()

    def _sending(self) -> Sender:
        if self._sender is None:
            raise ValueError("this spool has no client to send with")
        return self._sender

    def _wake(self) -> None:
        if self._worker is not None:
            self._worker.wake()

    # --- looking -----------------------------------------------------------------------------

    def held(self) -> Held:
        """How much is in it."""
        with self._telling():
            held = self._store.held()
        return replace(held, refused_count=held.refused_count + self._uncounted)

    def waiting(self, limit: int = 1000) -> list[Mapping[str, Any]]:
        """The oldest runs that wait, as they were put."""
        return [kept.line for kept in self._oldest(WAITING, limit=limit)]

    def lines(self, *, dead: bool = False) -> Iterator[Mapping[str, Any]]:
        """Every run that waits, or that was refused: as it was put, the start worked out."""
        after_seq = 0
        while page := self._oldest(DEAD if dead else WAITING, after_seq=after_seq):
            with self._telling():
                offsets = self._store.offsets()
            for kept in page:
                is_placed = kept.boot_id is not None
                yield started(kept, offsets.get(kept.boot_id or "")) if is_placed else kept.line
            after_seq = page[-1].seq

    def dead(self, limit: int = 1000) -> list[DeadRun]:
        """The oldest runs that the service refused."""
        return [
            DeadRun(kept.run_id, kept.line, kept.reason or "")
            for kept in self._oldest(DEAD, limit=limit)
        ]

    def requeue(self, run_ids: Sequence[str] | None = None) -> int:
        """Send dead runs again, those named or all; how many there were."""
        with self._telling():
            revived = self._store.revive(run_ids)
        self._wake()
        return revived

    def remove(self, run_ids: Sequence[str]) -> int:
        """Let go of dead runs by their ids; how many there were. Nothing brings them back."""
        with self._telling():
            return self._store.remove(run_ids)

    def _oldest(self, state: int, *, after_seq: int = 0, limit: int = 1000) -> list[Kept]:
        with self._telling():
            return self._store.oldest(state=state, after_seq=after_seq, limit=limit)

    @contextmanager
    def _telling(self) -> Iterator[None]:
        """What SQLite says of the file, as an error of the spool."""
        try:
            yield
        except sqlite3.Error as error:
            # "sqlite_errorname" is there from Python 3.11 on
            is_full = "SQLITE_FULL" in getattr(error, "sqlite_errorname", "") or "full" in str(
                error
            )
            raise (_DiskFull if is_full else SpoolError)(f"{self._path}: {error}") from error


class _DiskFull(SpoolFull):
    """The disk has no room, not even for counting."""


def _fresh(connection: sqlite3.Connection, new: Sequence[New]) -> list[New]:
    """Those that are not there yet; the same run twice is once."""
    fresh: dict[str, New] = {}
    for run in new:
        run_id = run.key
        row = connection.execute(
            "SELECT line, state FROM run WHERE run_id = ?", (run_id,)
        ).fetchone()
        known = row[0] if row else fresh[run_id].text if run_id in fresh else None
        if known is None:
            fresh[run_id] = run
        elif not is_same(known, run.line):
            where = "was refused and set aside" if row and row[1] == DEAD else "waits already"
            raise SpoolConflict(f"another run {run_id!r} {where}")
    return [*fresh.values()]
