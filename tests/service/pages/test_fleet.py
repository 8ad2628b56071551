"""The fleet page: who may see it, what it shows, and that nothing sent can act on it."""

from __future__ import annotations

import base64
import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest

from answers import CheckedClient
from burrline_service.actions import burrs, ingest, places
from burrline_service.core.records import Caller, Run
from burrline_service.store.database import Database
from warm_motors import true_celsius, warm_runs, working_spans

Browse = Callable[[str | None], CheckedClient]

pytestmark = pytest.mark.parametrize("database_kind", ["sqlite"])


@pytest.fixture
def fleet(database: Database, caller: Caller, clock: Any) -> None:
    """Two sites; one grinder runs over its limit, one has a hostile name and no burr set."""
    now = clock()
    for site_id, time_zone in (("quay", "Asia/Kathmandu"), ("mill", "America/Lima")):
        places.create_site(
            database,
            caller,
            fields={"site_id": site_id, "name": f"The {site_id}", "time_zone": time_zone},
            now=now,
        )
    motor = {"sensor": "housing", "caution_celsius": 60, "limit_celsius": 75}
    duty = {"kind": "intermittent", "duty_fraction": 0.25}
    grinders: list[dict[str, Any]] = [
        {"grinder_id": "hot-1", "site_id": "quay", "name": "By the window", "motor": motor,
         "rated_duty": duty},
        {"grinder_id": "odd-1", "site_id": "mill", "name": "<script>alert('x')</script>"},
    ]  # fmt: skip
    for fields in grinders:
        places.create_grinder(database, caller, fields=fields, now=now)
    burrs.fit_burr_set(
        database,
        caller,
        grinder_id="hot-1",
        fields={
            "burr_set_id": "steel-7",
            "geometry": "flat",
            "diameter_millimetres": 64,
            "prior_grams": 0,
            "fitted_at": now - timedelta(days=2),
        },
        now=now,
    )
    runs = [
        Run(
            run_id=f"hot-1-{minute:04d}",
            grinder_id="hot-1",
            started_at=now - timedelta(minutes=minute + 1),
            seconds=50,
            grams=120,
            motor_celsius=78.5,
        )
        for minute in range(20)
    ]
    ingest.add_runs(database, caller, runs=runs, now=now)


def signed_in(key: str) -> dict[str, str]:
    token = base64.b64encode(f"anybody:{key}".encode()).decode()
    return {"Authorization": f"Basic {token}"}


@pytest.fixture
def browse(make_http: Browse) -> Browse:
    """Clients that send no key of their own: a page is asked for by a browser."""
    return make_http


def rows_of(page: str) -> list[str]:
    body = re.search(r"<tbody>(.*)</tbody>", page, re.DOTALL)
    return [] if body is None else re.findall(r"<tr>.*?</tr>", body[1], re.DOTALL)


@pytest.mark.usefixtures("fleet")
def test_the_grinder_that_calls_for_somebody_comes_first_with_its_numbers(
    browse: Browse, key: str
) -> None:
    answer = browse(None).get("/", headers=signed_in(key))
    first, second = rows_of(answer.text)
    assert answer.status_code == 200
    assert "By the window" in first
    assert "odd-1" in second
    assert "2.40 kg" in first
    assert "steel-7" in first
    assert "over limit" in first
    assert "78.5 °C" in first
    assert "limit 75 °C" in first
    # 10 of the 20 runs of 50 s lie in the last 600 s
    assert "over rating" in first
    assert "83 % of 10 min on, rated 25 %" in first
    assert "breaking in" in first


@pytest.mark.usefixtures("fleet")
def test_a_motor_over_its_limit_brings_the_cautions(browse: Browse, key: str, clock: Any) -> None:
    page = browse(None).get("/", headers=signed_in(key)).text
    assert "Unplug it" in page
    assert "thermal cut-out" in page
    clock.pass_by(days=1)
    later = browse(None).get("/", headers=signed_in(key)).text
    assert "Unplug it" not in later


@pytest.mark.usefixtures("fleet")
def test_nothing_sent_becomes_markup(browse: Browse, key: str) -> None:
    page = browse(None).get("/", headers=signed_in(key)).text
    assert "<script" not in page
    assert "&lt;script&gt;" in page


@pytest.mark.usefixtures("fleet")
def test_a_site_can_be_chosen(browse: Browse, key: str) -> None:
    page = browse(None).get("/?site_id=mill", headers=signed_in(key)).text
    assert [("odd-1" in row) for row in rows_of(page)] == [True]
    assert 'aria-current="page">The mill' in page


@pytest.mark.usefixtures("fleet")
def test_a_key_sees_its_own_site_only(browse: Browse, make_key: Callable[..., str]) -> None:
    page = browse(None).get("/", headers=signed_in(make_key(site_ids=["mill"]))).text
    assert len(rows_of(page)) == 1
    assert "hot-1" not in page
    assert "The quay" not in page


@pytest.mark.usefixtures("fleet")
def test_without_a_good_key_with_scope_read_nothing_is_shown(
    browse: Browse, make_key: Callable[..., str], other_key: str
) -> None:
    client = browse(None)
    for headers in (
        {},
        signed_in("nonsense"),
        signed_in(make_key(scopes=["runs:write"])),
        {"Authorization": f"Bearer {make_key()}"},
        {"Authorization": "Basic ///"},
    ):
        answer = client.get("/", headers=headers)
        assert answer.status_code == 401
        assert answer.headers["WWW-Authenticate"].startswith("Basic realm=")
        assert "By the window" not in answer.text
    foreign = client.get("/", headers=signed_in(other_key))
    assert foreign.status_code == 200
    assert rows_of(foreign.text) == []


def test_pages_load_nothing_from_elsewhere_and_cannot_be_framed(browse: Browse, key: str) -> None:
    client = browse(None)
    answer = client.get("/", headers=signed_in(key))
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert answer.headers["Cache-Control"] == "no-store"
    assert not re.search(r"(?:href|src)=\"(?:https?:)?//", answer.text)
    sheet = re.search(r'href="(/static/[^"]+)"', answer.text)
    assert sheet is not None
    with client.get(sheet[1]) as style:
        assert style.status_code == 200


def test_the_estimate_is_labelled_as_one_beside_the_reading_with_its_body(
    browse: Browse, key: str, database: Database, caller: Caller, clock: Any
) -> None:
    now = clock()
    site = {"site_id": "quay", "name": "The quay", "time_zone": "Europe/Oslo"}
    places.create_site(database, caller, fields=site, now=now)
    motor = {"sensor": "housing", "limit_celsius": 125}
    plate = {"grinder_id": "warm-1", "site_id": "quay", "name": "Warm", "motor": motor}
    places.create_grinder(database, caller, fields=plate, now=now)
    spans = working_spans(now - timedelta(minutes=13), days=3)
    ingest.add_runs(database, caller, runs=warm_runs(spans, grinder_id="warm-1"), now=now)
    (row,) = rows_of(browse(None).get("/", headers=signed_in(key)).text)
    found = re.search(r"estimated now, housing: (\d+) °C \((\d+) to (\d+) °C, 90 %\)", row)
    assert found is not None
    best, low, high = map(int, found.groups())
    assert low <= best <= high
    assert abs(best - true_celsius(spans, now)) < 3
    assert "run on, at its limit in" in row
    assert "limit 125 °C" in row
