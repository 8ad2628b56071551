"""The command line: exit codes, what is printed where, files of runs, the monitoring verdict."""

from __future__ import annotations

import io
import json
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import requests
import responses

import burrline
from burrline import models
from burrline._check import judge
from burrline._lines import read_lines
from burrline._show import fleet_table, status_lines
from burrline.cli import main

URL = "http://burrline.test:8460"
STATUS: dict[str, Any] = {
    "grinder_id": "bar-1",
    "site_id": "mill-lane",
    "name": "Bar left",
    "as_of": "2026-03-01T09:30:00.000Z",
    "throughput": {
        "burr_set_id": "flat-64-a",
        "burr_grams": 48211.6,
        "total_burr_grams": 48211.6,
        "burr_run_count": 2650,
        "burr_estimated_grams": 0.0,
        "grinder_grams": 90000.0,
        "grinder_estimated_grams": 0.0,
        "grinder_run_seconds": 36000.0,
        "motor_run_seconds": 36000.0,
        "today_grams": 3912.4,
        "today_estimated_grams": 0.0,
        "last_run_at": "2026-03-01T09:28:11.000Z",
    },
    "duty": {
        "state": "ok",
        "on_seconds": 41.25,
        "cycle_seconds": 600.0,
        "rated_on_seconds": 150.0,
        "low_fraction": 0.06875,
        "high_fraction": 0.06875,
        "coverage_fraction": 1.0,
        "ready_at": None,
    },
    "motor": {
        "state": "ok",
        "reading_celsius": 41.5,
        "read_at": "2026-03-01T09:28:20.000Z",
        "sensor": "housing",
        "caution_celsius": 60.0,
        "limit_celsius": 75.0,
        "model": "insufficient",
        "estimate_celsius": None,
        "low_celsius": None,
        "high_celsius": None,
        "seconds_to_limit": None,
        "rest_seconds": None,
    },
    "break_in": {
        "stage": "undecided",
        "basis": "expected",
        "verdict": "past_expected",
        "sentence": "Past what such burrs usually need; measure a dose.",
        "burr_grams": 48211.6,
        "low_remaining_grams": None,
        "remaining_grams": None,
        "high_remaining_grams": None,
        "next_checkpoint_grams": None,
    },
    "alerts": [],
}
OUTCOME = {"run_id": "bar-1-000017", "outcome": "accepted", "findings": []}
COUNTS = {"accepted": 0, "duplicates": 0, "conflicts": 0, "rejected": 0, "problems": []}


def status(*, motor: str = "ok", duty: str = "ok", **more: Any) -> dict[str, Any]:
    return {
        **STATUS,
        "motor": {**STATUS["motor"], "state": motor},
        "duty": {**STATUS["duty"], "state": duty},
        **more,
    }


@pytest.fixture
def run(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    make_client: Callable[..., burrline.Client],
) -> Callable[..., tuple[int, str, str]]:
    """Runs a command in the fake time; gives exit code, standard output, standard error."""
    monkeypatch.setenv("BURRLINE_URL", URL)
    monkeypatch.setenv("BURRLINE_KEY", "burrline_testkey")

    def act(*arguments: str) -> tuple[int, str, str]:
        code = main(arguments, make_client)
        captured = capsys.readouterr()
        return code, captured.out, captured.err

    return act


Run = Callable[..., tuple[int, str, str]]


# --- post ---------------------------------------------------------------------------------------


def test_post_records_one_run(run: Run, wire: responses.RequestsMock) -> None:
    finding = {"code": "flow_high", "detail": "41 g/s is more than burrs give."}
    wire.post(f"{URL}/v1/runs", json={**OUTCOME, "findings": [finding]}, status=201)
    code, out, err = run(
        "post", "bar-1", "--grams", "18.2", "--seconds", "7.4", "--motor-celsius", "41.5",
        "--run-id", "bar-1-000017", "--coffee-lot", "lot-0712", "--started-at",
        "2026-03-01T09:28:11+01:00",
    )  # fmt: skip
    assert (code, err) == (0, "")
    assert out.splitlines() == [
        "bar-1-000017 accepted",
        "  flow_high: 41 g/s is more than burrs give.",
    ]
    assert json.loads(wire.calls[0].request.body or b"") == {
        "grinder_id": "bar-1",
        "grams": 18.2,
        "seconds": 7.4,
        "motor_celsius": 41.5,
        "run_id": "bar-1-000017",
        "coffee_lot": "lot-0712",
        "started_at": "2026-03-01T08:28:11.000Z",
    }


def test_post_quiet_says_nothing_and_json_says_all(run: Run, wire: responses.RequestsMock) -> None:
    wire.post(f"{URL}/v1/runs", json=OUTCOME, status=201)
    assert run("post", "bar-1", "--grams", "18", "--quiet") == (0, "", "")
    code, out, _ = run("post", "bar-1", "--grams", "18", "--json")
    assert (code, json.loads(out)) == (0, OUTCOME)


def test_post_of_a_file_sends_the_good_lines_and_names_the_bad_ones(
    run: Run, wire: responses.RequestsMock, tmp_path: Path
) -> None:
    file = tmp_path / "runs.ndjson"
    file.write_bytes(
        b'\xef\xbb\xbf{"run_id": "bar-1-000001", "grinder_id": "bar-1", "grams": 18}\r\n'
        b"\n"
        b'{"run_id": "bar-1-000002", "grinder_id": "bar-1", "grams": -1}\n'
        b'{"run_id": "bar-1-000003"\n'
        b"[1]\n"
        b'{"grinder_id": "bar-1", "grams": 18}\n'
        b'{"run_id": "bar-1-000004", "grams": NaN}\n'
        b'{"run_id": "bar-1-000005", "grams": 1e999}\n'
        b'{"run_id": "bar-1-000006", "coffee_lot": "\\ud800"}\n'
        b'{"run_id": "bar-1-\xff"}\n'
    )
    problem = {
        "index": 1,
        "run_id": "bar-1-000002",
        "outcome": "rejected",
        "errors": [{"detail": "must be at least 0", "pointer": "#/runs/1/grams"}],
    }
    wire.post(
        f"{URL}/v1/runs/batch",
        json={**COUNTS, "received": 2, "accepted": 1, "rejected": 1, "problems": [problem]},
    )
    code, out, err = run("post", "--file", str(file))
    assert code == 65
    assert out == "9 runs: 1 accepted, 0 known before, 0 in conflict, 8 refused\n"
    assert [line.split(":")[0] for line in err.splitlines()] == [
        f"line {number}" for number in (3, 4, 5, 6, 7, 8, 9, 10)
    ]
    assert "line 3: bar-1-000002 rejected: #/runs/1/grams must be at least 0" in err
    assert "line 6: needs a run_id or a started_at" in err
    sent = json.loads(wire.calls[0].request.body or b"")["runs"]
    assert [line["run_id"] for line in sent] == ["bar-1-000001", "bar-1-000002"]


def test_post_of_a_file_from_standard_input(
    run: Run, wire: responses.RequestsMock, monkeypatch: pytest.MonkeyPatch
) -> None:
    content = b'{"run_id": "bar-1-000001", "grinder_id": "bar-1", "grams": 18}\n'
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(content)))
    wire.post(f"{URL}/v1/runs/batch", json={**COUNTS, "received": 1, "duplicates": 1})
    code, out, err = run("post", "--file", "-", "--json")
    assert (code, err) == (0, "")
    assert json.loads(out) == {**COUNTS, "received": 1, "duplicates": 1, "unreadable": 0}


def test_a_file_sent_again_or_grown_has_the_same_ids_for_the_same_lines() -> None:
    line = b'{"grinder_id": "bar-1", "started_at": "2026-03-01T09:28:11Z", "grams": 18}\n'
    spaced = b'{"grams":18,"grinder_id":"bar-1","started_at":"2026-03-01T09:28:11Z"}\n'
    other = line.replace(b":11Z", b":12Z")
    first, _ = read_lines(line + other)
    grown, faults = read_lines(line + other + spaced)
    assert faults == []
    ids = [run["run_id"] for _, run in grown]
    assert ids[:2] == [run["run_id"] for _, run in first]
    assert len(set(ids)) == 3  # the third is a like run, not the first one again
    assert all(re.fullmatch(r"[A-Za-z0-9._:-]{8,128}", one) for one in ids)


def test_a_conflict_in_a_file_is_data_refused(
    run: Run, wire: responses.RequestsMock, tmp_path: Path
) -> None:
    file = tmp_path / "runs.ndjson"
    file.write_text('{"run_id": "bar-1-000001", "grinder_id": "bar-1", "grams": 18}')
    problem = {"index": 0, "run_id": "bar-1-000001", "outcome": "conflict", "errors": []}
    wire.post(
        f"{URL}/v1/runs/batch",
        json={**COUNTS, "received": 1, "conflicts": 1, "problems": [problem]},
    )
    code, _, err = run("post", "--file", str(file), "--quiet")
    assert (code, err) == (65, "line 1: bar-1-000001 conflict: \n")


# --- exit codes ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("answer", "code"),
    [
        (400, 65),
        (401, 77),
        (403, 77),
        (404, 65),
        (409, 65),
        (413, 65),
        (422, 65),
        (429, 69),
        (500, 69),
        (503, 69),
        (302, 69),
        (requests.ConnectTimeout(), 69),
        (requests.ReadTimeout(), 69),
        (requests.exceptions.SSLError(), 69),
    ],
    ids=str,
)
def test_a_failed_call_ends_by_sysexits_and_one_line(
    answer: Any, code: int, run: Run, wire: responses.RequestsMock
) -> None:
    if isinstance(answer, int):
        wire.post(f"{URL}/v1/runs", status=answer, json={"title": "No", "detail": "Not so."})
    else:
        wire.post(f"{URL}/v1/runs", body=answer)
    found, out, err = run("post", "bar-1", "--grams", "18", "--deadline", "1")
    assert (found, out) == (code, "")
    assert len(err.splitlines()) == 1


@pytest.mark.parametrize(
    "arguments",
    [
        (),
        ("brew",),
        ("post",),
        ("post", "bar-1", "--file", "x"),
        ("post", "--file", "x", "--grams", "18"),
        ("post", "--stdin", "--grams", "18"),
        ("post", "--file", "x", "--spool"),
        ("post", "bar-1", "--stdin"),
        ("post", "bar-1", "--grams", "heavy"),
        ("post", "bar-1", "--started-at", "noon"),
        ("post", "bar-1", "--key", "burrline_x"),
        ("post", "bar-1", "--key=burrline_x"),
        ("status", "bar-1", "burrline_x"),
        ("status", "bar-1", "--site", "mill-lane"),
        ("status", "--deadline", "0"),
    ],
    ids=" ".join,
)
def test_wrong_usage_is_64(arguments: tuple[str, ...], run: Run) -> None:
    code, out, err = run(*arguments)
    assert (code, out) == (64, "")
    assert err.startswith("burrline")
    assert "burrline_x" not in err


def test_a_number_that_is_none_is_data_refused(run: Run) -> None:
    code, _, err = run("post", "bar-1", "--grams", "nan")
    assert (code, err) == (65, "burrline: nan is not a number that can be sent\n")


def test_a_missing_file_of_runs_is_66(run: Run, tmp_path: Path) -> None:
    code, _, err = run("post", "--file", str(tmp_path / "none.ndjson"))
    assert code == 66
    assert "No such file" in err


def test_wrong_settings_are_78(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert run("status", "--url", "burrline.test")[0] == 78
    assert run("status", "--key-file", str(tmp_path / "none"))[0] == 78
    for content in (b"", b" \n", "schlüssel".encode(), b"two words"):
        (tmp_path / "key").write_bytes(content)
        code, _, err = run("status", "--key-file", str(tmp_path / "key"))
        assert code == 78
        assert "words" not in err
    monkeypatch.setenv("BURRLINE_KEY", "two words")
    assert run("post", "bar-1", "--grams", "18")[0] == 78


def test_the_key_is_read_from_a_file_that_goes_before_the_environment(
    run: Run, wire: responses.RequestsMock, tmp_path: Path
) -> None:
    (tmp_path / "key").write_text("burrline_from_file\n")
    wire.get(f"{URL}/v1/fleet", json={"items": [], "next_cursor": None})
    assert run("status", "--key-file", str(tmp_path / "key"))[0] == 0
    assert wire.calls[0].request.headers["Authorization"] == "Bearer burrline_from_file"


# --- status -------------------------------------------------------------------------------------


def test_status_shows_the_whole_fleet_as_a_table(run: Run, wire: responses.RequestsMock) -> None:
    bare = {
        **STATUS["throughput"],
        "burr_set_id": None,
        "burr_grams": None,
        "today_grams": 0,
        "last_run_at": None,
    }
    unread = {**STATUS["motor"], "state": "unknown", "reading_celsius": None, "read_at": None}
    second = {**STATUS, "grinder_id": "filter-2", "throughput": bare, "motor": unread}
    first_page = {"items": [STATUS], "next_cursor": "c1"}
    wire.get(f"{URL}/v1/fleet", json=first_page)
    wire.get(f"{URL}/v1/fleet", json={"items": [second], "next_cursor": None})
    code, out, _ = run("status", "--site", "mill-lane")
    assert code == 0
    assert [line.split("  ") and re.split(r" {2,}", line) for line in out.splitlines()] == [
        ["grinder", "site", "burrs kg", "today kg", "motor", "duty", "break-in", "last run"],
        ["bar-1", "mill-lane", "48.21", "3.91", "ok 42 C", "ok", "undecided",
         "2026-03-01 09:28 UTC"],
        ["filter-2", "mill-lane", "?", "0.00", "unknown", "ok", "undecided", "never"],
    ]  # fmt: skip
    assert [call.request.params["site_id"] for call in wire.calls] == ["mill-lane"] * 2  # type: ignore[attr-defined]


def test_status_of_one_grinder_is_a_few_lines_or_the_answer_itself(
    run: Run, wire: responses.RequestsMock
) -> None:
    wire.get(f"{URL}/v1/grinders/bar-1/status", json=STATUS)
    code, out, _ = run("status", "bar-1")
    assert code == 0
    assert re.search(r"^burr set +flat-64-a: 48\.21 kg weighed.* in 2650 runs here$", out, re.M)
    assert re.search(r"^duty +ok: on 41 s in the last 600 s, rated 150 s.*$", out, re.M)
    assert re.search(r"^motor +ok: 41\.5 C at the housing, limit 75 C, read .* UTC$", out, re.M)
    assert STATUS["break_in"]["sentence"] in out
    code, out, _ = run("status", "bar-1", "--json")
    assert (code, json.loads(out)) == (0, STATUS)


def test_status_of_a_past_instant_is_of_one_grinder(run: Run, wire: responses.RequestsMock) -> None:
    wire.get(f"{URL}/v1/grinders/bar-1/status", json=STATUS)
    at = "2026-02-28T09:30:00+01:00"
    assert run("status", "bar-1", "--as-of", at)[0] == 0
    assert wire.calls[0].request.params == {"as_of": "2026-02-28T08:30:00.000Z"}
    code, _, err = run("status", "--as-of", at)
    assert code == 64
    assert "--as-of goes with one grinder" in err


def test_an_overheated_motor_is_never_called_ready_and_brings_the_caution() -> None:
    now = STATUS["as_of"]
    hot = {**STATUS["motor"], "state": "over", "reading_celsius": 101.6}
    busy = {**STATUS["duty"], "state": "exceeded", "ready_at": now}
    lines = status_lines(models.Status.from_json({**STATUS, "motor": hot}))
    assert "ready" not in lines
    assert "back within" not in lines
    assert "Unplug it" in lines
    both = status_lines(models.Status.from_json({**STATUS, "motor": hot, "duty": busy}))
    assert "duty back within its rating at" in both
    assert "Unplug it" not in status_lines(models.Status.from_json(STATUS))


ESTIMATE = {
    "model": "identified", "estimate_celsius": 44.2, "low_celsius": 41.0, "high_celsius": 47.6,
    "seconds_to_limit": 760.0, "rest_seconds": 0.0,
}  # fmt: skip


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({}, "about 44 C now at the housing, 41 to 48 C (90 % interval); run on, it reaches its "
         "limit in 12 min 40 s or later; for its limit, a run of a minute needs no rest before it"),
        ({"rest_seconds": 90.5}, "a run of a minute needs 1 min 31 s of rest before it"),
        ({"rest_seconds": None}, "in 12 min 40 s or later"),
        ({"seconds_to_limit": 0.0}, "; it may be at its limit"),
        ({"limit_celsius": None}, "90 % interval); no limit is known for it"),
        ({"sensor": None}, "now at the motor"),
    ],
)  # fmt: skip
def test_the_estimate_stands_beside_the_reading_and_names_its_body(
    more: dict[str, Any], words: str
) -> None:
    motor = {**STATUS["motor"], **ESTIMATE, **more}
    lines = status_lines(models.Status.from_json({**STATUS, "motor": motor})).splitlines()
    (line,) = [line for line in lines if line.startswith("estimate ")]
    assert words in line
    assert "ready" not in line
    assert any(line.startswith("motor ") and "ok: 41.5 C" in line for line in lines)
    unknown = {**motor, "estimate_celsius": None}
    assert "estimate " not in status_lines(models.Status.from_json({**STATUS, "motor": unknown}))


def test_a_forecast_that_holds_is_shown_with_the_caution_and_is_a_caution_to_monitoring() -> None:
    alert = {"kind": "motor_heating", "severity": "caution", "opened_at": STATUS["as_of"]}
    given = models.Status.from_json({**STATUS, "alerts": [alert]})
    assert "motor_heating (caution) since 2026-" in status_lines(given)
    assert "Unplug it" in status_lines(given)
    calm = judge(models.Status.from_json({**STATUS, "alerts": []}))
    heating = judge(given)
    assert (calm.code, heating.code) == (0, 1)
    assert "motor_heating alert open" in heating.line.split("|")[0]
    stale = {**STATUS, "motor": {**STATUS["motor"], "state": "unknown"}}
    assert "motor unknown, last read 41.5 of 75 C at 2026-03-01 09:28:20 UTC" in (
        judge(models.Status.from_json(stale)).line
    )
    worn = {"kind": "burr_life", "severity": "caution", "opened_at": STATUS["as_of"]}
    assert judge(models.Status.from_json({**STATUS, "alerts": [worn]})).code == 0
    lost = {**STATUS, "alerts": [alert], "motor": {**STATUS["motor"], "state": "unknown"}}
    assert judge(models.Status.from_json(lost), required=("motor",)).code == 1


@pytest.mark.parametrize(
    ("estimated", "line", "cell"),
    [(0.0, "weighed in", "48.21"), (5740.0, "weighed + about 5.74 kg", "~53.95"),
     (None, "unknown amount", "48.21+?")],
)  # fmt: skip
def test_what_nobody_weighed_is_shown_beside_what_was(
    estimated: float | None, line: str, cell: str
) -> None:
    through = {**STATUS["throughput"], "burr_estimated_grams": estimated}
    given = models.Status.from_json({**STATUS, "throughput": through})
    assert line in status_lines(given)
    assert cell in fleet_table([given]).split()


def test_no_name_can_steer_the_terminal() -> None:
    given = models.Status.from_json({**STATUS, "name": "\x1b[2J\x9b1m\u202e", "site_id": "a\rb"})
    for text in (status_lines(given), fleet_table([given])):
        assert not set(text) & {"\x1b", "\x9b", "\r", "\u202e"}


# --- check --------------------------------------------------------------------------------------

# Exit codes and the form of the line: Monitoring Plugins Development Guidelines, plugin return
# codes and performance data: 'label'=value[UOM];[warn];[crit];[min];[max], separated by spaces,
# trailing semicolons optional, UOM one of s, %, B, c or nothing.
PERFORMANCE = re.compile(
    r"[a-z_]+=-?\d+(\.\d+)?(s|%|B|c)?(;(-?\d+(\.\d+)?)?){0,4}( [a-z_]+=-?\d+(\.\d+)?(s|%|B|c)?"
    r"(;(-?\d+(\.\d+)?)?){0,4})*"
)
WORDS = {0: "OK", 1: "WARNING", 2: "CRITICAL", 3: "UNKNOWN"}


@pytest.mark.parametrize(
    ("motor", "duty", "require", "code"),
    [
        ("ok", "ok", "", 0),
        ("warm", "ok", "", 1),
        ("ok", "near", "", 1),
        ("over", "ok", "", 2),
        ("ok", "exceeded", "", 2),
        ("warm", "exceeded", "", 2),
        ("over", "near", "", 2),
        # what is not instrumented or not rated is passed over
        ("unknown", "ok", "", 0),
        ("ok", "unrated", "", 0),
        ("unknown", "unrated", "", 3),
        ("unknown", "near", "", 1),
        # unless it is required
        ("unknown", "ok", "motor", 3),
        ("unknown", "ok", "duty", 0),
        ("ok", "unrated", "duty", 3),
        ("ok", "unknown", "motor,duty", 3),
        ("ok", "ok", "motor,duty", 0),
        # what is known to be bad is said, whatever else is not known
        ("unknown", "exceeded", "motor,duty", 2),
        ("warm", "unknown", "motor,duty", 1),
        # a state of a later service is not known to be good
        ("sweating", "ok", "motor", 3),
    ],
)
def test_check_answers_by_exit_code(
    motor: str, duty: str, require: str, code: int, run: Run, wire: responses.RequestsMock
) -> None:
    wire.get(f"{URL}/v1/grinders/bar-1/status", json=status(motor=motor, duty=duty))
    found, out, err = run("check", "bar-1", *(["--require", require] if require else []))
    assert (found, err) == (code, "")
    (line,) = out.splitlines()
    words, _, performance = line.partition(" | ")
    assert words.startswith(f"{WORDS[code]} - bar-1: motor {motor}")
    assert PERFORMANCE.fullmatch(performance)


def test_check_answers_in_json_and_quietly_too(run: Run, wire: responses.RequestsMock) -> None:
    wire.get(f"{URL}/v1/grinders/bar-1/status", json=STATUS)
    code, out, _ = run("check", "bar-1", "--json")
    told = json.loads(out)
    assert (code, told["code"], told["status"]) == (0, 0, STATUS)
    assert told["line"].startswith("OK - bar-1")
    assert run("check", "bar-1", "--quiet") == (0, "", "")


def test_checks_performance_part_carries_value_caution_and_limit() -> None:
    line = judge(models.Status.from_json(STATUS)).line
    assert line == (
        "OK - bar-1: motor ok, 41.5 of 75 C; duty ok, on 41 of 150 s in 600 s | "
        "motor_celsius=41.5;60;75 on_seconds=41.25s;;150;0;600 burr_grams=48211.6;;;0 "
        "today_grams=3912.4;;;0"
    )


def test_check_without_readings_and_rating_leaves_their_numbers_out() -> None:
    given = status(motor="unknown", duty="unrated")
    given["motor"]["reading_celsius"] = None
    given["duty"]["rated_on_seconds"] = None
    given["throughput"] = {**STATUS["throughput"], "burr_grams": None}
    line = judge(models.Status.from_json(given)).line
    assert line.partition(" | ")[2] == "on_seconds=41.25s;;;0;600 today_grams=3912.4;;;0"
    assert "motor unknown, no reading; duty unrated, on 41 s in 600 s" in line


@pytest.mark.parametrize(
    "answer", [401, 403, 404, 429, 500, 302, requests.ConnectTimeout(), requests.ReadTimeout()],
    ids=str,
)  # fmt: skip
def test_check_is_unknown_whenever_it_cannot_know(
    answer: Any, run: Run, wire: responses.RequestsMock
) -> None:
    path = f"{URL}/v1/grinders/bar-1/status"
    if isinstance(answer, int):
        wire.get(path, status=answer, json={"title": "No", "detail": "Not\nso."})
    else:
        wire.get(path, body=answer)
    code, out, err = run("check", "bar-1")
    assert (code, err) == (3, "")
    assert out.startswith("UNKNOWN - ")


@pytest.mark.parametrize(
    "arguments",
    [
        ("check",),
        ("check", "bar-1", "--require", "soul"),
        ("check", "bar-1", "--require", ","),
        ("check", "bar-1", "--url", "nowhere"),
        ("check", "bar-1", "--key-file", "/nonexistent"),
        ("check", ".."),
    ],
    ids=" ".join,
)
def test_check_is_unknown_where_it_is_asked_wrongly(arguments: tuple[str, ...], run: Run) -> None:
    code, out, err = run(*arguments)
    assert (code, err) == (3, "")
    assert out.startswith("UNKNOWN - ")


def test_check_answers_before_a_monitoring_system_would_give_up(
    run: Run, wire: responses.RequestsMock, fake_time: Any
) -> None:
    wire.get(f"{URL}/v1/grinders/bar-1/status", status=503)
    assert run("check", "bar-1")[0] == 3
    assert fake_time.passed_seconds < 8


# --- the program itself -------------------------------------------------------------------------


@pytest.mark.parametrize(
    "command",
    ["", "post", "status", "check", "grinder update", "burrs mend", "care record", "apply"],
)
def test_help_and_version_are_there(command: str) -> None:
    arguments = command.split()
    found = subprocess.run(
        [sys.executable, "-m", "burrline", *arguments, "--help"], capture_output=True, text=True
    )
    assert (found.returncode, found.stderr) == (0, "")
    assert found.stdout.startswith(f"usage: burrline {command}".rstrip())


def test_a_reader_that_goes_away_is_no_error(tmp_path: Path) -> None:
    script = (
        "import burrline.cli, sys\n"
        "def act(given, make_client):\n"
        "    for _ in range(100000): print('x' * 100)\n"
        "burrline.cli._run = act\n"
        "sys.exit(burrline.cli.main(['status']))\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", script], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.readline()
        process.stdout.close()
        assert (process.wait(timeout=20), process.stderr.read()) == (0, b"")
