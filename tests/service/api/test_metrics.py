"""Numbers for monitoring, read by the parser of the reference implementation of OpenMetrics."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import timedelta

import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from answers import CheckedClient
from burrline_service.api.tally_sheet import SLOT_COUNT, TallySheet
from burrline_service.core.records import Caller
from burrline_service.store.database import Database
from conftest import Clock
from told import a_webhook, an_event, tell

Numbers = dict[str, dict[tuple[tuple[str, str], ...], float]]


def read(text: str) -> Numbers:
    found: Numbers = {}
    for family in text_string_to_metric_families(text):
        for sample in family.samples:
            labels = tuple(sorted(sample.labels.items()))
            found.setdefault(sample.name, {})[labels] = sample.value
    return found


def scrape(http: CheckedClient) -> Numbers:
    answer = http.get("/metrics")
    assert answer.status_code == 200
    assert answer.content_type == ("application/openmetrics-text; version=1.0.0; charset=utf-8")
    return read(answer.text)


def furnish(http: CheckedClient, clock: Clock) -> None:
    for number in (1, 2):
        site = {"site_id": f"site-{number}", "name": "Quay", "time_zone": "UTC"}
        http.post("/v1/sites", json=site)
        http.post(
            "/v1/grinders",
            json={"grinder_id": f"bar-{number}", "site_id": f"site-{number}", "name": "Bar"},
        )
    runs = [
        {
            "run_id": f"metrics-run-{number}",
            "grinder_id": "bar-1",
            "started_at": (clock() - timedelta(hours=number)).isoformat(),
            "seconds": 7.5,
            "grams": 18.25,
        }
        for number in (1, 2, 30)
    ]
    assert http.post("/v1/runs", json=runs[0]).status_code == 201
    assert http.post("/v1/runs", json=runs[0]).status_code == 200
    assert http.post("/v1/runs", json={**runs[0], "grams": 20}).status_code == 409
    http.post("/v1/runs/batch", json={"runs": [*runs, {"run_id": "no"}]})
    for minutes, celsius in ((20, 55.0), (10, 40.5), (5, 41.5)):
        reading = {
            "grinder_id": "bar-1",
            "at": (clock() - timedelta(minutes=minutes)).isoformat(),
            "motor_celsius": celsius,
        }
        assert http.post("/v1/readings", json=reading).status_code == 200


def test_the_numbers_are_those_of_the_account_and_the_service(
    http: CheckedClient, database: Database, caller: Caller, clock: Clock
) -> None:
    furnish(http, clock)
    a_webhook(database, caller, clock())
    tell(database, caller, an_event(1, clock()), now=clock())
    clock.pass_by(seconds=30)
    numbers = scrape(http)
    bar_1, bar_2 = ((("grinder_id", f"bar-{n}"), ("site_id", f"site-{n}")) for n in (1, 2))
    assert numbers["burrline_ground_grams_total"] == {bar_1: 54.75, bar_2: 0}
    assert numbers["burrline_motor_run_seconds_total"] == {bar_1: 22.5, bar_2: 0}
    assert numbers["burrline_runs_total"] == {bar_1: 3, bar_2: 0}
    assert numbers["burrline_motor_temperature_celsius"] == {bar_1: 41.5}
    assert len(numbers["burrline_alerts_open"]) == 6
    assert numbers["burrline_deliveries_waiting"] == {(): 1}
    assert numbers["burrline_deliveries_oldest_age_seconds"] == {(): 30}
    assert numbers["burrline_worker_lag_seconds"] == {(): 30}
    assert numbers["burrline_deliveries_given_up"] == {(): 0}
    assert numbers["burrline_grinders_cut"] == {(): 0}
    (build,) = numbers["burrline_build_info"]
    assert dict(build).keys() == {"version"}
    outcomes = {label[0][1]: count for label, count in numbers["burrline_runs_sent_total"].items()}
    assert outcomes == {"accepted": 3, "duplicate": 2, "conflict": 0, "rejected": 1}
    requests = numbers["burrline_requests_total"]
    for status, count in (("201", 1), ("200", 1), ("409", 1)):
        assert requests[("operation", "add_run"), ("status", status)] == count
    assert numbers["burrline_request_seconds_count"][("operation", "add_run"),] == 3
    assert numbers["burrline_request_seconds_sum"][("operation", "add_run"),] > 0
    again = scrape(http)["burrline_requests_total"]
    assert again[("operation", "get_metrics"), ("status", "200")] == 1


def test_what_comes_late_is_voided_or_cleans_is_told_as_it_is(
    http: CheckedClient, clock: Clock
) -> None:
    """The totals of the past are remembered from scrape to scrape; it must show in no answer."""
    furnish(http, clock)

    def run(number: int, *, days: float, **more: object) -> dict[str, object]:
        return {
            "run_id": f"metrics-late-{number}",
            "grinder_id": "bar-1",
            "started_at": (clock() - timedelta(days=days)).isoformat(),
            "seconds": 10.0,
            "grams": 20.0,
            **more,
        }

    def grams_and_seconds() -> tuple[float, float]:
        numbers = scrape(http)
        bar_1 = (("grinder_id", "bar-1"), ("site_id", "site-1"))
        status = http.get("/v1/grinders/bar-1/status").json["throughput"]
        grams = numbers["burrline_ground_grams_total"][bar_1]
        seconds = numbers["burrline_motor_run_seconds_total"][bar_1]
        assert grams == status["grinder_grams"]
        assert seconds == status["grinder_run_seconds"]
        return grams, seconds

    assert grams_and_seconds() == (54.75, 22.5)
    for number, days in enumerate((40, 3, 1, 0.01)):
        assert http.post("/v1/runs", json=run(number, days=days)).status_code == 201
        assert grams_and_seconds() == (54.75 + 20 * (number + 1), 22.5 + 10 * (number + 1))
    http.post("/v1/runs/metrics-late-0/void")
    assert grams_and_seconds() == (114.75, 52.5)
    cleaning = run(4, days=0.001, purpose="cleaning", motor_celsius=48.0)
    assert http.post("/v1/runs", json=cleaning).status_code == 201
    assert grams_and_seconds() == (114.75, 62.5)
    told = scrape(http)["burrline_motor_temperature_celsius"]
    assert list(told.values()) == [48.0], "read at the end of a run, after the last beside one"


@pytest.mark.parametrize("database_kind", ["sqlite"])
def test_a_bound_key_reads_of_its_own_grinders_and_no_other_account_at_all(
    http: CheckedClient,
    make_http: Callable[[str | None], CheckedClient],
    make_key: Callable[..., str],
    other_key: str,
    clock: Clock,
) -> None:
    furnish(http, clock)
    bound = scrape(make_http(make_key(site_ids=["site-2"])))
    (labels,) = bound["burrline_ground_grams_total"]
    assert dict(labels) == {"grinder_id": "bar-2", "site_id": "site-2"}
    assert "burrline_deliveries_waiting" not in bound
    assert "burrline_requests_total" not in bound
    other = scrape(make_http(other_key))
    assert "burrline_ground_grams_total" not in other
    assert make_http(make_key(scopes=["read"])).get("/metrics").status_code == 403
    assert make_http(None).get("/metrics").status_code == 401


@pytest.mark.parametrize("database_kind", ["sqlite"])
def test_no_label_holds_what_somebody_made_up(http: CheckedClient, clock: Clock) -> None:
    furnish(http, clock)
    for path in ("/v1/made/up", "/wp-login", "/v1/runs/%0a%22"):
        http.get(path, headers={"X-Request-Id": "made-up-request"})
    http.open("/v1/runs", method="PROPFIND")
    text = http.get("/metrics").text
    numbers = read(text)
    names = {name for family in numbers.values() for labels in family for name, _ in labels}
    assert names == {
        "grinder_id",
        "site_id",
        "severity",
        "operation",
        "status",
        "outcome",
        "version",
    }
    assert numbers["burrline_requests_total"][("operation", "none"), ("status", "404")] >= 2
    for word in ("lantern", "metrics-run", "made-up", "Quay"):
        assert word not in text


# --- counting in several processes ----------------------------------------------------------------


def test_what_several_processes_count_adds_up_and_outlives_them() -> None:
    sheet = TallySheet()
    sheet.count_request(3, 200, 0.5)
    for number in range(3):
        child = os.fork()
        if child == 0:
            sheet.count_request(3, 200, 0.25)
            sheet.count_request(number, 418, 0.0)
            sheet.count_outcome("accepted", 2)
            os._exit(0)
        assert os.waitpid(child, 0)[1] == 0
    assert sorted(sheet.requests()) == [
        (0, "other", 1),
        (1, "other", 1),
        (2, "other", 1),
        (3, "200", 4),
    ]
    assert sheet.seconds() == {3: 1.25}
    assert sheet.outcomes() == {"accepted": 6, "duplicate": 0, "conflict": 0, "rejected": 0}


def test_more_processes_than_slots_share_them() -> None:
    sheet = TallySheet()
    for number in range(SLOT_COUNT + 3):
        sheet._process_id = -number  # as another process
        sheet.count_request(1, 200, 0.0)
    assert list(sheet.requests()) == [(1, "200", SLOT_COUNT + 3)]
