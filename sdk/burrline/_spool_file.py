"""The file of a spool: an SQLite database that loses nothing that was put into it.

Write-ahead log, ``synchronous = FULL``: a run is on disk when the transaction ends, as far as the
card or disk keeps its promise to flush.
"""

from __future__ import annotations

import sqlite3
import time
from pathlib import Path

BUSY_SECONDS = 30.0
FORM = 1
"""The form of the file, kept as its ``user_version``."""

_TABLES = """
CREATE TABLE run (
    seq INTEGER PRIMARY KEY AUTOINCREMENT,
    run_id TEXT NOT NULL UNIQUE,
    line TEXT NOT NULL,
    size_bytes INTEGER NOT NULL,
    state INTEGER NOT NULL,
    put_at REAL NOT NULL,
    boot_id TEXT,
    uptime_seconds REAL,
    wall_seconds REAL,
    reason TEXT
);
CREATE INDEX run_state ON run (state, seq);
CREATE TABLE boot (boot_id TEXT PRIMARY KEY, offset_seconds REAL NOT NULL, told_at REAL NOT NULL);
CREATE TABLE number (name TEXT PRIMARY KEY, value REAL NOT NULL);
INSERT INTO number VALUES ('run_count', 0), ('size_bytes', 0), ('refused_count', 0), ('told_at', 0);
"""


def connected(path: Path) -> sqlite3.Connection:
    """A connection to a spool; what is another program's file is left as it is."""
    connection = sqlite3.connect(
        path, timeout=BUSY_SECONDS, isolation_level=None, check_same_thread=False
    )
    try:
        if not _is_spool(connection):
            connection.execute("PRAGMA auto_vacuum = INCREMENTAL")
        _write_ahead(connection)
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA journal_size_limit = 4194304")
        connection.execute("BEGIN IMMEDIATE")
        if not _is_spool(connection):
            for statement in _TABLES.split(";"):
                connection.execute(statement)
            connection.execute(f"PRAGMA user_version = {FORM}")
        connection.execute("COMMIT")
    except BaseException:
        connection.close()
        raise
    return connection


def _is_spool(connection: sqlite3.Connection) -> bool:
    """Whether it is one; False for an empty file, which may become one."""
    form = connection.execute("PRAGMA user_version").fetchone()[0]
    if form == 0 and connection.execute("SELECT 1 FROM sqlite_master").fetchone() is None:
        return False
    if form != FORM:
        raise sqlite3.DatabaseError("is no spool of this release")
    return True


def _write_ahead(connection: sqlite3.Connection) -> None:
    """Switch to the write-ahead log; the switch itself does not wait for others, so try again."""
    for attempt in range(50):
        if connection.execute("PRAGMA journal_mode").fetchone()[0] == "wal":
            return
        try:
            connection.execute("PRAGMA journal_mode = WAL")
        except sqlite3.OperationalError:
            time.sleep(0.02 * (attempt + 1))
    raise sqlite3.OperationalError("the write-ahead log could not be switched on")
