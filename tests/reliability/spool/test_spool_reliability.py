"""The spool under kills and faults: a little of what the commands beside this file do at length."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))

import full_disk  # noqa: E402

TESTS = HERE.parents[1]


def run(*arguments: str) -> str:
    found = subprocess.run(
        [sys.executable, *arguments],
        capture_output=True,
        text=True,
        cwd=TESTS.parent,
        timeout=240,
    )
    assert found.returncode == 0, f"{found.stdout}\n{found.stderr[-3000:]}"
    return found.stdout


def test_killed_at_every_seventh_statement_nothing_is_lost() -> None:
    assert "nothing lost" in run(str(HERE / "crash_points.py"), "--every", "7")


@pytest.mark.skipif(not full_disk.is_possible(), reason="no small disk can be mounted here")
def test_a_full_disk_is_told_from_other_troubles_and_loses_nothing() -> None:
    assert "nothing lost" in run(str(HERE / "full_disk.py"))


def test_killed_devices_a_killed_service_and_a_broken_network_lose_nothing() -> None:
    assert "all there, once" in run(str(HERE / "torture.py"), "--seeds", "1", "--rounds", "3")


def test_a_planted_bug_is_caught() -> None:
    name = "returns before the run is on disk"
    assert f"caught   {name}" in run(str(HERE / "planted_bugs.py"), "--only", name)
