"""The spool where it is hard: odd runs, forks, several processes, files that are not its own."""

from __future__ import annotations

import io
import json
import os
import sqlite3
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import requests
import responses

from burrline import Client, cli, errors
from burrline.spool import Spool, SpoolConflict, SpoolError
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


# --- the same run, and another one ----------------------------------------------------------------


def test_the_same_run_twice_in_one_go_is_once(spool: Spool) -> None:
    assert spool.put_all([RUN, {**RUN, "age_seconds": 60}]) == ["bar-1-000001"] * 2
    assert spool.held().run_count == 1
    with pytest.raises(SpoolConflict):
        spool.put_all(
            [{**RUN, "run_id": "bar-1-000002"}, {**RUN, "run_id": "bar-1-000002", "grams": 1}]
        )
    assert spool.held().run_count == 1  # all of them, or none


def test_two_starts_that_are_told_have_to_be_one_instant(spool: Spool) -> None:
    spool.put({**RUN, "started_at": "2026-01-01T08:00:00Z"})
    spool.put({**RUN, "started_at": "2026-01-01T09:00:00+01:00"})
    spool.put({**RUN, "age_seconds": 12})  # told otherwise: nothing to compare
    with pytest.raises(SpoolConflict):
        spool.put({**RUN, "started_at": "2026-01-01T08:00:01Z"})
    assert spool.held().run_count == 1


def test_a_run_put_again_after_a_reboot_is_still_the_same(
    tmp_path: Path, make_client: Callable[..., Client], wire: responses.RequestsMock
) -> None:
    wire.post(BATCH, status=503)
    device = Device()
    spool = Spool(tmp_path / "runs.spool", make_client(deadline_seconds=0.1), moment=device)
    spool.put(RUN)
    device.boot("boot-b", MONDAY + 600)
    with pytest.raises(errors.ServerError):
        spool.flush()  # has given it its start
    spool.put(RUN)
    assert spool.held().run_count == 1


# --- odd values never block the queue -------------------------------------------------------------


@pytest.mark.parametrize("age", [float("inf"), float("nan")])
def test_an_age_that_is_no_number_is_not_taken(spool: Spool, age: float) -> None:
    with pytest.raises(ValueError, match="can be sent"):
        spool.put({**RUN, "age_seconds": age})
    assert spool.held().run_count == 0


@pytest.mark.parametrize("name", ["age_seconds", "seconds"])
@pytest.mark.parametrize("value", [1e300, -5.0])
def test_an_impossible_age_is_left_for_the_service_to_judge(
    spool: Spool, service: Answering, device: Device, name: str, value: float
) -> None:
    odd = {**RUN, name: value}
    spool.put_all([odd, {**RUN, "run_id": "bar-1-000002"}])
    assert len(list(spool.lines())) == 2
    device.boot("boot-b", MONDAY + 600)
    assert spool.flush().sent == 2
    assert service.got[0] == odd


@pytest.mark.parametrize("name", ["body-incomplete", "bad-header", "something-new"])
def test_a_refusal_that_no_line_can_be_the_cause_of_sets_none_aside(
    tmp_path: Path, client: Client, wire: responses.RequestsMock, name: str
) -> None:
    wire.post(BATCH, status=400, json={"type": f"urn:burrline:problem:{name}", "title": "No"})
    spool = Spool(tmp_path / "runs.spool", client)
    spool.put_all([RUN, {**RUN, "run_id": "bar-1-000002"}])
    with pytest.raises(errors.BadRequest):
        spool.flush()
    assert (spool.held().run_count, spool.held().dead_count) == (2, 0)
    assert len(wire.calls) == 1


def test_what_was_answered_before_the_flush_broke_off_is_counted(
    tmp_path: Path, make_client: Callable[..., Client], wire: responses.RequestsMock
) -> None:
    answering, asked = Answering(), [0]

    def first_then_none(request: requests.PreparedRequest) -> tuple[int, dict[str, str], str]:
        asked[0] += 1
        return answering(request) if asked[0] == 1 else (503, {}, "")

    wire.add_callback(responses.POST, BATCH, callback=first_then_none)
    spool = Spool(tmp_path / "runs.spool", make_client(deadline_seconds=0.1))
    spool.put_all([{**RUN, "run_id": f"bar-1-{number:06}"} for number in range(600)])
    with pytest.raises(errors.ServerError) as caught:
        spool.flush()
    assert caught.value.flushed.accepted == 500  # type: ignore[attr-defined]
    assert (spool.total.accepted, spool.held().run_count) == (500, 100)


# --- clocks ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("days", [-3000, -1, 1, 3000])
def test_a_jump_of_the_wall_clock_within_a_boot_changes_nothing(
    spool: Spool, service: Answering, device: Device, days: int
) -> None:
    spool.put(RUN)
    device.pass_by(10)
    device.wall_seconds += 86_400 * days
    spool.put({**RUN, "run_id": "bar-1-000002"})
    device.pass_by(10)
    spool.flush()
    assert [line["age_seconds"] for line in service.got] == [27, 17]


def test_a_run_that_waited_for_more_than_a_year_is_sent_by_its_start(
    spool: Spool, service: Answering, device: Device
) -> None:
    spool.put(RUN)
    device.pass_by(401 * 86_400)
    spool.flush()
    assert service.got == [{**RUN, "started_at": "2026-01-01T07:59:53.000Z"}]


def test_a_service_whose_clock_was_wrong_once_is_believed_again_when_it_is_right(
    spool: Spool, service: Answering, device: Device
) -> None:
    for date in ("Thu, 01 Jan 2037 08:00:00 GMT", "Thu, 01 Jan 2026 08:00:00 GMT"):
        service.date = date
        spool.put({**RUN, "run_id": f"bar-1-{date[12:16]}"})
        spool.flush()
    device.boot("boot-b", MONDAY + 60)
    spool.put(RUN)
    device.boot("boot-c", MONDAY + 600)
    spool.flush()
    assert service.got[-1]["started_at"] == "2026-01-01T08:00:53.000Z"


def test_of_two_processes_that_place_a_run_at_once_the_second_keeps_the_firsts_start(
    tmp_path: Path, client: Client, service: Answering, device: Device
) -> None:
    service.date = "Thu, 01 Jan 2026 12:00:00 GMT"
    first = Spool(tmp_path / "runs.spool", client, moment=device)
    second = Spool(tmp_path / "runs.spool", client, moment=device)
    first.put({**RUN, "run_id": "bar-1-000000"})
    first.flush()  # the service's time in this boot is known
    device.wall_seconds += 5000
    first.put(RUN)
    device.boot("boot-b", MONDAY + 9000)
    assert second._sender is not None
    seen = second._store.oldest(state=0)  # the second reads; the first then does it all
    assert first.flush().accepted == 1
    assert second._sender._with_starts(seen) == []
    assert second.flush().sent == 0
    assert [line["run_id"] for line in service.got] == ["bar-1-000000", "bar-1-000001"]


def test_the_export_tells_the_start_as_it_would_be_sent(
    spool: Spool, service: Answering, device: Device
) -> None:
    service.date = "Thu, 01 Jan 2026 12:00:00 GMT"
    device.wall_seconds = MONDAY - 86_400 * 200
    spool.put(RUN)
    spool.flush()  # at 100 s of uptime it was 12:00:00 there, in whole seconds
    spool.put({**RUN, "run_id": "bar-1-000002"})
    (line,) = spool.lines()
    assert line["started_at"].startswith("2026-01-01T11:59:53")


# --- processes, threads, forks --------------------------------------------------------------------


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system does not fork")
def test_a_fork_shares_nothing_but_the_file(tmp_path: Path) -> None:
    spool = Spool(tmp_path / "runs.spool")
    spool.put({**RUN, "run_id": "before-0001"})
    children = []
    for child in range(3):
        pid = os.fork()
        if pid == 0:
            code = 1
            try:
                for number in range(30):
                    spool.put({**RUN, "run_id": f"child-{child}-{number:04}"})
                code = 0
            finally:
                os._exit(code)
        children.append(pid)
    for number in range(30):
        spool.put({**RUN, "run_id": f"parent-{number:04}"})
    assert [os.waitpid(pid, 0)[1] for pid in children] == [0, 0, 0]
    assert spool.held().run_count == 1 + 4 * 30
    with sqlite3.connect(tmp_path / "runs.spool") as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    connection.close()


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system does not fork")
def test_no_connection_is_open_while_a_process_forks(spool: Spool) -> None:
    spool.put(RUN)
    assert spool._store._kept is not None
    pid = os.fork()
    if pid == 0:
        os._exit(spool._store._kept is not None)
    assert os.waitpid(pid, 0)[1] == 0
    assert spool.put({**RUN, "run_id": "bar-1-000002"}) == "bar-1-000002"


def test_threads_put_into_one_spool_at_once(spool: Spool) -> None:
    def put(thread: int) -> None:
        for number in range(25):
            spool.put({**RUN, "run_id": f"thread-{thread}-{number:04}"})

    threads = [threading.Thread(target=put, args=(thread,)) for thread in range(4)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert spool.held().run_count == 100


def test_a_spool_can_be_stopped_and_started_again(
    tmp_path: Path, client: Client, service: Answering
) -> None:
    spool = Spool(tmp_path / "runs.spool", client)
    for round_ in (1, 2):
        spool.start()
        spool.start()  # once is enough
        spool.put({**RUN, "run_id": f"bar-1-00000{round_}"})
        while spool.held().run_count:
            threading.Event().wait(0.01)
        assert sum(one.name == "burrline-spool" for one in threading.enumerate()) == 1
        spool.stop()
    assert not [one for one in threading.enumerate() if one.name == "burrline-spool"]
    assert len(service.got) == 2
    spool.close()


# --- files ----------------------------------------------------------------------------------------


def test_a_database_of_another_program_is_not_changed_by_a_single_byte(tmp_path: Path) -> None:
    file = tmp_path / "other.db"
    other = sqlite3.connect(file)
    other.execute("CREATE TABLE run (seq INTEGER)")
    other.commit()
    other.close()
    before = file.read_bytes()
    with pytest.raises(SpoolError, match="no spool"):
        Spool(file)
    assert file.read_bytes() == before
    assert [one.name for one in tmp_path.iterdir()] == ["other.db"]


def test_a_folder_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(SpoolError, match="nowhere"):
        Spool(tmp_path / "nowhere" / "runs.spool")


def test_a_damaged_file_is_said_whatever_is_asked_of_it(tmp_path: Path, client: Client) -> None:
    file = tmp_path / "runs.spool"
    spool = Spool(file, client)
    spool.put_all([{**RUN, "run_id": f"bar-1-{number:06}"} for number in range(400)])
    spool.close()
    whole = file.read_bytes()
    file.write_bytes(whole[:4096] + b"\xff" * (len(whole) - 4096))
    asked: tuple[Callable[[], Any], ...] = (
        spool.held,
        spool.waiting,
        spool.dead,
        spool.requeue,
        spool.flush,
        lambda: [*spool.lines()],
        lambda: spool.put(RUN),
    )
    for ask in asked:
        with pytest.raises(SpoolError):
            ask()


def test_what_is_written_is_what_was_given(spool: Spool, tmp_path: Path) -> None:
    spool.put({**RUN, "coffee_lot": "Lot 12, «Häusle» 山"})
    connection = sqlite3.connect(tmp_path / "runs.spool")
    (text,) = connection.execute("SELECT line FROM run").fetchone()
    connection.close()
    assert json.loads(text)["coffee_lot"] == "Lot 12, «Häusle» 山"


# --- answers that are none ------------------------------------------------------------------------

WHOLE = json.dumps(
    {
        "received": 1,
        "accepted": 1,
        "duplicates": 0,
        "conflicts": 0,
        "rejected": 0,
        "problems": [],
    }
).encode()
HEAD = b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nContent-Length: %d\r\n\r\n"


@pytest.mark.parametrize(
    "script",
    [
        b"",
        b"HTTP/1.1 200 OK\r\nContent-Ty",
        b"HTTP/1.1 200 OK\r\n\r\n",
        HEAD % len(WHOLE) + WHOLE[:-20],
        HEAD % (len(WHOLE) - 20) + WHOLE[:-20],
        b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n10\r\n" + WHOLE[:10],
        b"HTTP/1.1 302 Found\r\nLocation: http://127.0.0.1:9/login\r\nContent-Length: 0\r\n\r\n",
        b"HTTP/1.1 200 OK\r\nContent-Type: text/html\r\nContent-Length: 14\r\n\r\n<html>Sign in!",
        b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nContent-Length: 11\r\n\r\n"
        b'{"ok": true',
        b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nContent-Length: 12\r\n\r\n"
        b'{"ok": true}',
        b"HTTP/1.1 403 Forbidden\r\nContent-Length: 7\r\n\r\nSign in",
        b"HTTP/1.1 511 Network Authentication Required\r\nContent-Length: 0\r\n\r\n",
    ],
)
def test_nothing_is_let_go_for_an_answer_that_was_cut_or_is_somebody_elses(
    tmp_path: Path,
    make_client: Callable[..., Client],
    make_sockets: Callable[..., Any],
    script: bytes,
) -> None:
    broken = make_sockets(script)
    spool = Spool(tmp_path / "runs.spool", make_client(broken.url, deadline_seconds=0.1))
    spool.put(RUN)
    with pytest.raises(errors.APIError):
        spool.flush()
    assert (spool.held().run_count, spool.held().dead_count) == (1, 0)
    whole = make_sockets(HEAD % len(WHOLE) + WHOLE)
    again = Spool(tmp_path / "runs.spool", make_client(whole.url))
    assert again.flush().accepted == 1
    assert again.held().run_count == 0


@pytest.mark.parametrize(
    ("problem", "code"),
    [
        ({"type": "urn:burrline:problem:unauthenticated", "title": "A valid key is needed"}, 77),
        ({}, 75),
    ],
    ids=["the service's", "a guest network's"],
)
def test_only_the_services_own_words_say_that_a_key_is_not_good(
    tmp_path: Path,
    wire: responses.RequestsMock,
    problem: dict[str, str],
    code: int,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("BURRLINE_URL", BATCH.removesuffix("/v1/runs/batch"))
    wire.post(BATCH, status=401, json=problem)
    file = str(tmp_path / "runs.spool")
    assert cli.main(["post", "bar-1", "--grams", "18", "--spool", file]) == code
    assert Spool(file).held().run_count == 1


def test_a_full_spool_ends_a_stream_with_73_and_says_which_lines_it_did_not_take(
    tmp_path: Path,
    wire: responses.RequestsMock,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    wire.assert_all_requests_are_fired = False
    wire.post(BATCH, status=503)
    given = b"".join(
        json.dumps({"grinder_id": "bar-1", "grams": n}).encode() + b"\n" for n in (1, 2, 3)
    )
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(given)))
    monkeypatch.setattr("burrline.spool.MOST_RUNS", 2)
    monkeypatch.setenv("BURRLINE_URL", BATCH.removesuffix("/v1/runs/batch"))
    file = str(tmp_path / "runs.spool")
    assert cli.main(["post", "--stdin", "--spool", file, "--deadline", "0.1"]) == 73
    assert "line 3: the spool" in capsys.readouterr().err
    assert cli.main(["spool", "list", "--spool", file]) == 0
    assert "1 runs found the spool full" in capsys.readouterr().out


def test_a_disk_that_fails_after_the_run_is_on_it_is_no_reason_to_post_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def fails(*_: Any, **__: Any) -> None:
        raise sqlite3.OperationalError("database or disk is full")

    monkeypatch.setattr("burrline._spool_sender.Sender.flush", fails)
    file = str(tmp_path / "runs.spool")
    assert cli.main(["post", "bar-1", "--grams", "18", "--spool", file]) == 75
    assert "what was put is on disk" in capsys.readouterr().err
    assert cli.main(["spool", "flush", "--spool", file]) == 73
    assert Spool(file).held().run_count == 1


def test_left_unnamed_the_spool_lies_in_the_users_state_directory(
    tmp_path: Path,
    wire: responses.RequestsMock,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    wire.assert_all_requests_are_fired = False
    wire.add_callback(responses.POST, BATCH, callback=Answering())
    monkeypatch.setenv("BURRLINE_URL", BATCH.removesuffix("/v1/runs/batch"))
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    monkeypatch.delenv("BURRLINE_SPOOL", raising=False)
    assert cli.main(["spool", "flush"]) == 0  # nothing was ever put
    assert cli.main(["post", "bar-1", "--grams", "18", "--spool"]) == 0
    capsys.readouterr()
    assert cli.main(["spool", "flush", "--quiet"]) == 0
    assert capsys.readouterr().out == ""
    assert (tmp_path / "burrline" / "runs.spool").exists()
