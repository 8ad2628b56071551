"""The samples of the SDK's README are run as they stand, in their order."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from burrline import Client
from burrline._mqtt_messages import run_or_reading
from services import LiveService, service_environment
from source_tree import ROOT


def samples(heading: str) -> list[tuple[str, str]]:
    text = (ROOT / "sdk" / "README.md").read_text(encoding="utf-8")
    marks = heading.partition(" ")[0]
    section = re.split(rf"\n#{{2,{len(marks)}}} ", text.partition(f"\n{heading}\n")[2])[0]
    return re.findall(r"```(\w+)\n(.*?)```", section, re.DOTALL)


def test_a_stranger_gets_from_nothing_to_a_status_a_notebook_and_a_spool(
    live_service: LiveService, tmp_path: Path
) -> None:
    environment = service_environment(
        {"BURRLINE_URL": live_service.url, "BURRLINE_KEY": live_service.key}
    )

    def run(*command: str) -> str:
        done = subprocess.run(
            command, env=environment, cwd=tmp_path, capture_output=True, text=True, timeout=60
        )
        assert (done.returncode, done.stderr) == (0, "")
        return done.stdout

    def shell(text: str) -> str:
        ours = f"{sys.executable} -m burrline "
        return run("bash", "-euc", re.sub(r"(^|\| )burrline ", rf"\1{ours}", text, flags=re.M))

    (_, beginning), (kind, notebook), (_, importing) = samples("## In ten minutes")[:3]
    assert kind == "text"
    (tmp_path / "notebook.csv").write_text(notebook, encoding="utf-8")
    told = shell(beginning + importing)
    assert "flat-64-a: 0.02 kg weighed in 1 runs here" in told
    assert "2 new (dry run: nothing was sent)" in told
    assert "2 recorded" in told
    assert "2 known" in told
    assert re.search(r"^2026-02-02 +22\.25 ", told, re.M)  # the week from Monday on

    (python, putting), (_, commands) = samples("## Runs that never get lost")[:2]
    assert python == "python"
    run(sys.executable, "-W", "error", "-c", putting)
    lines = shell(commands).splitlines()
    assert "0 waiting" in lines[0]
    assert lines[-2] == "0 waiting, 0 refused, 0 bytes in all"
    assert lines[-1] == "0 runs wait again"
    with Client(live_service.url, live_service.key) as client:
        status = client.get_status("bar-1")
    grams = 18.2 + 12_500 + 9_750 + 18.2 + 18.2 + 17.9
    assert status.throughput.grinder_grams == pytest.approx(grams, abs=1e-6)


def test_the_detectors_sample_finds_its_run(capsys: pytest.CaptureFixture[str]) -> None:
    pytest.importorskip("burrline.scale")
    ((_, sample),) = samples("### A scale on a serial line")
    exec(compile(sample, "README", "exec"), {})
    found = re.fullmatch(r"([\d.]+) g in ([\d.]+) s, .*\n", capsys.readouterr().out)
    assert found is not None
    assert float(found[1]) == pytest.approx(18.2, abs=0.3)
    assert float(found[2]) == pytest.approx(7.0, abs=0.56)


def test_the_brokers_payloads_are_taken() -> None:
    text = (ROOT / "sdk" / "README.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `(burrline/\S+)` \| `(.*)` \|$", text, re.M)
    kinds = [
        run_or_reading(topic, payload.encode(), prefix="burrline", is_retained=False,
                       trusts_arrival=False)[0]
        for topic, payload in rows
    ]  # fmt: skip
    assert kinds == ["run", "reading"]


def test_every_file_that_is_named_is_there() -> None:
    text = (ROOT / "sdk" / "README.md").read_text(encoding="utf-8")
    named = re.findall(r"\]\((?!https?:)([^)#]+)\)", text)
    assert named
    assert [one for one in named if not (ROOT / "sdk" / one).exists()] == []
    shown = {file.name for file in (ROOT / "sdk" / "examples").glob("*.*")}
    assert shown == {Path(one).name for one in named if one.startswith("examples/")}


def test_the_plugs_sample_finds_its_run(capsys: pytest.CaptureFixture[str]) -> None:
    ((_, sample),) = samples("### A metering plug")
    exec(compile(sample, "README", "exec"), {})
    seconds, least, most = map(float, re.findall(r"[\d.]+(?= )", capsys.readouterr().out))
    assert least <= seconds <= most
    assert seconds == pytest.approx(12.0, abs=0.5)
