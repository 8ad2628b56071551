"""The demo's story: the same every time, plausible, and with everything it promises in it."""

from __future__ import annotations

import hashlib
import json
import math
import os
import re
import subprocess
import sys
from collections import Counter
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from burrline_service.demo import scenario
from burrline_service.demo.days import Grinding, opening
from burrline_service.demo.episodes import SCRIPTS
from burrline_service.demo.fleet import GRINDERS, PLACES, Placed
from burrline_service.demo.machines import FLAT_64
from burrline_service.demo.measuring import Measured

# Soon after a change of clocks (tz database: North America 8 March, Europe 29 March, New Zealand
# 5 April 2026), and at hours at which now one town sleeps, now another.
NOWS = (
    datetime(2026, 3, 9, 1, 15, 7, 250000, tzinfo=UTC),
    datetime(2026, 3, 29, 17, 40, tzinfo=UTC),
    datetime(2026, 4, 6, 9, 0, tzinfo=UTC),
    datetime(2026, 8, 15, 14, 42, 11, tzinfo=UTC),
    datetime(2026, 12, 31, 23, 59, 59, 999000, tzinfo=UTC),
)
NOW = NOWS[3]
BY_PART = {placed.part: placed for placed in GRINDERS if placed.part is not None}
CAFES = [place for place in PLACES if place.weekday_hours[0] > 0]

Runs = list[dict[str, Any]]


def ended_at(run: dict[str, Any], placed: Placed) -> datetime:
    seconds = run.get("seconds")
    if seconds is None:
        seconds = run["grams"] / placed.kind.grams_per_second
    started_at: datetime = run["started_at"]
    return started_at + timedelta(seconds=seconds)


@pytest.fixture(scope="module")
def fortnight() -> dict[str, Runs]:
    """All runs of the whole story up to one instant, by grinder."""
    return {placed.grinder_id: scenario.runs_of(placed, NOW) for placed in GRINDERS}


# --- the same every time ----------------------------------------------------------------------

TOLD = """
import hashlib, json
from datetime import datetime
from burrline_service.demo import scenario
from burrline_service.demo.fleet import GRINDERS
now = datetime.fromisoformat("{now}")
story = [scenario.sites(), scenario.grinders(now), scenario.burr_sets(now),
         [scenario.runs_of(placed, now, 1) for placed in GRINDERS]]
print(hashlib.sha256(json.dumps(story, default=str).encode()).hexdigest())
"""


def test_the_story_of_an_instant_is_the_same_to_the_last_byte_in_any_process() -> None:
    story = [
        scenario.sites(),
        scenario.grinders(NOW),
        scenario.burr_sets(NOW),
        [scenario.runs_of(placed, NOW, 1) for placed in GRINDERS],
    ]
    told = subprocess.run(
        [sys.executable, "-c", TOLD.format(now=NOW.isoformat())],
        capture_output=True,
        text=True,
        check=True,
        env={
            **os.environ,
            "PYTHONHASHSEED": "4711",
            "TZ": "Asia/Tokyo",
            "PYTHONPATH": os.pathsep.join(path for path in sys.path if path),
        },
    )
    here = hashlib.sha256(json.dumps(story, default=str).encode()).hexdigest()
    assert told.stdout.strip() == here


def test_another_instant_has_other_runs() -> None:
    placed = BY_PART["overheating"]
    later = scenario.runs_of(placed, NOW + timedelta(minutes=1), 1)
    assert scenario.runs_of(placed, NOW, 1)[-1] != later[-1]


def test_an_ordinary_day_is_the_same_however_long_the_story_and_whenever_it_is_told() -> None:
    placed = GRINDERS[0]
    short = [run["run_id"] for run in scenario.runs_of(placed, NOW, 1)]
    long = [run["run_id"] for run in scenario.runs_of(placed, NOW, 3)]
    later = [run["run_id"] for run in scenario.runs_of(placed, NOW + timedelta(hours=5), 2)]
    assert len(short) > 50
    assert long[-len(short) :] == short
    assert set(short) <= set(later)
    assert len(set(later) - set(long)) > 10


# --- plausible --------------------------------------------------------------------------------


def test_ids_are_unique_and_of_the_contracts_form() -> None:
    object_id, run_id = (
        re.compile(r"[a-z0-9][a-z0-9_-]{0,63}"),
        re.compile(r"[A-Za-z0-9._:-]{8,128}"),
    )
    site_ids = [body["site_id"] for body in scenario.sites()]
    grinder_ids = [body["grinder_id"] for body in scenario.grinders(NOW)]
    burr_set_ids = [body["burr_set_id"] for _, body in scenario.burr_sets(NOW)]
    for ids in (site_ids, grinder_ids, burr_set_ids):
        assert len(set(ids)) == len(ids)
        assert all(object_id.fullmatch(one) for one in ids)
    assert {placed.site_id for placed in GRINDERS} == set(site_ids)
    run_ids = [run["run_id"] for placed in GRINDERS for run in scenario.runs_of(placed, NOW, 1)]
    assert len(set(run_ids)) == len(run_ids) > 500
    assert all(run_id.fullmatch(one) for one in run_ids)


@pytest.mark.parametrize("now", NOWS, ids=str)
def test_no_grinder_runs_twice_at_once_nor_in_the_future(now: datetime) -> None:
    for placed in GRINDERS:
        runs = scenario.runs_of(placed, now, 2)
        assert bool(runs) == (placed.runs_per_day > 0 and placed.part != "retired")
        for before, after in pairwise(runs):
            assert ended_at(before, placed) < after["started_at"], after
        for run in runs:
            assert run["started_at"] >= now - timedelta(days=2)
            assert ended_at(run, placed) <= now


@pytest.mark.parametrize("now", NOWS, ids=str)
def test_a_cafe_grinds_only_while_it_is_open_by_its_own_clock(now: datetime) -> None:
    ground: Counter[tuple[str, date]] = Counter()
    for place in CAFES:
        zone = ZoneInfo(place.time_zone)
        for placed in GRINDERS:
            if placed.site_id != place.site_id:
                continue
            for run in scenario.runs_of(placed, now, 3):
                local = run["started_at"].astimezone(zone)
                hours = place.weekday_hours if local.weekday() < 5 else place.weekend_hours
                assert hours[0] <= local.hour < hours[1], (place.site_id, local)
                assert local.weekday() != place.closed_weekday
                ground[place.site_id, local.date()] += 1
    assert min(Counter(site_id for site_id, _ in ground).values()) >= 2


def test_an_opening_hour_is_an_hour_of_the_wall_clock_on_both_sides_of_a_change_of_clocks() -> None:
    # tz database, Europe/Lisbon: UTC until 29 March 2026 01:00 UTC, from then on UTC+1.
    lisbon = next(place for place in PLACES if place.time_zone == "Europe/Lisbon")
    before, after = opening(lisbon, date(2026, 3, 28)), opening(lisbon, date(2026, 3, 29))
    assert before is not None
    assert after is not None
    assert before[0] == datetime(2026, 3, 28, lisbon.weekend_hours[0], tzinfo=UTC)
    assert after[0] == datetime(2026, 3, 29, lisbon.weekend_hours[0] - 1, tzinfo=UTC)


def test_doses_flows_powers_and_temperatures_are_those_of_real_machines(
    fortnight: dict[str, Runs],
) -> None:
    """Ranges: common practice, no source."""
    for placed in GRINDERS:
        kind = placed.kind
        assert 250 <= kind.rated_watts <= 1500
        assert 0.8 <= kind.grams_per_second <= 6
        for run in fortnight[placed.grinder_id]:
            is_bag = (
                placed.role in ("retail", "line") or run.get("coffee_lot") == "house-rush-order"
            )
            grams, seconds = run.get("grams"), run.get("seconds")
            assert grams is not None or seconds is not None
            if grams is not None and seconds is not None:
                assert 0.6 < grams / seconds < 7
            if run.get("purpose", "service") in ("service", "measurement") and grams is not None:
                assert (80 <= grams <= 1010) if is_bag else (6.5 <= grams <= 23), run
            if "energy_joules" in run:
                assert 0.4 < run["energy_joules"] / seconds / kind.rated_watts < 1
            if "motor_celsius" in run:
                assert 10 < run["ambient_celsius"] < 35
                steady = run["ambient_celsius"] + kind.rise_kelvin
                assert run["ambient_celsius"] - 1 < run["motor_celsius"] < steady
            if "setting" in run:
                assert 0 <= run["setting"] <= kind.highest_setting
            brew = run.get("brew")
            if brew is not None and brew["method"] == "espresso":
                assert 15 <= brew["seconds"] <= 45
                if grams is not None:
                    assert 1.4 < brew["beverage_grams"] / grams < 2.6


def test_the_motor_heats_and_cools_as_the_closed_form_of_periodic_duty_says() -> None:
    """Peak of a first-order body on for t, off for p, for ever: the sum of a geometric series,
    rise (1 - a) / (1 - a b) with a = exp(-t / heating), b = exp(-p / cooling)."""
    placed = next(one for one in GRINDERS if one.kind is FLAT_64)
    measured = Measured(placed, PLACES[0])
    for n in range(400):
        measured.run(Grinding(NOW + timedelta(seconds=300 * n), 60.0, 140.0, 4.0))
    a = math.exp(-60 / FLAT_64.heating_seconds)
    b = math.exp(-240 / FLAT_64.cooling_seconds)
    peak_kelvin = FLAT_64.rise_kelvin * (1 - a) / (1 - a * b)
    assert measured.rise_kelvin == pytest.approx(peak_kelvin, rel=1e-9)


# --- everything it promises -------------------------------------------------------------------


def test_the_fleet_is_a_few_dozen_grinders_in_several_zones_one_of_them_half_an_hour_off() -> None:
    assert 30 <= len(GRINDERS) <= 40
    offsets = {NOW.astimezone(ZoneInfo(place.time_zone)).utcoffset() for place in PLACES}
    assert len(offsets) >= 5
    assert any(offset is not None and offset.seconds % 3600 == 1800 for offset in offsets)


def test_a_fortnight_is_some_twenty_to_forty_thousand_runs(fortnight: dict[str, Runs]) -> None:
    assert 20_000 < sum(map(len, fortnight.values())) < 40_000


def test_weekdays_have_a_morning_rush_and_weekends_have_none(fortnight: dict[str, Runs]) -> None:
    for place in CAFES:
        zone = ZoneInfo(place.time_zone)
        weekday: Counter[int] = Counter()
        weekend: Counter[int] = Counter()
        for placed in GRINDERS:
            if placed.site_id == place.site_id and placed.role == "espresso":
                for run in fortnight[placed.grinder_id]:
                    local = run["started_at"].astimezone(zone)
                    if run.get("purpose", "service") == "service":
                        (weekday if local.weekday() < 5 else weekend)[local.hour] += 1
        rush_hour, rush_count = weekday.most_common(1)[0]
        assert 7 <= rush_hour <= 9, place.site_id
        assert rush_count > 2.5 * sum(weekday.values()) / len(weekday)
        assert weekend.most_common(1)[0][0] > rush_hour


def test_every_purpose_feed_basis_and_kind_of_device_occurs(fortnight: dict[str, Runs]) -> None:
    runs = [run for runs in fortnight.values() for run in runs]
    purposes = {run.get("purpose", "service") for run in runs}
    assert purposes == {"service", "break_in", "dial_in", "measurement", "purge", "cleaning"}
    assert {run.get("feed") for run in runs} == {None, "hopper", "single_dose"}
    assert {run.get("grams_basis") for run in runs} >= {"weighed_out", "weighed_in", "target"}
    assert {(run.get("brew") or {}).get("method") for run in runs} >= {"espresso", "percolation"}
    measured = {frozenset({"seconds", "grams", "energy_joules"} & run.keys()) for run in runs}
    assert measured >= {
        frozenset({"grams"}),
        frozenset({"seconds", "energy_joules"}),
        frozenset({"seconds", "grams"}),
    }


@pytest.mark.parametrize("now", NOWS, ids=str)
def test_one_motor_climbs_over_its_limit_in_the_last_minutes(now: datetime) -> None:
    placed = BY_PART["overheating"]
    runs = scenario.runs_of(placed, now, 2)[-SCRIPTS["overheating"][2] :]
    celsius = [run["motor_celsius"] for run in runs]
    limit = placed.kind.motor["limit_celsius"]
    assert now - runs[0]["started_at"] < timedelta(minutes=30)
    assert all(later > earlier for earlier, later in pairwise(celsius))
    assert celsius[0] < limit <= celsius[-1]


def test_no_other_motor_ever_was_over_its_limit(fortnight: dict[str, Runs]) -> None:
    over = {
        placed.part
        for placed in GRINDERS
        for run in fortnight[placed.grinder_id]
        if run.get("motor_celsius", 0) >= placed.kind.motor.get("limit_celsius", 155)
    }
    assert over == {"overheating"}


@pytest.mark.parametrize("now", NOWS, ids=str)
def test_another_motor_is_warm_and_below_its_limit(now: datetime) -> None:
    placed = BY_PART["warm"]
    latest = scenario.runs_of(placed, now, 2)[-1]
    motor = placed.kind.motor
    assert motor["caution_celsius"] < latest["motor_celsius"] < motor["limit_celsius"]


def test_a_new_burr_set_was_broken_in_by_the_kilogram_a_few_days_ago(
    fortnight: dict[str, Runs],
) -> None:
    placed = BY_PART["breaking_in"]
    first, second = (body for owner, body in scenario.burr_sets(NOW) if owner == placed.grinder_id)
    assert first["fitted_at"] < second["fitted_at"] < NOW - timedelta(days=2)
    assert second["prior_grams"] == 0
    batches = [run for run in fortnight[placed.grinder_id] if run.get("purpose") == "break_in"]
    assert len(batches) >= 5
    assert all(run["grams"] == pytest.approx(1000, rel=0.05) for run in batches)
    assert all(run["started_at"] > second["fitted_at"] for run in batches)


def test_a_retired_grinder_has_not_run_since(fortnight: dict[str, Runs]) -> None:
    placed = BY_PART["retired"]
    (body,) = (one for one in scenario.grinders(NOW) if one["grinder_id"] == placed.grinder_id)
    runs = fortnight[placed.grinder_id]
    assert len(runs) > 100
    assert all(ended_at(run, placed) <= body["retired_at"] for run in runs)
