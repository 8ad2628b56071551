"""Two processes write one SQLite file: our way in loses nothing; the usual ways do.

Source: SQLite manual, "Isolation" and "BEGIN": a deferred transaction that read before it writes
fails with SQLITE_BUSY when another has written meanwhile; BEGIN IMMEDIATE takes the write lock at
once. Python manual, ``sqlite3``: by default no transaction is begun before a SELECT.
"""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from reliability import increment
from services import service_environment

COUNT = 150


def count_in_two(path: Path, manner: str) -> tuple[int, int, int]:
    """How often two processes counted up, how often they were refused, what the file says."""
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("CREATE TABLE counter (number INTEGER NOT NULL)")
    connection.execute("INSERT INTO counter VALUES (0)")
    connection.commit()
    connection.close()
    writers = [
        subprocess.Popen(
            [sys.executable, "-W", "error", increment.__file__, str(path), manner, str(COUNT)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=service_environment({}),
        )
        for _ in range(2)
    ]
    for writer in writers:
        assert writer.stdout is not None
        assert writer.stdout.readline() == "ready\n"
    for writer in writers:
        assert writer.stdin is not None
        writer.stdin.write("go\n")
        writer.stdin.flush()
    done = refused = 0
    for writer in writers:
        out, complaint = writer.communicate(timeout=120)
        assert (writer.returncode, complaint) == (0, "")
        done += int(out.split()[0])
        refused += int(out.split()[1])
    connection = sqlite3.connect(path)
    (number,) = connection.execute("SELECT number FROM counter").fetchone()
    connection.close()
    return done, refused, number


def test_our_way_in_loses_nothing_and_refuses_nothing(tmp_path: Path) -> None:
    assert count_in_two(tmp_path / "counter.db", "ours") == (2 * COUNT, 0, 2 * COUNT)


@pytest.mark.parametrize("manner", ["deferred", "driver"])
def test_the_usual_ways_lose_or_fail_so_the_test_above_can(tmp_path: Path, manner: str) -> None:
    done, refused, number = count_in_two(tmp_path / "counter.db", manner)
    assert done + refused == 2 * COUNT
    assert number < 2 * COUNT
    if manner == "deferred":
        assert refused > 0
        assert number == done
    else:
        assert number < done
