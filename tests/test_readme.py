"""Every sample in README is run, in its order, against a real service."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from services import LiveService, service_environment
from source_tree import ROOT


def samples() -> list[tuple[str, str]]:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    return re.findall(r"```(\w+)\n(.*?)```", text, re.DOTALL)


def run_sample(kind: str, text: str, service: LiveService) -> str:
    environment = service_environment({"BURRLINE_URL": service.url, "BURRLINE_KEY": service.key})
    if kind == "python":
        command = [sys.executable, "-W", "error", "-c", text]
    else:
        script = re.sub(r"^export .*\n", "", text, flags=re.MULTILINE)
        script = script.replace(".venv/bin/burrline", f"{sys.executable} -m burrline")
        command = ["bash", "-uc", script]
    done = subprocess.run(
        command, env=environment, cwd=ROOT, capture_output=True, text=True, timeout=60
    )
    assert done.stderr == "", done.stderr
    return done.stdout


def test_the_samples_post_a_run_and_read_the_changed_status(
    live_service: LiveService, tmp_path: Path
) -> None:
    (curl, posting), (python, three_lines), (shell, commands), *others = samples()
    mending, proving, turning = (text for _, text in others)
    assert (curl, python, shell) == ("sh", "python", "sh")

    answers = [json.loads(line) for line in run_sample(curl, posting, live_service).splitlines()]
    assert [answer.get("type") for answer in answers] == [None] * 5
    run, status = answers[-2:]
    assert run == {"run_id": "scale-7-000001", "outcome": "accepted", "findings": []}
    assert status["throughput"]["burr_grams"] == 18.2
    assert status["motor"]["reading_celsius"] == 41.5
    assert status["break_in"]["basis"] == "expected"

    assert float(run_sample(python, three_lines, live_service)) == pytest.approx(36.4)

    output = run_sample(shell, commands, live_service)
    assert "bar-1" in output
    now = run_sample(python, three_lines, live_service)
    assert float(now) == pytest.approx(18.2 * 4)  # README posts it twice more

    told = run_sample(shell, mending, live_service)
    throughput, alerts = (json.loads(line) for line in told.splitlines()[-2:])
    assert throughput["by"] == "day"
    assert alerts == {"items": [], "next_cursor": None}
    now = run_sample(python, three_lines, live_service)
    assert float(now) == pytest.approx(18.2 * 4 + 2500)  # one voided, one more, and the tally

    told = run_sample(shell, proving.replace("dose-", f"{tmp_path}/dose-"), live_service)
    assert "reserved, sieve: D50" in told
    assert "1 checkpoint counts so far" in told

    told = run_sample(shell, turning, live_service)
    assert told.count("too_few_checkpoints") == 2  # one setting, one checkpoint
    assert "no_cups" in told


def test_the_two_commands_are_there() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    for command in ("deploy/up", "deploy/test"):
        assert re.search(rf"^    {command} ", text, re.MULTILINE)
        assert Path(ROOT / command).stat().st_mode & 0o111


@pytest.mark.parametrize("position", range(4))
def test_samples_name_no_service_but_the_local_one(position: int) -> None:
    _, text = samples()[position]
    assert not re.search(r"https?://(?!127\.0\.0\.1)", text)
