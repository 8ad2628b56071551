"""Answers of many lines: runs as CSV and NDJSON, and a whole account."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest

from answers import CheckedClient
from burrline_service.api import run_lines
from burrline_service.api.instants import instant_text
from conftest import Clock

RUNS = "/v1/grinders/bar-1/runs"


@pytest.fixture
def client(http: CheckedClient, clock: Clock) -> CheckedClient:
    """A client of an account with 30 runs of ``bar-1``."""
    site = {"site_id": "mill-lane", "name": "Mill Lane", "time_zone": "Europe/Oslo"}
    assert http.post("/v1/sites", json=site).status_code == 201
    grinder = {"grinder_id": "bar-1", "site_id": "mill-lane", "name": "bar-1"}
    assert http.post("/v1/grinders", json=grinder).status_code == 201
    runs = [
        {
            "run_id": f"bar-1-{number:06d}",
            "grinder_id": "bar-1",
            "started_at": instant_text(clock() - timedelta(minutes=30 - number)),
            "seconds": 8.0,
            "grams": 18.25,
        }
        for number in range(30)
    ]
    assert http.post("/v1/runs/batch", json={"runs": runs}).json["accepted"] == 30
    return http


def add(client: CheckedClient, run_id: str, **fields: Any) -> None:
    run = {"run_id": run_id, "grinder_id": "bar-1", "grams": 18.0, **fields}
    assert client.post("/v1/runs", json=run).status_code == 201


def rows_of(answer: Any) -> list[dict[str, str]]:
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8; header=present"
    assert answer.headers["Content-Disposition"] == 'attachment; filename="bar-1-runs.csv"'
    return list(csv.DictReader(io.StringIO(answer.text, newline="")))


@pytest.mark.parametrize("page_count", [1, 7, 30, 1000])
def test_all_runs_come_as_lines_however_many_fit_a_page(
    client: CheckedClient, monkeypatch: pytest.MonkeyPatch, page_count: int
) -> None:
    monkeypatch.setattr(run_lines, "PAGE_COUNT", page_count)
    items = client.get(RUNS, query_string={"limit": "200"}).json["items"]
    assert len(items) == 30
    answer = client.get(RUNS, headers={"Accept": "application/x-ndjson"})
    assert answer.headers["Content-Type"] == "application/x-ndjson"
    assert [json.loads(line) for line in answer.text.splitlines()] == items
    rows = rows_of(client.get(RUNS, headers={"Accept": "text/csv"}))
    assert [row["run_id"] for row in rows] == [item["run_id"] for item in items]


def test_csv_is_what_rfc_4180_says(client: CheckedClient) -> None:
    """Source: RFC 4180 section 2: CRLF after each line (1), a header (3), quotes doubled (7)."""
    add(client, "run-quoted", coffee_lot='hill "7", late\r\nharvest', source="waage, links")
    text = client.get(RUNS, query_string={"format": "csv"}).text
    header, *lines = text.split("\r\n")
    assert lines[-1] == ""
    assert header.startswith("run_id,grinder_id,started_at,seconds,grams,")
    assert '"hill ""7"", late\r\nharvest"' in text
    assert '"waage, links"' in text
    (row,) = [
        row
        for row in rows_of(client.get(RUNS, query_string={"format": "csv"}))
        if row["run_id"] == "run-quoted"
    ]
    assert row["coffee_lot"] == 'hill "7", late\r\nharvest'


def test_every_member_of_a_run_has_its_column(client: CheckedClient) -> None:
    brew = {"method": "espresso", "seconds": 27.5, "beverage_grams": 36.0}
    add(client, "run-brewed", grams=5000.0, seconds=1.0, brew=brew, setting=-1.5)
    item = client.get("/v1/runs/run-brewed").json
    *_, row = rows_of(client.get(RUNS, query_string={"format": "csv"}))
    expected = {name: value for name, value in item.items() if name != "brew"}
    expected |= {f"brew_{name}": value for name, value in item["brew"].items()}
    assert set(row) == set(expected)
    assert row["setting"] == "-1.5"  # a number is no formula
    assert float(row["grams"]) == 5000.0
    assert row["seconds"] == "1.0"
    assert row["brew_method"] == "espresso"
    assert row["brew_water_grams"] == row["voided_at"] == ""
    assert row["counts"] == "grams seconds"
    assert item["findings"]
    assert row["findings"].split() == [finding["code"] for finding in item["findings"]]


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_a_text_never_becomes_a_formula(client: CheckedClient, start: str) -> None:
    """The starts are those of OWASP's page on CSV injection (from memory)."""
    add(client, "-run-0001", coffee_lot=f"{start}1+1", source=f"a{start}1")
    *_, row = rows_of(client.get(RUNS, query_string={"format": "csv"}))
    assert row["coffee_lot"] == f"'{start}1+1"
    assert row["run_id"] == "'-run-0001"
    assert row["source"] == f"a{start}1"


def test_the_asked_time_bounds_lines_too(client: CheckedClient, clock: Clock) -> None:
    bounds = {
        "from": instant_text(clock() - timedelta(minutes=20)),
        "to": instant_text(clock() - timedelta(minutes=10)),
    }
    items = client.get(RUNS, query_string=bounds).json["items"]
    assert len(items) == 10
    rows = rows_of(client.get(RUNS, query_string={**bounds, "format": "csv"}))
    assert [row["run_id"] for row in rows] == [item["run_id"] for item in items]


@pytest.mark.parametrize(
    ("accept", "expected"),
    [
        (None, "application/json"),
        ("*/*", "application/json"),
        ("text/html", "application/json"),
        ("text/csv;q=0.5, application/json", "application/json"),
        ("text/csv, */*;q=0.1", "text/csv"),
        ("text/*", "text/csv"),
        ("application/x-ndjson", "application/x-ndjson"),
    ],
)
def test_accept_chooses_and_format_overrules(
    client: CheckedClient, accept: str | None, expected: str
) -> None:
    headers = {} if accept is None else {"Accept": accept}
    assert client.get(RUNS, headers=headers).mimetype == expected
    answer = client.get(RUNS, headers=headers, query_string={"format": "ndjson"})
    assert answer.mimetype == "application/x-ndjson"
    assert client.get(RUNS, headers=headers, query_string={"format": "json"}).json["items"]


def test_what_has_no_pages_is_not_asked_for_a_page(client: CheckedClient) -> None:
    answer = client.get(RUNS, query_string={"format": "csv", "limit": "10"})
    assert answer.status_code == 422
    assert [error["parameter"] for error in answer.json["errors"]] == ["limit"]
    assert client.get(RUNS, query_string={"format": "xml"}).status_code == 422


def test_refusals_of_lines_are_problems(client: CheckedClient) -> None:
    answer = client.get("/v1/grinders/bar-9/runs", headers={"Accept": "text/csv"})
    assert (answer.status_code, answer.mimetype) == (404, "application/problem+json")


def test_no_runs_are_a_header_or_nothing(client: CheckedClient) -> None:
    grinder = {"grinder_id": "bar-2", "site_id": "mill-lane", "name": "bar-2"}
    assert client.post("/v1/grinders", json=grinder).status_code == 201
    path = "/v1/grinders/bar-2/runs"
    assert client.get(path, query_string={"format": "ndjson"}).get_data() == b""
    assert client.get(path, query_string={"format": "csv"}).text.count("\r\n") == 1
    head = client.head(path, query_string={"format": "csv"})
    assert (head.status_code, head.mimetype) == (200, "text/csv")


# --- the whole account --------------------------------------------------------------------------


def test_an_account_is_exported_line_by_line(client: CheckedClient, clock: Clock) -> None:
    answer = client.get("/v1/export")
    assert answer.headers["Content-Type"] == "application/x-ndjson"
    lines = [json.loads(line) for line in answer.text.splitlines()]
    assert lines[0]["exported_at"] == instant_text(clock())
    assert [line["kind"] for line in lines[:4]] == ["header", "account", "site", "grinder"]
    assert [line["kind"] for line in lines[4:]] == ["run"] * 30 + ["end"]
    assert lines[-1]["counts"]["run"] == 30


def test_an_export_needs_the_whole_account(
    client: CheckedClient,
    make_http: Callable[[str | None], CheckedClient],
    make_key: Callable[..., str],
) -> None:
    for fields, status, name in (
        ({"scopes": ["read", "runs:write", "care:write", "keys"]}, 403, "scope-missing"),
        ({"site_ids": ["mill-lane"]}, 403, "out-of-reach"),
        ({"grinder_ids": ["bar-1"]}, 403, "out-of-reach"),
    ):
        answer = make_http(make_key(**fields)).get("/v1/export")
        assert (answer.status_code, answer.json["type"]) == (status, f"urn:burrline:problem:{name}")
    assert make_http(None).get("/v1/export").status_code == 401


def test_an_export_tells_nothing_of_another_account(
    client: CheckedClient, make_http: Callable[[str | None], CheckedClient], other_key: str
) -> None:
    answer = make_http(other_key).get("/v1/export")
    assert [json.loads(line)["kind"] for line in answer.text.splitlines()] == [
        "header", "account", "end",
    ]  # fmt: skip
    assert "bar-1" not in answer.text


def test_an_export_tells_no_secret(client: CheckedClient) -> None:
    assert client.key is not None
    text = client.get("/v1/export").text
    assert client.key not in text
    assert client.key[-41:-8] not in text
