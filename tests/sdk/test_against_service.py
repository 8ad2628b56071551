"""The SDK and the real service, over a real connection."""

from __future__ import annotations

import os
import secrets
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from burrline import Client, errors, models


@pytest.fixture
def client(live_service: Any) -> Iterator[Client]:
    with Client(live_service.url, live_service.key) as made:
        yield made


@pytest.fixture
def mark() -> str:
    """What tells this test's objects from those of others."""
    return secrets.token_hex(6)


@pytest.fixture
def site(client: Client, mark: str) -> models.Site:
    return client.create_site(site_id=f"site-{mark}", name="Mill Lane", time_zone="Europe/Oslo")


@pytest.fixture
def grinder(client: Client, site: models.Site, mark: str) -> models.Grinder:
    return client.create_grinder(
        grinder_id=f"bar-{mark}",
        site_id=site.site_id,
        name="Bar left",
        rated_duty={"kind": "intermittent", "on_seconds": 150, "cycle_seconds": 600},
        motor=models.Motor(sensor="housing", caution_celsius=60.0, limit_celsius=75.0),
    )


def command(live_service: Any, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "burrline", *arguments],
        capture_output=True,
        text=True,
        env={**os.environ, "BURRLINE_URL": live_service.url, "BURRLINE_KEY": live_service.key},
        timeout=60,
    )


def test_four_lines_post_a_run_and_read_the_changed_status(
    live_service: Any, grinder: models.Grinder, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BURRLINE_URL", live_service.url)
    monkeypatch.setenv("BURRLINE_KEY", live_service.key)
    before = Client().get_status(grinder.grinder_id)
    four_lines = f"""
from burrline import Client
client = Client()
client.add_run(grinder_id="{grinder.grinder_id}", grams=18.2, seconds=7.4, motor_celsius=41.5)
print(client.get_status("{grinder.grinder_id}").throughput.grinder_grams)
"""
    found = subprocess.run([sys.executable, "-c", four_lines], capture_output=True, text=True)
    assert (found.stderr, found.stdout) == ("", "18.2\n")
    after = Client().get_status(grinder.grinder_id)
    assert (before.throughput.grinder_grams, before.throughput.last_run_at) == (0, None)
    assert after.throughput.grinder_grams == 18.2
    assert after.throughput.grinder_run_seconds == 7.4
    assert after.motor.reading_celsius == 41.5
    assert after.motor.state == "ok"
    assert after.extra == after.throughput.extra == after.duty.extra == after.break_in.extra == {}


def test_the_same_run_again_is_a_duplicate_and_another_under_its_id_a_conflict(
    client: Client, grinder: models.Grinder, mark: str
) -> None:
    run = models.NewRun(
        run_id=f"run-{mark}",
        grinder_id=grinder.grinder_id,
        started_at=datetime.now(UTC) - timedelta(minutes=5),
        seconds=7.4,
        grams=18.2,
        brew=models.BrewInput(method="espresso", beverage_grams=37.1),
    )
    assert [client.add_run(run).outcome for _ in range(2)] == ["accepted", "duplicate"]
    with pytest.raises(errors.Conflict) as raised:
        client.add_run(run, grams=19.0)
    assert raised.value.type == "urn:burrline:problem:run-conflict"
    assert raised.value.request_id
    kept = client.get_run(run.run_id)
    assert (kept.grams, kept.voided_at, kept.time_source) == (18.2, None, "device")
    assert kept.brew is not None
    assert kept.brew.beverage_grams == 37.1
    assert client.void_run(run.run_id).voided_at is not None
    assert client.get_status(grinder.grinder_id).throughput.grinder_grams == 0


def test_a_batch_tells_what_became_of_each_line(
    client: Client, grinder: models.Grinder, mark: str
) -> None:
    started_at = datetime.now(UTC) - timedelta(hours=20)
    lines: list[dict[str, Any]] = [
        {
            "run_id": f"{mark}-{number:06}",
            "grinder_id": grinder.grinder_id,
            "started_at": started_at + timedelta(seconds=10 * number),
            "seconds": 7,
            "grams": 18,
            "coffee_lot": "Ostrand, lot 0712, " + "washed " * 20,
        }
        for number in range(2_600)
    ]
    lines[1700]["grams"] = -1
    lines[2500]["grinder_id"] = f"none-{mark}"
    outcome = client.add_runs(lines)
    assert (outcome.received, outcome.accepted, outcome.rejected) == (2600, 2598, 2)
    assert [problem.index for problem in outcome.problems] == [1700, 2500]
    assert [problem.run_id for problem in outcome.problems] == [
        lines[1700]["run_id"],
        lines[2500]["run_id"],
    ]
    assert outcome.problems[0].errors[0].pointer == "#/runs/1700/grams"
    again = client.add_runs(lines)
    assert (again.accepted, again.duplicates, again.rejected) == (0, 2598, 2)
    assert client.get_status(grinder.grinder_id).throughput.grinder_grams == 2598 * 18

    listed = client.list_runs(
        grinder.grinder_id,
        from_at=started_at,
        to_at=started_at + timedelta(seconds=4500),
        limit=200,
    )
    assert len(listed.items) == 200
    assert {run.run_id for run in listed} == {line["run_id"] for line in lines[:450]}


def test_pages_are_walked_to_the_end_by_their_cursors(client: Client, mark: str) -> None:
    made = {f"page-{mark}-{number}" for number in range(5)}
    for site_id in made:
        client.create_site(site_id=site_id, name="Page", time_zone="UTC")
    walked = [site.site_id for site in client.list_sites(limit=2)]
    assert made <= set(walked)
    assert len(walked) == len(set(walked))
    page = client.list_sites(limit=2)
    assert page.next_cursor is not None
    following = page.next_page()
    assert following is not None
    assert [site.site_id for site in (*page.items, *following.items)] == walked[:4]
    with pytest.raises(errors.BadRequest) as raised:
        client.list_sites(cursor="made-up")
    assert raised.value.type == "urn:burrline:problem:bad-cursor"


def test_a_change_with_a_stale_etag_is_refused_and_one_without_reads_first(
    client: Client, grinder: models.Grinder
) -> None:
    first = client.get_grinder(grinder.grinder_id)
    assert first.etag
    second = client.update_grinder(grinder.grinder_id, if_match=first, name="Bar right")
    assert (second.name, second.motor) == ("Bar right", first.motor)
    assert second.etag != first.etag
    with pytest.raises(errors.PreconditionFailed) as raised:
        client.update_grinder(grinder.grinder_id, if_match=first, name="Bar middle")
    assert raised.value.status == 412
    third = client.update_grinder(grinder.grinder_id, {"name": "Bar middle", "serial": None})
    assert third.name == client.get_grinder(grinder.grinder_id).name == "Bar middle"
    assert third.etag == client.get_grinder(grinder.grinder_id).etag


def test_a_burr_set_is_fitted_read_and_described_anew(
    client: Client, grinder: models.Grinder, mark: str
) -> None:
    fitted_at = datetime.now(UTC).replace(microsecond=0) - timedelta(days=2)
    made = client.fit_burr_set(
        grinder.grinder_id,
        burr_set_id=f"flat-{mark}",
        geometry="flat",
        prior_grams=None,
        diameter_millimetres=64,
        fitted_at=fitted_at,
    )
    assert made.prior_grams is None
    assert made.fittings == (
        models.Fitting(
            grinder_id=grinder.grinder_id,
            fitted_at=fitted_at,
            removed_at=None,
            is_removal_implied=False,
        ),
    )
    changed = client.update_burr_set(made.burr_set_id, if_match=made, coating="titanium nitride")
    assert client.get_burr_set(made.burr_set_id) == changed
    assert list(client.list_burr_sets(grinder.grinder_id)) == [changed]
    assert client.get_status(grinder.grinder_id).throughput.burr_set_id == made.burr_set_id


def test_what_is_wrong_with_a_value_is_told_with_its_place(
    client: Client, grinder: models.Grinder
) -> None:
    with pytest.raises(errors.ValidationFailed) as raised:
        client.add_run(grinder_id=grinder.grinder_id, grams=-1)
    assert [one["pointer"] for one in raised.value.errors] == ["#/grams"]
    with pytest.raises(errors.NotFound):
        client.get_status(f"{grinder.grinder_id}-none")
    with pytest.raises(errors.Conflict) as taken:
        client.create_site(site_id=grinder.site_id, name="Again", time_zone="UTC")
    assert taken.value.type == "urn:burrline:problem:already-exists"


def test_without_a_good_key_nothing_is_told(live_service: Any) -> None:
    wrong = live_service.key[:-1] + ("A" if live_service.key[-1] != "A" else "B")
    for key in ("", wrong, "burrline_"):
        with pytest.raises(errors.AuthenticationError) as raised:
            Client(live_service.url, key).list_sites()
        assert raised.value.type == "urn:burrline:problem:unauthenticated"


def test_a_key_is_made_used_bound_and_revoked(
    live_service: Any, client: Client, grinder: models.Grinder, mark: str
) -> None:
    made = client.create_key(
        name=f"scale {mark}", scopes=["runs:write"], grinder_ids=[grinder.grinder_id]
    )
    scale = Client(live_service.url, made.secret)
    assert scale.add_run(grinder_id=grinder.grinder_id, grams=18).outcome == "accepted"
    with pytest.raises(errors.PermissionDenied) as raised:
        scale.get_status(grinder.grinder_id)
    assert raised.value.type == "urn:burrline:problem:scope-missing"
    assert made.key_id in {key.key_id for key in client.list_keys(limit=1)}
    assert client.revoke_key(made.key_id).revoked_at is not None
    with pytest.raises(errors.AuthenticationError):
        scale.add_run(grinder_id=grinder.grinder_id, grams=18)


def test_the_service_tells_its_health_its_document_and_its_page(live_service: Any) -> None:
    client = Client(live_service.url)
    assert client.get_livez().status == "pass"
    ready = client.get_readyz()
    assert ready.status == "pass"
    assert set(ready.checks.values()) == {"pass"}
    assert client.get_openapi()["openapi"].startswith("3.1")
    assert "<html" in client.get_docs().lower()


def test_a_past_instant_can_be_asked_for_and_a_coming_one_not(
    client: Client, grinder: models.Grinder
) -> None:
    client.add_run(grinder_id=grinder.grinder_id, grams=18.2, seconds=7.4)
    past = datetime.now(UTC) - timedelta(hours=1)
    assert client.get_status(grinder.grinder_id, as_of=past).throughput.grinder_grams == 0
    with pytest.raises(errors.ValidationFailed) as raised:
        client.get_status(grinder.grinder_id, as_of=datetime.now(UTC) + timedelta(hours=1))
    assert raised.value.type == "urn:burrline:problem:future-instant"


def test_the_fleet_holds_every_grinder_of_a_site(client: Client, grinder: models.Grinder) -> None:
    fleet = list(client.get_fleet(site_id=grinder.site_id, limit=1))
    assert [status.grinder_id for status in fleet] == [grinder.grinder_id]
    assert [one.grinder_id for one in client.list_grinders(site_id=grinder.site_id)] == [
        grinder.grinder_id
    ]


def test_the_command_line_posts_shows_and_checks(
    live_service: Any, grinder: models.Grinder
) -> None:
    posted = command(
        live_service, "post", grinder.grinder_id, "--grams", "18.2", "--seconds", "7.4",
        "--motor-celsius", "61",
    )  # fmt: skip
    assert (posted.returncode, posted.stderr) == (0, "")
    assert posted.stdout.endswith(" accepted\n")
    shown = command(live_service, "status", "--site", grinder.site_id)
    assert (shown.returncode, shown.stderr) == (0, "")
    assert grinder.grinder_id in shown.stdout
    checked = command(live_service, "check", grinder.grinder_id)
    assert checked.returncode == 1
    assert checked.stdout.startswith(f"WARNING - {grinder.grinder_id}: motor warm, 61.0 of 75 C")
    missing = command(live_service, "status", "no-such-grinder")
    assert (missing.returncode, missing.stdout) == (65, "")
    assert missing.stderr.startswith("404 ")


def test_facts_are_entered_listed_and_voided_with_their_instants(
    client: Client, grinder: models.Grinder, mark: str
) -> None:
    now = datetime.now(UTC).replace(microsecond=0)
    day = {"from_at": now - timedelta(days=1), "to_at": now - timedelta(hours=1)}
    grinder_id = grinder.grinder_id
    tally = client.add_tally(
        grinder_id=grinder_id, grams=4180, basis="weighed_in", tally_id=f"tally-{mark}", **day
    )
    assert (tally.from_at, tally.to_at, tally.purpose) == (*day.values(), "service")
    with pytest.raises(errors.Conflict) as raised:
        client.add_tally(
            grinder_id=grinder_id, grams=1, basis="weighed_in", tally_id=f"tally-{mark}", **day
        )
    assert raised.value.type == "urn:burrline:problem:already-exists"
    period = client.set_period(grinder_id, setting=4.8, feed="hopper", **day)
    correction = client.add_correction(
        grinder_id=grinder_id, from_at=day["from_at"], grams_factor=1.04, reason="scale was off"
    )
    care = client.record_care(grinder_id, task="alignment", at=day["from_at"], zero_setting=0.4)
    lists = {
        client.list_tallies: tally,
        client.list_periods: period,
        client.list_corrections: correction,
        client.list_care: care,
    }
    for listing, entered in lists.items():
        assert list(listing(grinder_id)) == [entered]
        assert list(listing(grinder_id, from_at=now)) == []
        assert list(listing(grinder_id, to_at=now, limit=1)) == [entered]
    assert client.void_tally(tally.tally_id).voided_at is not None
    assert client.void_period(period.period_id).voided_at is not None
    assert client.revoke_correction(correction.correction_id).revoked_at is not None
    assert client.void_care(care.care_id).voided_at is not None


def test_many_tallies_are_judged_one_by_one_and_the_same_again_is_once(
    client: Client, grinder: models.Grinder, mark: str
) -> None:
    now = datetime.now(UTC).replace(microsecond=0)
    day = {"from_at": now - timedelta(days=1), "to_at": now - timedelta(hours=1)}
    good = {"grinder_id": grinder.grinder_id, "grams": 4180, "basis": "weighed_in", **day}
    lines = [
        {**good, "tally_id": f"many-{mark}-0"},
        {**good, "tally_id": f"many-{mark}-0"},
        {**good, "tally_id": f"many-{mark}-0", "grams": 4181},
        {**good, "grinder_id": f"no-{mark}", "tally_id": f"many-{mark}-3"},
        {**good, "to_at": now + timedelta(days=1)},
        {**good, "to_at": day["from_at"]},
        {**good, "grams": -1},
        {**good, "tally_id": f"many-{mark}-7", "note": "beans of Tuesday"},
    ]
    told = client.add_tallies(lines)
    counts = (told.received, told.accepted, told.duplicates, told.conflicts, told.rejected)
    assert counts == (8, 2, 1, 1, 4)
    assert [
        (one.index, one.outcome, one.errors[0].pointer, one.errors[0].detail)
        for one in told.problems
    ] == [
        (2, "conflict", "#/tallies/2/tally_id", f"Tally 'many-{mark}-0' was recorded before with "
         "other content; the first one is kept."),
        (3, "rejected", "#/tallies/3/grinder_id", f"There is no grinder named 'no-{mark}' here."),
        (4, "rejected", "#/tallies/4/to", "lies in the future"),
        (5, "rejected", "#/tallies/5/to", "must be later than from"),
        (6, "rejected", "#/tallies/6/grams", "must be at least 0 and at most 100000000"),
    ]  # fmt: skip
    before = client.get_status(grinder.grinder_id).throughput.grinder_grams
    assert before == 2 * 4180
    client.void_tally(f"many-{mark}-7")
    again = client.add_tallies([lines[0], lines[7]])  # what was voided stays so
    assert (again.accepted, again.duplicates) == (0, 2)
    assert client.get_status(grinder.grinder_id).throughput.grinder_grams == 4180
    assert client.add_tallies([]).received == 0


def test_readings_are_kept_listed_and_voided(
    client: Client, grinder: models.Grinder, mark: str
) -> None:
    reading = models.NewReading(
        grinder_id=grinder.grinder_id, reading_id=f"read-{mark}", motor_celsius=61.5
    )
    assert client.add_readings(reading).accepted == 1
    assert client.add_readings([reading, {"grinder_id": grinder.grinder_id}]).problems[0].index == 1
    (kept,) = client.list_readings(grinder.grinder_id)
    assert (kept.reading_id, kept.motor_celsius) == (f"read-{mark}", 61.5)
    assert client.get_status(grinder.grinder_id).motor.state == "warm"
    assert client.void_reading(kept.reading_id).voided_at is not None
    assert client.get_status(grinder.grinder_id).motor.state == "unknown"


def test_a_device_without_a_clock_is_placed_by_its_uptime(
    live_service: Any, grinder: models.Grinder, mark: str
) -> None:
    device = Client(live_service.url, live_service.key, device_clock=lambda: ("17", 4000.0))
    line = {"grinder_id": grinder.grinder_id, "grams": 18, "uptime_seconds": 3400}
    device.add_runs(
        [
            {**line, "run_id": f"{mark}-1", "boot_id": "17"},
            {**line, "run_id": f"{mark}-2", "boot_id": "16"},
        ],
        watched_from=datetime.now(UTC) - timedelta(hours=1),
    )
    placed, unplaced = (device.get_run(f"{mark}-{number}") for number in (1, 2))
    assert unplaced.time_source == "received"
    assert placed.time_source != "received"
    assert (placed.received_at - placed.started_at) == timedelta(seconds=600)


def test_a_site_and_a_grinder_carry_when_nothing_is_to_be_expected(
    client: Client, grinder: models.Grinder, mark: str
) -> None:
    hours = models.OpeningHours(mon=(("07:00", "19:00"),))
    made = client.create_site(
        site_id=f"shut-{mark}",
        name="Quay",
        time_zone="UTC",
        opening_hours=hours,
        closed_days=["2026-12-25"],
    )
    assert (made.opening_hours, made.closed_days) == (hours, ("2026-12-25",))
    assert client.update_site(made.site_id, if_match=made, opening_hours=None).opening_hours is None
    begins = datetime.now(UTC).replace(microsecond=0) - timedelta(days=1)
    changed = client.update_grinder(
        grinder.grinder_id, out_of_service=[{"from": begins, "to": None}], retained_grams=2.5
    )
    assert changed.out_of_service == (models.Span(from_at=begins, to_at=None),)
    assert changed.retained_grams == 2.5
    again = client.update_grinder(grinder.grinder_id, out_of_service=changed.out_of_service)
    assert again.out_of_service == changed.out_of_service
    other = client.create_grinder(
        grinder_id=f"next-{mark}",
        site_id=made.site_id,
        name="Next",
        out_of_service=changed.out_of_service,
    )
    assert other.out_of_service == changed.out_of_service


def test_a_burr_set_entered_by_mistake_is_voided(
    client: Client, grinder: models.Grinder, mark: str
) -> None:
    made = client.fit_burr_set(
        grinder.grinder_id, burr_set_id=f"oops-{mark}", geometry="flat", prior_grams=0
    )
    voided = client.void_burr_set(made.burr_set_id)
    assert voided.voided_at is not None
    assert voided.etag == client.get_burr_set(made.burr_set_id).etag
    assert client.get_status(grinder.grinder_id).throughput.burr_set_id is None
