"""The examples that listen, a scale on a (fake) serial line and a (fake) metering plug, are run."""

from __future__ import annotations

import doctest
import importlib.util
import json
import os
import secrets
import signal
import subprocess
import sys
import termios
import threading
import time
from collections.abc import Callable, Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any

import pytest

from burrline import Client
from burrline.spool import Spool
from services import LiveService, service_environment
from source_tree import ROOT

EXAMPLES = ROOT / "sdk" / "examples"
WAIT_SECONDS = 20
pytest.importorskip("burrline.scale")
pytest.importorskip("burrline.power")


def loaded(name: str) -> Any:
    spec = importlib.util.spec_from_file_location(name, EXAMPLES / f"{name}.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def until(holds: Callable[[], bool], what: str) -> None:
    deadline = time.monotonic() + WAIT_SECONDS
    while not holds():
        assert time.monotonic() < deadline, f"never: {what}"
        time.sleep(0.005)


@pytest.fixture(scope="module")
def client(live_service: LiveService) -> Iterator[Client]:
    with Client(live_service.url, live_service.key) as made:
        made.create_site(site_id="listening", name="Mill Lane", time_zone="UTC")
        yield made


@pytest.fixture
def grinder_id(client: Client) -> str:
    grinder_id = f"ear-{secrets.token_hex(6)}"
    client.create_grinder(grinder_id=grinder_id, site_id="listening", name="Bar")
    return grinder_id


class SampleClock:
    """Time that passes by one step with each sample, so that nobody has to wait."""

    def __init__(self, detector: Any, step_seconds: float) -> None:
        self.now_seconds, self.sample_count = 1000.0, 0
        push = detector.push

        def pushed(t_seconds: float, value: float) -> Any:
            found = push(t_seconds, value)
            self.now_seconds += step_seconds
            self.sample_count += 1
            return found

        detector.push = pushed

    def __call__(self) -> float:
        return self.now_seconds


def scene(low: float, ramp: Callable[[float], float]) -> list[float]:
    """Ten samples a second: three at rest, seven while it runs, four at rest again."""
    at_rest, running = [low] * 30, [ramp(n / 10) for n in range(1, 71)]
    return [*at_rest, *running, *[running[-1]] * 40]


# --- the scale ------------------------------------------------------------------------------------


@pytest.fixture
def line() -> Iterator[tuple[int, str]]:
    """The scale's end of a serial line, and the path of the other end."""
    scale, other = os.openpty()
    yield scale, os.ttyname(other)
    for file in (scale, other):
        os.close(file)


def is_raw(file: int) -> bool:
    """Whether the other end was opened: what was written before that is thrown away."""
    return not termios.tcgetattr(file)[3] & termios.ECHO


def test_runs_of_a_scale_on_a_serial_line_reach_the_service(
    line: tuple[int, str], client: Client, grinder_id: str, tmp_path: Path
) -> None:
    example = loaded("scale_serial")
    scale, path = line
    spool = Spool(tmp_path / "scale.spool", client)
    listener = example.Listener(grinder_id, path, 9600, spool)
    listener.clock = clock = SampleClock(listener.detector, 0.1)
    thread = threading.Thread(target=listener.run, daemon=True)
    thread.start()
    until(lambda: is_raw(scale), "opened")
    # 18.2 g in 7 s into a cup of 250 g, and between the weights what is none
    weights = scene(250.0, lambda seconds: 250 + 2.6 * seconds)
    for number, grams in enumerate(weights):
        noise = 0.01 if number % 3 == 0 else 0.0
        os.write(scale, f" {grams + noise:.2f} g\r\n".encode())
        if number == 20:
            os.write(scale, b"ERR\n" + b"\xff" * 100 + b"\n")
    until(lambda: clock.sample_count >= len(weights), "all samples are heard")
    listener.is_stopping = True
    os.write(scale, b"268.20 g\n")
    thread.join(WAIT_SECONDS)
    assert not thread.is_alive()
    assert (listener.run_count, listener.unreadable_count) == (1, 2)
    spool.flush()
    spool.close()
    (run,) = client.list_runs(grinder_id)
    assert run.grams == pytest.approx(18.2, abs=0.3)
    assert run.seconds == pytest.approx(7.0, abs=0.56)
    assert (run.grams_basis, run.source, run.time_source) == ("weighed_out", "scale", "age")


def test_a_line_that_is_pulled_is_opened_again(
    line: tuple[int, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    example = loaded("scale_serial")
    monkeypatch.setattr(example, "PAUSE_SECONDS", 0.01)
    told: list[str] = []
    monkeypatch.setattr(example, "tell", told.append)
    link = tmp_path / "scale"
    first, other = os.openpty()
    link.symlink_to(os.ttyname(other))
    with Spool(tmp_path / "scale.spool") as spool:
        listener = example.Listener("bar-1", str(link), 9600, spool)
        clock = SampleClock(listener.detector, 0.1)
        thread = threading.Thread(target=listener.run, daemon=True)
        thread.start()
        until(lambda: is_raw(first), "opened")
        os.write(first, b"1.00\n")
        until(lambda: clock.sample_count == 1, "heard")
        os.close(other)
        os.close(first)  # the adapter is pulled
        link.unlink()
        until(lambda: any("trying again" in one for one in told), "told")
        link.symlink_to(line[1])

        until(lambda: is_raw(line[0]), "opened again")
        os.write(line[0], b"2.00\n")
        until(lambda: clock.sample_count == 2, "heard again")
        listener.is_stopping = True
        thread.join(WAIT_SECONDS)
    assert not thread.is_alive()


# --- the plug -------------------------------------------------------------------------------------


class Plug(BaseHTTPRequestHandler):
    """Tells one reading after the other, and remembers everything that was asked of it."""

    answers: Iterator[tuple[int, Any]]
    asked: list[str]
    last: tuple[int, Any] = (200, {"meter": {"watts": 1.2}})

    def do_GET(self) -> None:
        type(self).last = status, body = next(self.answers, self.last)
        self.asked.append(f"{self.command} {self.path}")
        content = json.dumps(body).encode()
        self.send_response(status)
        self.send_header("Content-Length", str(len(content)))
        self.end_headers()
        self.wfile.write(content)

    do_POST = do_PUT = do_GET
    protocol_version = "HTTP/1.1"
    wbufsize = 65536  # head and body in one piece, or each answer waits for an acknowledgement

    def log_message(self, *_: Any) -> None:
        pass


@pytest.fixture
def plug() -> Iterator[tuple[type[Plug], str]]:
    kind = type("Plug", (Plug,), {"answers": iter(()), "asked": []})
    server = HTTPServer(("127.0.0.1", 0), kind)
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    yield kind, f"http://127.0.0.1:{server.server_address[1]}/power"
    server.shutdown()
    thread.join()
    server.server_close()


def test_runs_of_a_metering_plug_reach_the_service_and_it_is_only_asked(
    plug: tuple[type[Plug], str], client: Client, grinder_id: str, tmp_path: Path
) -> None:
    example = loaded("plug_poll")
    kind, url = plug
    watts = [1.2] * 30 + [900.0] + [310.0] * 69 + [1.2] * 40  # 7 s, with the inrush
    answers: list[tuple[int, Any]] = [(200, {"meter": {"watts": one}}) for one in watts]
    answers[10:10] = [(503, {}), (200, []), (200, {"meter": {"watts": "many"}}), (302, {})]
    kind.answers = iter(answers)
    spool = Spool(tmp_path / "plug.spool", client)
    poller = example.Poller(grinder_id, url, "meter.watts", 0.0, spool)
    poller.clock = clock = SampleClock(poller.detector, 0.1)
    thread = threading.Thread(target=poller.run, daemon=True)
    thread.start()
    until(lambda: clock.sample_count >= len(watts), "all readings were asked for")
    poller.stopping.set()
    thread.join(WAIT_SECONDS)
    assert (poller.run_count, poller.missed_count) == (1, 4)
    assert set(kind.asked) == {"GET /power"}
    spool.flush()
    spool.close()
    (run,) = client.list_runs(grinder_id)
    assert run.seconds == pytest.approx(7.0, abs=0.56)
    assert (run.grams, run.source, run.time_source) == (None, "plug", "age")


# --- both -----------------------------------------------------------------------------------------


def test_they_end_in_order_when_told_to(
    plug: tuple[type[Plug], str], line: tuple[int, str], tmp_path: Path
) -> None:
    started = [
        subprocess.Popen(
            [sys.executable, "-W", "error", EXAMPLES / name, "bar-1", where, *more],
            env=service_environment({"BURRLINE_URL": "http://127.0.0.1:9"}),
            stderr=subprocess.PIPE,
            text=True,
            cwd=tmp_path,
        )
        for name, where, *more in (
            ("plug_poll.py", plug[1], "--member", "meter.watts"),
            ("scale_serial.py", line[1]),
        )
    ]
    os.write(line[0], b"no weight\n" * 3)
    until(lambda: plug[0].asked != [] and (tmp_path / "scale.spool").exists(), "started")
    time.sleep(0.3)  # for the second to install its handler
    said = []
    for process in started:
        process.send_signal(signal.SIGTERM)
        said.append(process.communicate(timeout=WAIT_SECONDS)[1])
        assert process.returncode == 0, said
    assert said[0] == "0 runs, 0 questions without an answer\n"
    assert said[1].startswith("0 runs, ")


@pytest.mark.parametrize("name", ["scale_serial", "plug_poll"])
def test_what_they_say_of_themselves_is_so(name: str) -> None:
    found = doctest.testmod(loaded(name))
    assert (found.failed, found.attempted > 0) == (0, True)
    text = (EXAMPLES / f"{name}.py").read_text(encoding="utf-8")
    assert "may start" in text or "can start" in text
