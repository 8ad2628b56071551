"""The samples of the SDK's README on the spool are run as they stand, in their order."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

from burrline import Client
from services import LiveService, service_environment
from source_tree import ROOT


def samples(heading: str) -> list[tuple[str, str]]:
    text = (ROOT / "sdk" / "README.md").read_text(encoding="utf-8")
    section = text.partition(f"\n## {heading}\n")[2].partition("\n## ")[0]
    return re.findall(r"```(\w+)\n(.*?)```", section, re.DOTALL)


def test_runs_that_never_get_lost_are_recorded(live_service: LiveService, tmp_path: Path) -> None:
    with Client(live_service.url, live_service.key) as client:
        client.create_site(site_id="corner", name="Corner", time_zone="Europe/Lisbon")
        client.create_grinder(grinder_id="bar-1", site_id="corner", name="Left of the till")
        (python, putting), (shell, commands) = samples("Runs that never get lost")
        assert (python, shell) == ("python", "sh")
        environment = service_environment(
            {"BURRLINE_URL": live_service.url, "BURRLINE_KEY": live_service.key}
        )

        def run(*command: str) -> str:
            done = subprocess.run(
                command, env=environment, cwd=tmp_path, capture_output=True, text=True, timeout=60
            )
            assert (done.returncode, done.stderr) == (0, "")
            return done.stdout

        run(sys.executable, "-W", "error", "-c", putting)
        script = re.sub(r"\bburrline (?=post|spool)", f"{sys.executable} -m burrline ", commands)
        told = run("bash", "-euc", script).splitlines()
        assert "0 waiting" in told[0]
        assert told[-2] == "0 waiting, 0 refused, 0 bytes in all"
        assert told[-1] == "0 runs wait again"
        assert client.get_status("bar-1").throughput.grinder_grams == 18.2 + 18.2 + 17.9


def test_every_file_that_is_named_is_there() -> None:
    text = (ROOT / "sdk" / "README.md").read_text(encoding="utf-8")
    named = re.findall(r"\]\((?!https?:)([^)#]+)\)", text)
    assert named
    assert [one for one in named if not (ROOT / "sdk" / one).exists()] == []
    shown = {file.name for file in (ROOT / "sdk" / "examples").iterdir()}
    assert shown == {Path(one).name for one in named if one.startswith("examples/")}
