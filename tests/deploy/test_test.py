"""deploy/test names its stages and refuses what it does not know."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from databases import bare_environment
from source_tree import ROOT


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [ROOT / "deploy" / "test", *arguments],
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
        env=bare_environment(),
    )


def stages() -> list[str]:
    return run("--list").stdout.split()


def test_an_unknown_stage_gets_one_line() -> None:
    done = run("lnit")
    assert done.returncode == 64
    assert done.stderr.count("\n") == 1
    assert all(stage in done.stderr for stage in stages())


@pytest.mark.parametrize("stage", [*stages(), "install", "total"])
def test_every_stage_has_its_seconds_in_the_budget(stage: str) -> None:
    rows = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").splitlines()
        if line.startswith("|")
    ]
    budgets = [cells[1] for cells in rows if cells[0] == stage]
    assert len(budgets) == 1
    assert budgets[0].isdigit()


def test_ci_runs_the_one_command_and_nothing_else() -> None:
    text = (Path(ROOT) / ".ci" / "run").read_text()
    commands = [line for line in text.splitlines() if line and not line.startswith("#")]
    assert commands == ['exec "$(dirname "$0")/../deploy/test"']
