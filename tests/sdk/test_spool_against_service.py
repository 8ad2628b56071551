"""The spool and its commands before a real service: down, back again, refusing, and two at once."""

from __future__ import annotations

import json
import secrets
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from burrline import Client, errors
from burrline.models import RunBatchOutcome
from burrline.spool import Spool
from databases import free_port
from services import LiveService, service_environment
from spool_scene import Device


@pytest.fixture
def client(live_service: LiveService) -> Iterator[Client]:
    with Client(live_service.url, live_service.key) as made:
        yield made


@pytest.fixture
def grinder_id(client: Client) -> str:
    return make_grinder(client)


def make_grinder(client: Client, grinder_id: str | None = None) -> str:
    mark = secrets.token_hex(6)
    client.create_site(site_id=f"site-{mark}", name="Mill Lane", time_zone="Europe/Oslo")
    name = grinder_id or f"bar-{mark}"
    client.create_grinder(grinder_id=name, site_id=f"site-{mark}", name="Bar left")
    return name


Command = Callable[..., "subprocess.CompletedProcess[str]"]


@pytest.fixture
def burrline(live_service: LiveService, tmp_path: Path) -> Command:
    """The command line as a process, its spool in this test's folder; ``is_down``: no service."""

    def run(
        *arguments: str, is_down: bool = False, key: str = live_service.key, given: str = ""
    ) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-W", "error", "-m", "burrline", *arguments],
            input=given,
            capture_output=True,
            text=True,
            env=environment(live_service, tmp_path, is_down=is_down, key=key),
            timeout=60,
        )

    return run


def environment(
    service: LiveService, folder: Path, *, is_down: bool = False, key: str | None = None
) -> dict[str, str]:
    return service_environment(
        {
            "BURRLINE_URL": f"http://127.0.0.1:{free_port()}" if is_down else service.url,
            "BURRLINE_KEY": service.key if key is None else key,
            "BURRLINE_SPOOL": str(folder / "runs.spool"),
        }
    )


# --- the commands ---------------------------------------------------------------------------------


def test_a_run_posted_while_the_service_is_down_is_recorded_later_when_it_happened(
    burrline: Command, client: Client, grinder_id: str
) -> None:
    before = datetime.now(UTC)
    posted = burrline(
        *("post", grinder_id, "--grams", "18.2", "--seconds", "7"),
        *("--run-id", f"{grinder_id}-01", "--spool", "--deadline", "0.5"),
        is_down=True,
    )
    after = datetime.now(UTC)
    assert posted.returncode == 75, posted.stderr
    assert "spooled" in posted.stdout
    assert "1 waiting" in posted.stdout
    assert "1 runs wait on disk and can be sent another time" in posted.stderr
    told = json.loads(burrline("spool", "list", "--json").stdout)
    assert (told["waiting"], told["refused_count"], told["not_taken_count"]) == (1, 0, 0)
    (exported,) = burrline("spool", "export").stdout.splitlines()
    assert json.loads(exported)["run_id"] == f"{grinder_id}-01"

    time.sleep(1.5)
    flushed = burrline("spool", "flush")
    assert (flushed.returncode, flushed.stderr) == (0, "")
    run = client.get_run(f"{grinder_id}-01")
    assert (run.grams, run.time_source) == (18.2, "age")
    ended_at = run.started_at + timedelta(seconds=7)
    assert before - timedelta(seconds=1) <= ended_at <= after + timedelta(seconds=0.5)
    assert "0 waiting" in burrline("spool", "flush").stdout


def test_a_refused_run_waits_aside_until_the_reason_is_gone(
    burrline: Command, client: Client
) -> None:
    name = f"new-{secrets.token_hex(6)}"
    posted = burrline("post", name, "--grams", "18", "--run-id", f"{name}-01", "--spool")
    assert posted.returncode == 65
    assert "1 refused" in posted.stdout
    listed = burrline("spool", "list").stdout.splitlines()
    assert listed[0].startswith("0 waiting, 1 refused")
    assert listed[1].startswith(f"{name}-01  rejected: ")
    assert name in listed[1]
    assert len(burrline("spool", "export", "--dead").stdout.splitlines()) == 1
    assert burrline("spool", "requeue", "no-such-run").returncode == 65

    make_grinder(client, name)
    assert burrline("spool", "requeue", f"{name}-01").returncode == 0
    assert burrline("spool", "flush").returncode == 0
    assert client.get_run(f"{name}-01").grams == 18
    assert burrline("spool", "list").stdout.startswith("0 waiting, 0 refused")

    burrline("post", "attic-9", "--grams", "18", "--run-id", f"{name}-02", "--spool")
    assert burrline("spool", "export", "--remove").returncode == 64
    taken_out = burrline("spool", "export", "--dead", "--remove")
    assert json.loads(taken_out.stdout)["run_id"] == f"{name}-02"
    assert burrline("spool", "list").stdout.startswith("0 waiting, 0 refused, 0 bytes")


def test_a_stream_is_recorded_while_it_flows(
    live_service: LiveService, client: Client, grinder_id: str, tmp_path: Path
) -> None:
    process = subprocess.Popen(
        [sys.executable, "-W", "error", "-m", "burrline", "post", "--stdin"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment(live_service, tmp_path),
    )
    assert process.stdin is not None
    line = {"grinder_id": grinder_id, "grams": 18.2, "seconds": 7}
    process.stdin.write(json.dumps({**line, "run_id": f"{grinder_id}-01"}) + "\n")
    process.stdin.flush()
    deadline = time.monotonic() + 30
    while not [*client.list_runs(grinder_id)]:  # the stream is still open
        assert time.monotonic() < deadline
        time.sleep(0.05)
    second = json.dumps({**line, "run_id": f"{grinder_id}-02"})
    other = json.dumps({**line, "run_id": f"{grinder_id}-03", "grinder_id": "attic-9"})
    out, err = process.communicate(f"{{half a line\n[]\n\n{second}\n{other}\n", timeout=60)
    assert process.returncode == 65
    assert [one.partition(":")[0] for one in err.splitlines()] == ["line 2", "line 3"]
    assert out == "3 runs spooled; 2 accepted, 0 known before, 1 refused, 0 waiting\n"
    assert {run.run_id for run in client.list_runs(grinder_id)} == {
        f"{grinder_id}-01",
        f"{grinder_id}-02",
    }


def test_a_stream_while_the_service_is_down_ends_with_75_and_is_all_on_disk(
    burrline: Command, client: Client, grinder_id: str
) -> None:
    lines = [
        json.dumps({"grinder_id": grinder_id, "grams": 1, "run_id": f"{grinder_id}-{number:02}"})
        for number in range(30)
    ]
    given = "\n".join(lines)
    streamed = burrline("post", "--stdin", "--deadline", "0.5", is_down=True, given=given)
    assert streamed.returncode == 75, streamed.stderr
    assert streamed.stdout.startswith("30 runs spooled; 0 accepted")
    assert burrline("spool", "flush").returncode == 0
    assert client.get_status(grinder_id).throughput.grinder_grams == 30


def test_an_id_with_other_content_ends_no_stream(burrline: Command, grinder_id: str) -> None:
    runs = [(f"{grinder_id}-01", 1), (f"{grinder_id}-01", 2), (f"{grinder_id}-02", 3)]
    given = "".join(
        json.dumps({"grinder_id": grinder_id, "run_id": run_id, "grams": grams}) + "\n"
        for run_id, grams in runs
    )
    streamed = burrline("post", "--stdin", "--deadline", "0.5", is_down=True, given=given)
    assert streamed.returncode == 75
    assert f"line 2: another run '{grinder_id}-01'" in streamed.stderr
    assert burrline("spool", "list").stdout.startswith("2 waiting")


def test_a_file_that_is_no_spool_is_73_and_none_at_all_is_66(
    burrline: Command, tmp_path: Path, grinder_id: str
) -> None:
    (tmp_path / "notes.txt").write_text("18 g in 27 s\n" * 500)
    for wrong in (tmp_path / "notes.txt", tmp_path / "nowhere" / "runs.spool"):
        posted = burrline("post", grinder_id, "--grams", "18", "--spool", str(wrong))
        assert (posted.returncode, posted.stdout) == (73, "")
        assert len(posted.stderr.splitlines()) == 1
    for verb in ("list", "flush", "requeue", "export"):
        missing = burrline("spool", verb, "--spool", str(tmp_path / "typo.spool"))
        assert (missing.returncode, missing.stdout) == (66, "")
    assert not (tmp_path / "typo.spool").exists()


def test_a_key_that_is_not_good_is_77_and_the_runs_wait(
    burrline: Command, client: Client, grinder_id: str
) -> None:
    made = client.create_key(name="reads only", scopes=["read"])
    for key, number in (("burrline_wrong", 1), (made.secret, 2)):
        posted = burrline(
            *("post", grinder_id, "--grams", "18", "--run-id", f"{grinder_id}-0{number}"),
            "--spool",
            key=key,
        )
        assert posted.returncode == 77
        assert f"{number} runs wait on disk until the key is mended" in posted.stderr
    assert burrline("spool", "list").stdout.startswith("2 waiting, 0 refused")
    assert burrline("spool", "flush").returncode == 0
    assert len([*client.list_runs(grinder_id)]) == 2


def test_a_grinder_out_of_a_keys_reach_holds_up_no_other(
    live_service: LiveService, client: Client, grinder_id: str, tmp_path: Path
) -> None:
    other_id = make_grinder(client)
    made = client.create_key(name="one grinder", scopes=["runs:write"], grinder_ids=[grinder_id])
    spool = Spool(tmp_path / "runs.spool", Client(live_service.url, made.secret))
    spool.put_all([{"grinder_id": one, "grams": 18} for one in (other_id, grinder_id, other_id)])
    done = spool.flush()
    assert (done.accepted, done.dead) == (1, 2)


# --- one process or many --------------------------------------------------------------------------

PUTTING = """
import sys
from burrline import Client
from burrline.spool import Spool

path, grinder_id, name = sys.argv[1:]
with Client() as client, Spool(path, client) as spool:
    for number in range(150):
        run_id = f"{name}-{number:06}"
        spool.put({"run_id": run_id, "grinder_id": grinder_id, "grams": 0.5})
        if number % 10 == 0:
            spool.flush()
    spool.flush()
"""


def test_processes_put_and_send_through_one_spool_at_once_and_each_run_counts_once(
    live_service: LiveService, client: Client, grinder_id: str, tmp_path: Path
) -> None:
    path = tmp_path / "runs.spool"
    processes = [
        subprocess.Popen(
            [sys.executable, "-W", "error", "-c", PUTTING, str(path), grinder_id, name],
            env=environment(live_service, tmp_path),
        )
        for name in ("left", "right")
    ]
    assert [process.wait(120) for process in processes] == [0, 0]
    held = Spool(path).held()
    assert (held.run_count, held.size_bytes, held.dead_count) == (0, 0, 0)
    runs = [*client.list_runs(grinder_id, limit=200)]
    assert len(runs) == len({run.run_id for run in runs}) == 300
    assert client.get_status(grinder_id).throughput.grinder_grams == 150


# --- devices without a clock, before both kinds of database ---------------------------------------


class LosingAnswers(Client):
    """Every answer to runs is lost on its way back, as long as ``is_losing``."""

    is_losing = True

    def add_runs(self, runs: Iterable[Any], **watched: Any) -> RunBatchOutcome:
        outcome = super().add_runs(runs, **watched)
        if self.is_losing:
            raise errors.TransportError("the answer was lost")
        return outcome


def now_seconds() -> float:
    return datetime.now(UTC).timestamp()


def started_ago(client: Client, run_id: str) -> float:
    return now_seconds() - client.get_run(run_id).started_at.timestamp()


def test_a_device_without_a_good_clock_is_recorded_once_and_its_doubts_are_marked(
    start_service: Callable[..., LiveService], tmp_path: Path
) -> None:
    service = start_service()
    client = LosingAnswers(service.url, service.key)
    make_grinder(client, "bar-1")
    device = Device(wall_seconds=now_seconds())
    spool = Spool(tmp_path / "runs.spool", client, moment=device)

    def put(run_id: str, **more: Any) -> Mapping[str, Any]:
        run = {"run_id": run_id, "grinder_id": "bar-1", "grams": 18, "seconds": 7, **more}
        spool.put(run)
        return run

    def flush(*, is_losing: bool = False) -> tuple[int, int, int]:
        client.is_losing = is_losing
        if is_losing:
            with pytest.raises(errors.TransportError):
                spool.flush()
            return 0, 0, 0
        done = spool.flush()
        return done.accepted, done.duplicates, done.dead

    # sent by its age, the answer is lost; after a reboot sent by its start: one run
    put("age-then-start")
    flush(is_losing=True)
    device.boot("boot-b", now_seconds())
    assert flush() == (0, 1, 0)
    assert client.get_run("age-then-start").time_source == "age"
    assert started_ago(client, "age-then-start") == pytest.approx(7, abs=5)

    # sent by its start, the answer is lost; after two more reboots it is the same start
    put("start-and-again")
    device.boot("boot-c", now_seconds() + 40_000_000)
    flush(is_losing=True)
    device.boot("boot-d", now_seconds() - 40_000_000)
    assert flush() == (0, 1, 0)
    told = client.get_run("start-and-again")
    assert (told.time_source, told.findings) == ("device", ())

    # the service's time in the boot outdoes a wall clock that is two years off
    device.boot("boot-e", now_seconds() - 63_000_000)
    put("first-in-boot")
    assert flush() == (1, 0, 0)
    device.wall_seconds += 3600
    put("by-the-offset")
    device.boot("boot-f", now_seconds())
    assert flush() == (1, 0, 0)
    assert started_ago(client, "by-the-offset") == pytest.approx(7, abs=5)
    assert client.get_run("by-the-offset").time_source == "device"

    # behind what the service has told, and no time of it in this boot: nobody knows, and so it says
    device.boot("boot-g", now_seconds() - 63_000_000)
    put("nobody-knows")
    device.boot("boot-h", now_seconds())
    assert flush() == (1, 0, 0)
    assert client.get_run("nobody-knows").time_source == "received"

    # a clock that is ahead of all: recorded, at the time of receipt, and marked
    device.boot("boot-i", now_seconds() + 300_000_000)
    put("far-ahead")
    device.boot("boot-j", now_seconds())
    assert flush() == (1, 0, 0)
    ahead = client.get_run("far-ahead")
    assert ahead.time_source == "received"
    assert "clock_suspect" in {finding.code for finding in ahead.findings}

    # the same for one that tells its own start, from before there were any
    put("from-1970", started_at="1970-01-01T00:00:05Z")
    assert flush() == (1, 0, 0)
    old = client.get_run("from-1970")
    assert old.time_source == "received"
    assert "clock_suspect" in {finding.code for finding in old.findings}
    assert spool.held().run_count == 0
    assert len([*client.list_runs("bar-1")]) == 7
    assert client.get_status("bar-1").throughput.grinder_grams == 7 * 18


# --- lines that a service does not like -----------------------------------------------------------


def nested(depth: int) -> Any:
    return [nested(depth - 1)] if depth else 1


@pytest.mark.parametrize(
    "odd",
    [
        {"run_id": "x"},
        {"grams": 10**30},
        {"grams": "18"},
        {"grams": None, "seconds": None},
        {"grams": -1},
        {"grinder_id": "Not An Id"},
        {"grinder_id": None},
        {"coffee_lot": "\0"},
        {"coffee_lot": "x" * 30_000},
        {"no_such_member": 1},
        {"brew": nested(100)},
        {"age_seconds": 1e300},
        {"age_seconds": -1},
        {"started_at": "yesterday"},
        {"started_at": "2026-01-01T08:00:00Z", "age_seconds": 5},
        {"uptime_seconds": 5},
        {1: 2},
    ],
    ids=lambda odd: str(odd)[:40],
)
def test_a_line_that_is_refused_is_set_aside_alone(
    client: Client, grinder_id: str, tmp_path: Path, odd: dict[Any, Any]
) -> None:
    spool = Spool(tmp_path / "runs.spool", client)
    good = {"grinder_id": grinder_id, "grams": 18}
    for number in (1, 2, 3):
        spool.put({**good, "run_id": f"{grinder_id}-{number:02}", **(odd if number == 2 else {})})
    done = spool.flush()
    assert (done.accepted, done.dead, spool.held().run_count) == (2, 1, 1)
    (dead,) = spool.dead()
    assert dead.reason
    spool.requeue()
    assert spool.flush().dead == 1


# --- readings -------------------------------------------------------------------------------------


def test_readings_go_through_a_spool_too_among_the_runs(
    client: Client, grinder_id: str, tmp_path: Path
) -> None:
    device = Device()
    spool = Spool(tmp_path / "runs.spool", client, moment=device)
    at = datetime.now(UTC) - timedelta(minutes=5)
    told = {"grinder_id": grinder_id, "motor_celsius": 41.5}
    # a run and a reading may have the same id, and the same reading again is once
    one_id = f"{grinder_id}-01"
    for _ in range(2):
        assert spool.put_reading({**told, "reading_id": one_id, "at": at}) == f"reading:{one_id}"
    assert spool.put({"grinder_id": grinder_id, "run_id": one_id, "grams": 18}) == one_id
    spool.put_reading({**told, "motor_celsius": 9000})
    now = spool.put_reading({**told, "motor_celsius": 43})
    assert now.startswith("reading:")
    done = spool.flush()
    assert (done.sent, done.accepted, done.dead) == (4, 3, 1)
    (dead,) = spool.dead()
    assert dead.run_id.startswith("reading:")
    assert "motor_celsius" in dead.reason
    assert spool.remove([dead.run_id]) == 1
    assert spool.held().run_count == 0
    spool.close()
    readings = [*client.list_readings(grinder_id)]
    assert sorted((one.motor_celsius or 0, one.time_source) for one in readings) == [
        (41.5, "device"), (43, "age"),
    ]  # fmt: skip
    (first,) = (one for one in readings if one.motor_celsius == 41.5)
    assert abs(first.at - at) < timedelta(milliseconds=1)
    assert client.get_run(one_id).grams == 18


def test_a_reading_of_an_earlier_boot_is_placed_by_its_clock(
    client: Client, grinder_id: str, tmp_path: Path
) -> None:
    device = Device()
    spool = Spool(tmp_path / "runs.spool", client, moment=device)
    spool.put_reading({"grinder_id": grinder_id, "motor_celsius": 40})
    read_at = datetime.fromtimestamp(device().wall_seconds, UTC)
    device.boot("boot-b", device.wall_seconds + 600)
    spool.flush()
    spool.close()
    (reading,) = client.list_readings(grinder_id)
    assert abs(reading.at - read_at) < timedelta(seconds=1)
    assert reading.time_source == "device"
