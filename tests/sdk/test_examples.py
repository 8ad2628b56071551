"""The examples of the SDK are run, as they stand, against a real service."""

from __future__ import annotations

import csv
import fcntl
import importlib.util
import io
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from burrline import Client
from databases import free_port
from services import LiveService, service_environment
from source_tree import ROOT

EXAMPLES = ROOT / "sdk" / "examples"


@pytest.fixture(scope="module")
def client(live_service: LiveService) -> Iterator[Client]:
    """A chain of two sites, a grinder each; ``hall-1`` has a name that is also a formula."""
    with Client(live_service.url, live_service.key) as made:
        for site_id, grinder_id, name in (
            ("mill-lane", "bar-1", "Left of the till"),
            ("station", "hall-1", "=1+1"),
        ):
            made.create_site(site_id=site_id, name=site_id.title(), time_zone="Europe/Oslo")
            made.create_grinder(
                grinder_id=grinder_id,
                site_id=site_id,
                name=name,
                motor={"sensor": "housing", "caution_celsius": 60, "limit_celsius": 75},
            )
        yield made


def environment(service: LiveService, **more: str) -> dict[str, str]:
    return service_environment({"BURRLINE_URL": service.url, "BURRLINE_KEY": service.key, **more})


def clockless() -> Any:
    spec = importlib.util.spec_from_file_location("clockless", EXAMPLES / "clockless.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


# --- a device without a clock, by curl ------------------------------------------------------------


def test_a_device_of_plain_http_posts_a_run_that_is_placed_by_its_uptime_and_counts_once(
    live_service: LiveService, client: Client
) -> None:
    def post(uptime: str) -> Any:
        done = subprocess.run(
            [EXAMPLES / "device.sh", "bar-1", "17", uptime, "1000.5", "18.2", "7.4"],
            env=environment(live_service),
            capture_output=True,
            text=True,
            timeout=60,
        )
        assert done.returncode == 0, f"{done.stdout}{done.stderr}"
        return json.loads(done.stdout)

    assert post("1090.5")["outcome"] == "accepted"
    assert post("1095.5")["outcome"] == "duplicate"
    run = client.get_run("bar-1:17:1000.5")
    assert (run.grams, run.time_source) == (18.2, "age")
    ago = datetime.now(UTC) - run.started_at
    assert timedelta(seconds=90) <= ago < timedelta(seconds=120)


def test_a_device_of_plain_http_hears_of_a_refusal(live_service: LiveService) -> None:
    done = subprocess.run(
        [EXAMPLES / "device.sh", "attic", "17", "20", "10", "18.2", "7.4"],
        env=environment(live_service),
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 22  # curl's code for an answer of 400 and above
    assert json.loads(done.stdout)["type"] == "urn:burrline:problem:not-found"


# --- a device without a clock, in a few lines of Python -------------------------------------------


def test_the_small_client_keeps_runs_until_the_service_has_answered_for_them(
    live_service: LiveService, client: Client
) -> None:
    outbox = clockless().Outbox("127.0.0.1", free_port(), live_service.key, boot=5, most=30)
    for _ in range(32):
        outbox.put("hall-1", 18.0, 7.5)
    assert (len(outbox.waiting), outbox.not_taken_count) == (30, 2)
    assert outbox.send() is False  # nobody there
    assert len(outbox.waiting) == 30
    outbox.up += 60_000  # a minute goes by
    outbox.port = live_service.port
    assert [outbox.send(), outbox.send(), len(outbox.waiting)] == [True, True, 0]
    runs = [*client.list_runs("hall-1", limit=200)]
    assert {run.run_id for run in runs} == {f"hall-1:5:{number:06}" for number in range(1, 31)}
    assert {run.time_source for run in runs} == {"age"}
    ago = datetime.now(UTC) - runs[0].started_at
    assert timedelta(seconds=60) <= ago < timedelta(seconds=90)

    outbox.put("attic", 18.0, 7.5)
    assert outbox.send() is True
    assert outbox.refused[0]["run_id"] == "attic:5:000031"


@pytest.mark.parametrize(
    "answer",
    [
        b"",
        b"HTTP/1.0 200 OK\r\n\r\n",
        b'HTTP/1.0 200 OK\r\n\r\n{"received": 1, "prob',
        b'HTTP/1.0 200 OK\r\n\r\n{"received": 0, "problems": []}',
        b'HTTP/1.0 503 Busy\r\n\r\n{"received": 1, "problems": []}',
        b"HTTP/1.0 200 OK\r\n\r\n<html>Please sign in",
        b"HTTP/1.0 200 OK\r\n\r\n[]",
    ],
)
def test_the_small_client_lets_go_of_nothing_for_half_an_answer(
    make_sockets: Any, answer: bytes
) -> None:
    outbox = clockless().Outbox("127.0.0.1", make_sockets(answer).port, "key", boot=1)
    outbox.put("bar-1", 18.0, 7.5)
    assert outbox.send() is False
    assert len(outbox.waiting) == 1


def test_the_small_clients_uptime_goes_on_when_the_ticks_begin_anew() -> None:
    ticks = iter([(1 << 30) - 1000, (1 << 30) - 1, 999, 500_000])
    outbox = clockless().Outbox("127.0.0.1", 1, "key", 1, ticks=lambda: next(ticks))
    assert [outbox.uptime_seconds() for _ in range(3)] == [0.999, 1.999, 501.0]


def test_the_small_client_needs_nothing_and_is_small() -> None:
    text = (EXAMPLES / "clockless.py").read_text(encoding="utf-8")
    words = [line.split() for line in text.splitlines()]
    assert {line[1] for line in words if line[:1] in (["import"], ["from"])} == {
        *("json", "socket", "time")
    }
    assert not set(text).intersection(map(chr, range(128, 256)))
    assert sum(bool(line) for line in words) < 60


# --- cron -----------------------------------------------------------------------------------------


@pytest.fixture
def overheat(live_service: LiveService, tmp_path: Path) -> Any:
    """Runs the script as cron would; gives the lines that somebody was told."""
    key_file = tmp_path / "burrline.key"
    key_file.write_text(live_service.key + "\n")

    def run(*, url: str = live_service.url, tell: str | None = None) -> list[str]:
        said = tmp_path / "told.txt"
        said.write_text("")
        settings = {
            "BURRLINE_URL": url,
            "BURRLINE": f"{sys.executable} -m burrline",
            "TELL": tell or f"tee -a {said}",
            "STATE_DIR": str(tmp_path / "state"),
        }
        done = subprocess.run(
            [EXAMPLES / "overheat.sh", "bar-1", key_file],
            env={**service_environment({}), **settings},
            capture_output=True,
            text=True,
            timeout=60,
        )
        assert done.stderr == ""
        assert done.returncode == (0 if tell is None else 75)
        return said.read_text().splitlines()

    return run


def test_the_cron_script_tells_of_an_overheated_motor_once_and_when_it_is_well_again(
    client: Client, overheat: Any
) -> None:
    def read(celsius: float) -> None:
        client.add_readings([{"grinder_id": "bar-1", "motor_celsius": celsius, "age_seconds": 0}])

    read(41)
    assert overheat() == []
    read(65)
    assert overheat() == []  # warm is no news
    read(82)
    (line,) = overheat(tell="false") or [None]
    assert line is None  # nobody heard it
    (line,) = overheat()
    assert line.startswith("CRITICAL - bar-1: motor over, 82.0 of 75 C")
    assert "unplug it before touching it" in line
    assert overheat() == []
    (unknown,) = overheat(url=f"http://127.0.0.1:{free_port()}")
    assert unknown.startswith("UNKNOWN")
    assert len(overheat()) == 1  # still too hot
    read(40)
    (line,) = overheat()
    assert line.startswith("OK - bar-1: motor ok, 40.0 of 75 C")


def test_the_cron_script_never_runs_twice_at_once(overheat: Any, tmp_path: Path) -> None:
    (tmp_path / "state").mkdir()
    nowhere = f"http://127.0.0.1:{free_port()}"
    with (tmp_path / "state" / "overheat-bar-1.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        assert overheat(url=nowhere) == []  # it did not even ask
    (line,) = overheat(url=nowhere)
    assert line.startswith("UNKNOWN")


# --- the chain ------------------------------------------------------------------------------------


def test_the_report_of_a_chain_is_a_table_of_every_grinder(
    live_service: LiveService, client: Client
) -> None:
    client.fit_burr_set(
        "bar-1",
        burr_set_id="flat-64",
        geometry="flat",
        diameter_millimetres=64,
        prior_grams=0,
        fitted_at=datetime.now(UTC) - timedelta(hours=1),
    )
    client.add_run(grinder_id="bar-1", grams=1234, seconds=300)
    done = subprocess.run(
        [sys.executable, "-W", "error", EXAMPLES / "chain_report.py"],
        env=environment(live_service),
        capture_output=True,
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    rows = [*csv.DictReader(io.StringIO(done.stdout.decode(), newline=""))]
    assert [(row["site_id"], row["grinder_id"], row["name"]) for row in rows] == [
        ("mill-lane", "bar-1", "Left of the till"),
        ("station", "hall-1", "'=1+1"),
    ]
    assert (rows[0]["burr_set_id"], rows[1]["burr_kilograms"]) == ("flat-64", "")
    status = client.get_status("bar-1")
    assert status.throughput.burr_grams is not None and status.throughput.burr_grams >= 1234
    assert float(rows[0]["burr_kilograms"]) * 1000 == pytest.approx(
        status.throughput.burr_grams, abs=0.51
    )  # shown in whole grams
    assert rows[0]["motor"] == status.motor.state


def test_a_report_that_cannot_be_made_is_no_half_of_one(live_service: LiveService) -> None:
    done = subprocess.run(
        [sys.executable, EXAMPLES / "chain_report.py"],
        env={**environment(live_service), "BURRLINE_KEY": "burrline_wrong"},
        capture_output=True,
        timeout=60,
    )
    assert (done.returncode, done.stdout) == (69, b"")


def test_no_example_does_more_than_post_and_ask() -> None:
    for file in EXAMPLES.glob("*.*"):
        text = file.read_text(encoding="utf-8")
        assert os.access(file, os.X_OK) == (file.suffix == ".sh")
        assert "127.0.0.1" in text or file.name == "clockless.py"
