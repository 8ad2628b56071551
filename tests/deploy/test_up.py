"""deploy/up sets up, runs, shows, and leaves nothing behind."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from burrline import Client
from databases import bare_environment, free_port
from source_tree import ROOT

START_SECONDS = 300  # the first time it installs
STOP_SECONDS = 60
LAST_LINE = "Ctrl-C stops everything"


class Up:
    """A running deploy/up with a data folder of its own; its output is read as it comes."""

    def __init__(self, folder: Path, *arguments: str) -> None:
        self.folder = folder
        self.port = free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        self.process = subprocess.Popen(
            [ROOT / "deploy" / "up", "--port", str(self.port), *arguments],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            env=environment(folder),
            text=True,
            start_new_session=True,
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
        )
        self.output = ""
        self._reader = threading.Thread(target=self._read)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        with self.process.stdout as lines:
            for line in lines:
                self.output += line

    def wait_until_shown(self) -> None:
        deadline = time.monotonic() + START_SECONDS
        while LAST_LINE not in self.output:
            assert self.process.poll() is None, self.output
            assert time.monotonic() < deadline, self.output
            time.sleep(0.1)

    def wait_for_end(self) -> int:
        """Its exit code; its output is whole only when every child has let go of it."""
        code = self.process.wait(STOP_SECONDS)
        self._reader.join(STOP_SECONDS)
        return code

    def children(self) -> list[int]:
        """The processes of its session that still live."""
        found = subprocess.run(
            ["ps", "-o", "pid=,stat=", "-s", str(self.process.pid)],
            capture_output=True,
            text=True,
        ).stdout
        rows = [line.split() for line in found.splitlines()]
        return [int(pid) for pid, state in rows if not state.startswith("Z")]

    def end(self) -> None:
        if self.process.poll() is None:
            os.killpg(self.process.pid, signal.SIGTERM)
            self.process.wait(STOP_SECONDS)
        self._reader.join(STOP_SECONDS)


def environment(folder: Path) -> dict[str, str]:
    return {**bare_environment(), "BURRLINE_DATA_DIR": str(folder)}


@pytest.fixture
def start_up(tmp_path: Path) -> Iterator[Callable[..., Up]]:
    started: list[Up] = []

    def start(*arguments: str) -> Up:
        started.append(Up(tmp_path / "data", *arguments))
        return started[-1]

    yield start
    for up in started:
        up.end()


def test_a_first_start_shows_the_fleet_and_later_ones_keep_it_until_they_end(
    start_up: Callable[..., Up],
) -> None:
    """One fleet is posted for all of it: posting takes most of the time of a start."""
    first = start_up()
    first.wait_until_shown()
    key_file = first.folder / "demo.key"
    key = key_file.read_text().strip()
    assert key_file.stat().st_mode & 0o777 == 0o600
    assert first.folder.stat().st_mode & 0o077 == 0
    fleet = list(Client(first.url, key).get_fleet())
    assert len(fleet) >= 24
    assert all(status.grinder_id in first.output for status in fleet)

    taken = subprocess.run(
        [ROOT / "deploy" / "up", "--port", str(first.port)],
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
        env=environment(first.folder),
    )
    assert taken.returncode == 69
    assert re.fullmatch(r"deploy/up: port \d+ on 127\.0\.0\.1 is taken; .*\n", taken.stderr)

    if shutil.which("curl") is not None:
        command = re.search(r"^curl .*\\\n.*$", first.output, re.MULTILINE)
        assert command is not None
        answered = subprocess.run(
            ["sh", "-c", command[0]],
            capture_output=True,
            text=True,
            env=environment(first.folder),
        )
        assert json.loads(answered.stdout)["outcome"] == "accepted"

    os.killpg(first.process.pid, signal.SIGINT)  # what Ctrl-C does
    assert first.wait_for_end() == 130
    assert first.children() == []

    second = start_up()
    second.wait_until_shown()
    assert "posting the demo fleet" not in second.output
    assert key_file.read_text().strip() == key
    second.process.send_signal(signal.SIGTERM)
    assert second.wait_for_end() == 143
    assert second.children() == []

    third = start_up()  # a child that dies ends the whole with its last words
    third.wait_until_shown()
    found = subprocess.run(
        ["pgrep", "-s", str(third.process.pid), "-f", "burrline-service work"],
        capture_output=True,
        text=True,
    )
    os.kill(int(found.stdout.split()[0]), signal.SIGKILL)
    assert third.wait_for_end() == 70
    assert "'burrline-service work' ended with status 137" in third.output
    assert "work begins" in third.output
    assert third.children() == []


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        (["--port", "coffee"], "is not a port number"),
        (["--port"], "--port needs a value"),
        (["--prot", "8460"], "unknown argument '--prot'"),
    ],
)
def test_wrong_usage_gets_one_line(arguments: list[str], complaint: str) -> None:
    done = subprocess.run(
        [ROOT / "deploy" / "up", *arguments], capture_output=True, text=True, env=bare_environment()
    )
    assert done.returncode == 64
    assert complaint in done.stderr
    assert done.stderr.count("\n") == 1


@pytest.mark.parametrize(
    ("python", "complaint"),
    [
        ("exit 1", r"burrline needs Python 3\.11 or newer, .* apt install python3 python3-venv\)"),
        (
            f'case "$*" in *venv*|*virtualenv*) exit 1 ;; esac; exec {sys.executable} "$@"',
            r".*/python3 cannot make a virtual environment \(Debian: apt install python3-venv\)",
        ),
    ],
    ids=["too old a Python", "a Python without venv"],
)
def test_a_machine_that_lacks_something_gets_one_line(
    python: str, complaint: str, tmp_path: Path
) -> None:
    copy = tmp_path / "project"
    (copy / "deploy").mkdir(parents=True)
    for name in ("up", "venv.sh"):
        shutil.copy(ROOT / "deploy" / name, copy / "deploy")
    programs = tmp_path / "bin"
    programs.mkdir()
    for name in ("bash", "sh", "dirname", "basename", "cat", "rm", "sed"):
        found = shutil.which(name)
        assert found is not None
        (programs / name).symlink_to(found)
    (programs / "python3").write_text(f"#!/bin/sh\n{python}\n")
    (programs / "python3").chmod(0o755)
    done = subprocess.run(
        [programs / "bash", copy / "deploy" / "up"],
        capture_output=True,
        text=True,
        env={"PATH": str(programs)},
    )
    assert done.returncode == 69
    assert re.fullmatch(rf"deploy/up: {complaint}\n", done.stderr)


def test_a_port_is_taken_by_whoever_listens_there(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        done = subprocess.run(
            [ROOT / "deploy" / "up", "--port", str(port)],
            capture_output=True,
            text=True,
            stdin=subprocess.DEVNULL,
            env=environment(tmp_path),
        )
    assert done.returncode == 69
    assert f"port {port} on 127.0.0.1 is taken" in done.stderr
    assert not (tmp_path / "burrline.db").exists(), "nothing may be made for a start that fails"
