"""A real service for the tests: ``burrline-service serve`` as a process with its own folder."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from databases import bare_environment, free_port
from source_tree import ROOT

START_SECONDS = 30
STOP_SECONDS = 30


def service_command(*arguments: str) -> list[str]:
    """The command line of ``burrline-service`` in this interpreter; its warnings are errors too."""
    return [sys.executable, "-W", "error", "-m", "burrline_service", *arguments]


def service_environment(settings: Mapping[str, str]) -> dict[str, str]:
    """The environment with these BURRLINE settings and no others."""
    paths = os.environ.get("PYTHONPATH", "")
    absolute = os.pathsep.join(str(Path(path).resolve()) for path in paths.split(os.pathsep))
    return {
        **bare_environment(),
        **settings,
        **({"PYTHONPATH": absolute} if paths else {}),
        "NO_PROXY": "127.0.0.1",
        "no_proxy": "127.0.0.1",
        "PYTHONUNBUFFERED": "1",
    }


def run_service_command(
    settings: Mapping[str, str], *arguments: str
) -> subprocess.CompletedProcess[str]:
    """Run one command of ``burrline-service`` to its end."""
    return subprocess.run(
        service_command(*arguments),
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
        env=service_environment(settings),
        cwd=ROOT,
        timeout=60,
    )


@dataclass
class LiveService:
    """A running service: where it answers, a key that may do everything, its process."""

    url: str
    key: str
    process: subprocess.Popen[bytes]
    folder: Path
    settings: dict[str, str] = field(default_factory=dict)

    @property
    def port(self) -> int:
        return int(self.url.rpartition(":")[2])

    @property
    def log(self) -> str:
        return (self.folder / "serve.log").read_text(errors="replace")

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Run another command with this service's settings."""
        return run_service_command(self.settings, *arguments)

    def stop(self) -> None:
        """End it in order; complain about an untidy end or a traceback in its log."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
            try:
                self.process.wait(STOP_SECONDS)
            except subprocess.TimeoutExpired:
                self.kill()
                raise AssertionError(f"serve did not end on SIGTERM: {self.log[-2000:]}") from None
        if self.process.returncode not in (0, -signal.SIGKILL):
            raise AssertionError(f"serve ended with {self.process.returncode}: {self.log[-2000:]}")
        if "Traceback" in self.log or '"traceback"' in self.log:
            raise AssertionError(f"serve logged a traceback: {self.log[-4000:]}")

    def kill(self) -> None:
        """End it and its workers at once, as a power cut would."""
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()


def start_live_service(
    folder: Path, settings: Mapping[str, str], *arguments: str, port: int | None = None
) -> LiveService:
    """Start ``serve`` on a migrated database and wait until it is ready."""
    given = {"BURRLINE_DATA_DIR": str(folder), **settings}
    made = run_service_command(given, "keys", "create", "--name", "tests")
    if made.returncode:
        raise AssertionError(f"no key could be made: {made.stderr}")
    port = free_port() if port is None else port
    with (folder / "serve.log").open("ab") as log:
        process = subprocess.Popen(
            service_command("serve", "--port", str(port), *arguments),
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
            env=service_environment(given),
            cwd=ROOT,
            start_new_session=True,
        )
    service = LiveService(
        f"http://127.0.0.1:{port}", made.stdout.strip(), process, folder, dict(given)
    )
    deadline = time.monotonic() + START_SECONDS
    while not is_ready(service.url):
        if process.poll() is not None or time.monotonic() > deadline:
            if process.poll() is None:
                service.kill()
            raise AssertionError(f"serve did not become ready: {service.log[-4000:]}")
        time.sleep(0.05)
    return service


def is_ready(url: str) -> bool:
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    try:
        with opener.open(f"{url}/readyz", timeout=5) as answer:
            return bool(answer.status == 200)
    except urllib.error.HTTPError as error:
        error.close()
        return False
    except OSError:
        return False
