"""The spool: what is put is on disk, is sent until it is answered for, and counts once."""

from __future__ import annotations

import json
import multiprocessing
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import requests
import responses

from burrline import Client, errors
from burrline.spool import Spool, SpoolConflict, SpoolError, SpoolFull
from spool_scene import BATCH, MONDAY, RUN, Answering, Device


@pytest.fixture
def device() -> Device:
    return Device()


@pytest.fixture
def service(wire: responses.RequestsMock) -> Answering:
    wire.assert_all_requests_are_fired = False
    answering = Answering()
    wire.add_callback(responses.POST, BATCH, callback=answering)
    return answering


@pytest.fixture
def spool(tmp_path: Path, client: Client, device: Device) -> Spool:
    return Spool(tmp_path / "runs.spool", client, moment=device)


def without_times(line: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in line.items() if name not in ("age_seconds",)}


# --- taking -------------------------------------------------------------------------------------


def test_a_run_that_was_put_is_there_for_another_process(spool: Spool, tmp_path: Path) -> None:
    assert spool.put(RUN) == "bar-1-000001"
    connection = sqlite3.connect(tmp_path / "runs.spool")
    assert connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert connection.execute("SELECT run_id FROM run").fetchall() == [("bar-1-000001",)]
    connection.close()
    assert spool.waiting() == [RUN]
    held = spool.held()
    assert (held.run_count, held.dead_count, held.refused_count) == (1, 0, 0)


def test_it_is_flushed_to_the_disk_with_every_put(spool: Spool) -> None:
    with spool._store.reading() as connection:
        (level,) = connection.execute("PRAGMA synchronous").fetchone()
    assert level == 2  # FULL


def test_the_same_run_twice_is_once_and_another_under_its_id_is_refused(spool: Spool) -> None:
    assert [spool.put(RUN), spool.put({**RUN, "age_seconds": 20})] == ["bar-1-000001"] * 2
    with pytest.raises(SpoolConflict, match="bar-1-000001"):
        spool.put({**RUN, "grams": 19})
    assert spool.held().run_count == 1


def test_a_run_without_an_id_gets_one(spool: Spool) -> None:
    first, second = spool.put_all([{"grinder_id": "bar-1", "grams": 18}] * 2)
    assert len(first) == 36 and first != second


@pytest.mark.parametrize(
    "run", [{"grams": float("nan")}, {"run_id": 7}, {"note": "x" * 70_000}, {"grams": object()}]
)
def test_what_cannot_be_sent_is_not_taken(spool: Spool, run: dict[str, Any]) -> None:
    with pytest.raises((ValueError, TypeError)):
        spool.put({**RUN, **run})
    assert spool.held().run_count == 0


def test_a_full_spool_takes_nothing_more_and_counts_it(tmp_path: Path) -> None:
    spool = Spool(tmp_path / "runs.spool", most_runs=2)
    spool.put_all([{"grams": 1}, {"grams": 2}])
    with pytest.raises(SpoolFull, match="2 runs"):
        spool.put({"grams": 3})
    with pytest.raises(SpoolFull):
        spool.put_all([{"grams": 4}, {"grams": 5}])
    assert [line["grams"] for line in spool.waiting()] == [1, 2]
    assert spool.held().refused_count == 3
    small = Spool(tmp_path / "small.spool", most_bytes=10)
    with pytest.raises(SpoolFull, match="10 bytes"):
        small.put(RUN)


def test_a_full_disk_is_said_and_what_was_taken_stays(spool: Spool) -> None:
    spool.put(RUN)
    with spool._store.reading() as connection:
        pass  # the one that is used from here on
    (pages,) = connection.execute("PRAGMA page_count").fetchone()
    connection.execute(f"PRAGMA max_page_count = {pages}")
    taken = 1

    def put_until_full() -> None:
        nonlocal taken
        for number in range(2, 2000):
            spool.put({**RUN, "run_id": f"bar-1-{number:06}", "coffee_lot": "x" * 100})
            taken += 1

    with pytest.raises(SpoolFull):
        put_until_full()
    connection.execute("PRAGMA max_page_count = 1000000")
    assert len(spool.waiting(limit=5000)) == taken == spool.held().run_count
    assert spool.held().refused_count == 1  # not on the disk yet, which had no room for that
    spool.put({**RUN, "run_id": "bar-1-999999"})
    assert Spool(spool._path).held().refused_count == 1


def test_a_file_that_is_no_spool_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("Espresso: 18 g in 27 s\n" * 100)
    with pytest.raises(SpoolError, match="notes"):
        Spool(tmp_path / "notes.txt")
    assert (tmp_path / "notes.txt").read_text().startswith("Espresso")
    other = sqlite3.connect(tmp_path / "other.db")
    other.execute("CREATE TABLE run (seq INTEGER)")
    other.commit()
    other.close()
    with pytest.raises(SpoolError, match="no spool"):
        Spool(tmp_path / "other.db")


def test_only_a_refused_run_can_be_removed_and_its_id_is_free_again(
    spool: Spool, service: Answering
) -> None:
    service.problems = {"bar-1-000001": "rejected"}
    spool.put_all([RUN, {**RUN, "run_id": "bar-1-000002"}])
    spool.flush()
    spool.put({**RUN, "run_id": "bar-1-000003"})
    with pytest.raises(SpoolConflict, match="bar-1-000001' was refused"):
        spool.put({**RUN, "grams": 19})
    assert spool.remove(["bar-1-000001", "bar-1-000003", "no-such-run"]) == 1
    spool.put({**RUN, "grams": 19})
    assert [line["run_id"] for line in spool.waiting()] == ["bar-1-000003", "bar-1-000001"]
    assert (spool.held().run_count, spool.held().dead_count) == (2, 0)
    spool.requeue()
    service.problems = {}
    spool.flush()
    assert spool.held().size_bytes == 0


# --- sending ------------------------------------------------------------------------------------


def test_it_sends_the_oldest_first_and_lets_go_of_what_is_answered(
    spool: Spool, service: Answering
) -> None:
    for number in range(1200):
        spool.put({"run_id": f"bar-1-{number:06}", "grinder_id": "bar-1", "grams": number})
    done = spool.flush()
    assert (done.sent, done.accepted, done.dead) == (1200, 1200, 0)
    assert [line["grams"] for line in service.got] == [*range(1200)]
    held = spool.held()
    assert (held.run_count, held.size_bytes) == (0, 0)


def test_requests_are_kept_short_in_bytes_too(
    spool: Spool, service: Answering, wire: responses.RequestsMock
) -> None:
    runs = [{**RUN, "run_id": f"bar-1-{n:06}", "coffee_lot": "x" * 60_000} for n in range(10)]
    spool.put_all(runs)
    assert spool.flush().accepted == 10
    assert [line["run_id"] for line in service.got] == [run["run_id"] for run in runs]
    sizes = [len(call.request.body or b"") for call in wire.calls]
    assert max(sizes) <= 256 * 1024
    assert len(sizes) == 3  # four of them fit one request


def test_a_refused_run_is_set_aside_with_its_reason_and_can_be_sent_again(
    spool: Spool, service: Answering
) -> None:
    service.problems = {"bar-1-000002": "rejected", "bar-1-000003": "conflict"}
    spool.put_all([{**RUN, "run_id": f"bar-1-{number:06}"} for number in range(1, 5)])
    done = spool.flush()
    assert (done.sent, done.accepted, done.dead) == (4, 2, 2)
    dead = spool.dead()
    assert [one.run_id for one in dead] == ["bar-1-000002", "bar-1-000003"]
    assert dead[0].reason == "rejected: no grinder named 'bar-9'"
    assert (spool.held().run_count, spool.held().dead_count) == (2, 2)
    assert spool.flush().sent == 0
    service.problems = {}
    assert spool.requeue(["bar-1-000002"]) == 1
    assert spool.flush().accepted == 1
    assert (spool.requeue(), spool.requeue(["bar-1-000002"])) == (1, 0)
    assert spool.flush().accepted == 1
    assert spool.held().run_count == 0


@pytest.mark.parametrize(
    "answer",
    [
        {"received": 1, "accepted": 1, "duplicates": 0, "conflicts": 0, "rejected": 0},
        {"received": 2, "accepted": 1, "duplicates": 0, "conflicts": 0, "rejected": 0},
        {"received": 2, "accepted": 1, "duplicates": 0, "conflicts": 0, "rejected": 1},
    ],
)
def test_an_answer_that_does_not_add_up_lets_go_of_nothing(
    spool: Spool, wire: responses.RequestsMock, answer: dict[str, int]
) -> None:
    wire.post(BATCH, json={**answer, "problems": []})
    spool.put_all([RUN, {**RUN, "run_id": "bar-1-000002"}])
    with pytest.raises(errors.TransportError):
        spool.flush()
    assert spool.held().run_count == 2
    assert spool.held().dead_count == 0


@pytest.mark.parametrize("status", [401, 403, 404, 429, 500, 503])
def test_a_refusal_of_the_client_stops_the_flush_and_touches_nothing(
    tmp_path: Path,
    make_client: Callable[..., Client],
    wire: responses.RequestsMock,
    status: int,
) -> None:
    wire.post(BATCH, status=status, json={"type": "urn:burrline:problem:some", "title": "No"})
    spool = Spool(tmp_path / "runs.spool", make_client(deadline_seconds=0.1))
    spool.put(RUN)
    with pytest.raises(errors.APIError) as caught:
        spool.flush()
    assert caught.value.flushed.sent == 0  # type: ignore[attr-defined]
    assert (spool.held().run_count, spool.held().dead_count) == (1, 0)


def test_a_page_of_a_guest_network_is_no_answer(
    tmp_path: Path, make_client: Callable[..., Client], wire: responses.RequestsMock
) -> None:
    wire.post(BATCH, body="<html>Welcome! Please sign in.</html>", content_type="text/html")
    wire.post(BATCH, status=400, body="<html>Bad Request</html>", content_type="text/html")
    spool = Spool(tmp_path / "runs.spool", make_client(deadline_seconds=0.1))
    spool.put(RUN)
    for _ in range(2):
        with pytest.raises(errors.APIError):
            spool.flush()
    assert (spool.held().run_count, spool.held().dead_count) == (1, 0)


def test_a_line_that_spoils_its_request_is_found_by_halving(
    tmp_path: Path, client: Client, wire: responses.RequestsMock
) -> None:
    answering = Answering()

    def one_is_poison(request: requests.PreparedRequest) -> tuple[int, dict[str, str], str]:
        if b"bar-1-000037" in bytes(request.body or b""):  # type: ignore[arg-type]
            problem = {"type": "urn:burrline:problem:not-json", "title": "The body is not JSON"}
            return 400, {}, json.dumps(problem)
        return answering(request)

    wire.add_callback(responses.POST, BATCH, callback=one_is_poison)
    spool = Spool(tmp_path / "runs.spool", client)
    spool.put_all([{**RUN, "run_id": f"bar-1-{number:06}"} for number in range(100)])
    done = spool.flush()
    assert (done.accepted, done.dead) == (99, 1)
    assert [one.run_id for one in spool.dead()] == ["bar-1-000037"]
    assert len(answering.seen) == 99


def test_a_spool_without_a_client_cannot_send(tmp_path: Path) -> None:
    spool = Spool(tmp_path / "runs.spool")
    for send in (spool.flush, spool.start):
        with pytest.raises(ValueError, match="no client"):
            send()


def test_it_sends_in_the_background_what_is_put(
    tmp_path: Path, client: Client, service: Answering
) -> None:
    with Spool(tmp_path / "runs.spool", client) as spool:
        for number in range(20):
            spool.put({**RUN, "run_id": f"bar-1-{number:06}"})
        for _ in range(500):
            if not spool.held().run_count:
                break
            multiprocessing.Event().wait(0.02)
    assert len(service.seen) == 20
    assert [line["run_id"] for line in service.got] == sorted(service.seen)


# --- time ---------------------------------------------------------------------------------------


def test_a_run_that_waits_is_sent_with_its_age_whatever_the_wall_clock_does(
    spool: Spool, service: Answering, device: Device
) -> None:
    spool.put(RUN)  # lasted 7 s and has just ended
    spool.put({**RUN, "run_id": "bar-1-000002", "age_seconds": 60})
    device.pass_by(30)
    device.wall_seconds -= 86_400 * 300
    spool.flush()
    assert [line["age_seconds"] for line in service.got] == [37, 90]
    assert [without_times(line) for line in service.got] == [
        RUN,
        {**RUN, "run_id": "bar-1-000002"},
    ]


def test_a_run_that_tells_its_own_time_is_sent_as_it_is(spool: Spool, service: Answering) -> None:
    told = {**RUN, "started_at": "2026-01-01T07:00:00Z"}
    placed = {**RUN, "run_id": "bar-1-000002", "boot_id": "7", "uptime_seconds": 12.5}
    spool.put_all([told, placed])
    spool.flush()
    assert service.got == [told, placed]


def test_after_a_reboot_a_run_is_placed_by_what_the_service_told_in_its_boot(
    spool: Spool, service: Answering, device: Device
) -> None:
    service.date = "Thu, 01 Jan 2026 12:00:00 GMT"
    device.wall_seconds = MONDAY - 86_400 * 200  # the clock stood still while the power was off
    spool.put(RUN)
    spool.flush()  # at 100 s of uptime it was 12:00:00 there
    device.pass_by(60)
    spool.put({**RUN, "run_id": "bar-1-000002"})  # started at 153 s of uptime: 12:00:53
    device.boot("boot-b", MONDAY - 86_400 * 199)
    service.got.clear()
    spool.flush()
    (line,) = service.got
    assert line["started_at"].startswith("2026-01-01T12:00:53")
    assert "age_seconds" not in line


def test_after_a_reboot_without_that_the_wall_clock_has_to_do_unless_it_was_wrong(
    spool: Spool, service: Answering, device: Device
) -> None:
    spool.put(RUN)
    device.boot("boot-b", MONDAY + 600)
    service.date = "Thu, 01 Jan 2026 08:10:00 GMT"
    spool.flush()
    assert service.got[-1]["started_at"] == "2026-01-01T07:59:53.000Z"
    device.boot("boot-c", MONDAY - 86_400)  # behind what the service told before
    spool.put({**RUN, "run_id": "bar-1-000002"})
    device.boot("boot-d", MONDAY + 900)
    spool.flush()
    assert "started_at" not in service.got[-1]
    assert service.got[-1]["boot_id"] == "boot-c"


def test_a_start_that_was_worked_out_stays_the_same_for_every_try(
    tmp_path: Path, make_client: Callable[..., Client], wire: responses.RequestsMock
) -> None:
    device, answering = Device(), Answering()
    wire.post(BATCH, status=503)
    wire.add_callback(responses.POST, BATCH, callback=answering)
    spool = Spool(tmp_path / "runs.spool", make_client(deadline_seconds=0.1), moment=device)
    spool.put(RUN)
    device.boot("boot-b", MONDAY + 600)
    with pytest.raises(errors.ServerError):
        spool.flush()
    first = spool.waiting()
    device.boot("boot-c", MONDAY + 9000)
    spool.flush()
    assert first == answering.got
    assert first[0]["started_at"] == "2026-01-01T07:59:53.000Z"
