"""What is in a spool's file, read and written in whole transactions.

One process or many: each has one connection, shared by its threads in turn. None is open while a
process forks, for SQLite's locks do not survive that (https://www.sqlite.org/howtocorrupt.html,
section 2.6).
"""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import threading
import weakref
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from burrline._spool_file import connected

WAITING, DEAD = 0, 1
_KEPT = "seq, run_id, line, size_bytes, put_at, boot_id, uptime_seconds, wall_seconds, reason"


@dataclass(frozen=True)
class Kept:
    """One run in the file; the times of its start are None where the run tells its own."""

    seq: int
    run_id: str
    line: dict[str, Any]
    size_bytes: int
    put_at: float
    boot_id: str | None
    uptime_seconds: float | None
    wall_seconds: float | None
    reason: str | None


@dataclass(frozen=True)
class Held:
    """What a spool holds: runs and bytes in all, dead ones among them, and puts refused so far."""

    run_count: int
    size_bytes: int
    dead_count: int
    refused_count: int


class Store:
    """The database of one path."""

    def __init__(self, path: str | os.PathLike[str]) -> None:
        self.path = Path(path)
        self._lock = threading.RLock()
        self._kept: sqlite3.Connection | None = None
        _OPEN.add(self)
        with self.reading():
            pass  # it can be opened

    def __del__(self) -> None:
        kept = getattr(self, "_kept", None)
        if kept is not None:
            kept.close()  # nothing is lost by forgetting to: all of it is on disk

    def close(self) -> None:
        """Close the connection; the next use opens it again."""
        with self._lock:
            kept, self._kept = self._kept, None
            if kept is not None:
                kept.close()

    @contextmanager
    def transaction(self) -> Iterator[sqlite3.Connection]:
        """A transaction that has the write lock from its beginning: all of it, or nothing."""
        with self.reading() as connection:
            connection.execute("BEGIN IMMEDIATE")
            try:
                yield connection
                connection.execute("COMMIT")
            except BaseException:
                if connection.in_transaction:
                    connection.execute("ROLLBACK")
                raise

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """The connection, for this thread alone."""
        with self._lock:
            if self._kept is None:
                self._kept = connected(self.path)
            yield self._kept

    def room_bytes(self, connection: sqlite3.Connection) -> int:
        """What is free on the disk, and within the file, less what the file has yet to grow."""
        free_bytes = shutil.disk_usage(self.path.parent).free
        pages, free, page_bytes = (
            int(connection.execute(f"PRAGMA {name}").fetchone()[0])
            for name in ("page_count", "freelist_count", "page_size")
        )
        return free_bytes + self.path.stat().st_size - (pages - free) * page_bytes

    # --- reading -----------------------------------------------------------------------------

    def held(self) -> Held:
        with self.reading() as connection:
            rows = connection.execute(
                "SELECT name, value FROM number UNION ALL"
                " SELECT 'dead_count', count(*) FROM run WHERE state = ?",
                (DEAD,),
            )
            found = {name: int(value) for name, value in rows}
        return Held(
            found["run_count"], found["size_bytes"], found["dead_count"], found["refused_count"]
        )

    def oldest(self, *, state: int, after_seq: int = 0, limit: int = 1000) -> list[Kept]:
        with self.reading() as connection:
            rows = connection.execute(
                f"SELECT {_KEPT} FROM run WHERE state = ? AND seq > ? ORDER BY seq LIMIT ?",
                (state, after_seq, limit),
            ).fetchall()
        return [_kept(row) for row in rows]

    def offsets(self) -> dict[str, float]:
        """The service's time less the uptime, by boot."""
        with self.reading() as connection:
            return dict(connection.execute("SELECT boot_id, offset_seconds FROM boot").fetchall())

    # --- writing -----------------------------------------------------------------------------

    def learn(self, boot_id: str, offset_seconds: float, told_at: float) -> None:
        """Keep what the service's clock said beside this boot's uptime."""
        with self.transaction() as connection:
            connection.execute(
                "INSERT INTO boot VALUES (?, ?, ?) ON CONFLICT (boot_id) DO UPDATE SET"
                " offset_seconds = excluded.offset_seconds, told_at = excluded.told_at",
                (boot_id, offset_seconds, told_at),
            )
            connection.execute("UPDATE number SET value = ? WHERE name = 'told_at'", (told_at,))
            connection.execute(
                "DELETE FROM boot WHERE boot_id <> ?"
                " AND boot_id NOT IN (SELECT boot_id FROM run WHERE boot_id IS NOT NULL)",
                (boot_id,),
            )

    def fix(
        self, seqs: Sequence[int], start_of: Callable[[Kept, float | None], dict[str, Any]]
    ) -> list[Kept]:
        """Write down the start that runs are sent with from now on; gives the runs that are left.

        Read and written in one transaction: of two processes that come at once, the second finds
        what the first has written, so that a run never gets two starts.
        """
        fixed = []
        with self.transaction() as connection:
            offsets = self.offsets()
            for seq in seqs:
                row = connection.execute(
                    f"SELECT {_KEPT} FROM run WHERE seq = ? AND state = ?", (seq, WAITING)
                ).fetchone()
                if row is None:
                    continue  # another process was quicker, and it is answered for
                kept = _kept(row)
                if kept.boot_id is not None:
                    line = start_of(kept, offsets.get(kept.boot_id))
                    connection.execute(
                        "UPDATE run SET line = ?, boot_id = NULL, uptime_seconds = NULL,"
                        " wall_seconds = NULL WHERE seq = ?",
                        (text_of(line), seq),
                    )
                    kept = replace(kept, line=line, boot_id=None, uptime_seconds=None)
                fixed.append(kept)
        return fixed

    def settle(self, done: Sequence[Kept], dead: Sequence[tuple[Kept, str]]) -> None:
        """Let go of the runs that were answered, and set those aside that were refused."""
        with self.transaction() as connection:
            for kept in done:
                found = connection.execute("DELETE FROM run WHERE seq = ?", (kept.seq,))
                if found.rowcount == 1:  # another process may have been quicker
                    count(connection, -1, -kept.size_bytes)
            for kept, reason in dead:
                connection.execute(
                    "UPDATE run SET state = ?, reason = ? WHERE seq = ?", (DEAD, reason, kept.seq)
                )
            connection.execute("PRAGMA incremental_vacuum").fetchall()

    def revive(self, run_ids: Sequence[str] | None) -> int:
        """Let dead runs wait again, those named or all; how many."""
        with self.transaction() as connection:
            revived = 0
            names = [None] if run_ids is None else run_ids
            for run_id in names:
                revived += connection.execute(
                    "UPDATE run SET state = ?, reason = NULL"
                    " WHERE state = ? AND (? IS NULL OR run_id = ?)",
                    (WAITING, DEAD, run_id, run_id),
                ).rowcount
            return revived

    def remove(self, run_ids: Sequence[str]) -> int:
        """Let go of dead runs; how many there were."""
        with self.transaction() as connection:
            removed = 0
            for run_id in run_ids:
                row = connection.execute(
                    "SELECT seq, size_bytes FROM run WHERE run_id = ? AND state = ?", (run_id, DEAD)
                ).fetchone()
                if row is not None:
                    connection.execute("DELETE FROM run WHERE seq = ?", (row[0],))
                    count(connection, -1, -row[1])
                    removed += 1
            return removed


def _kept(row: Sequence[Any]) -> Kept:
    return Kept(row[0], row[1], json.loads(row[2]), *row[3:])


def count(connection: sqlite3.Connection, runs: int, size_bytes: int) -> None:
    """Keep the running totals, in the transaction that changes them."""
    connection.execute("UPDATE number SET value = value + ? WHERE name = 'run_count'", (runs,))
    connection.execute(
        "UPDATE number SET value = value + ? WHERE name = 'size_bytes'", (size_bytes,)
    )


def text_of(line: dict[str, Any]) -> str:
    return json.dumps(line, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


# --- forks: closed before, free again on both sides ---------------------------------------------

_OPEN: weakref.WeakSet[Store] = weakref.WeakSet()
_held: list[Store] = []


def _before_fork() -> None:
    for store in [*_OPEN]:
        store._lock.acquire()  # waits until no thread is within a transaction
        _held.append(store)
        store.close()


def _after_fork() -> None:
    while _held:
        _held.pop()._lock.release()


if hasattr(os, "register_at_fork"):
    os.register_at_fork(
        before=_before_fork, after_in_parent=_after_fork, after_in_child=_after_fork
    )
