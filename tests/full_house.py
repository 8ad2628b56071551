"""An invented chain with every kind of fact that can be recorded, told through the actions."""

from __future__ import annotations

import random
import uuid
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

from burrline_service.actions import (
    admin,
    alert_settings,
    alerting,
    burrs,
    checkpoints,
    entries,
    ingest,
    keep,
    noticing,
    places,
    readings,
)
from burrline_service.core.entered import Reading
from burrline_service.core.records import (
    Brew,
    Caller,
    Run,
    Watched,
)
from burrline_service.store.database import Database

OPENED_AT = datetime(2026, 1, 5, 6, 0, tzinfo=UTC)
NOW = datetime(2026, 3, 30, 12, 0, tzinfo=UTC)
RETAINED_DAYS = 30
DAY, HOUR, MINUTE, SECOND = (
    timedelta(days=1),
    timedelta(hours=1),
    timedelta(minutes=1),
    timedelta(seconds=1),
)
ANY = frozenset({-1})
PLATE = {
    "rated_duty": {"kind": "intermittent", "on_seconds": 120.0, "cycle_seconds": 600.0},
    "motor": {"sensor": "winding", "caution_celsius": 90.0, "limit_celsius": 110.0},
    "grind": {"expected_grams_per_second": 2.2},
}


def runs_of_the_house() -> list[Run]:
    """Two months of two grinders, one of them watched by a scale and a plug at once."""
    dice = random.Random(20260330)
    runs: list[Run] = []
    for day in range(84):
        for number in range(6):
            at = OPENED_AT + day * DAY + number * 100 * MINUTE + dice.randrange(3000) * SECOND
            at += timedelta(milliseconds=dice.randrange(1000))
            grams = round(dice.gauss(18, 0.4), 3)
            seconds = round(grams / 2.2 + dice.uniform(-0.3, 0.3), 3)
            name = f"bar-1-{day:03d}-{number:02d}"
            scale = Run(
                run_id=name,
                grinder_id="bar-1",
                started_at=at,
                seconds=seconds if number % 2 else None,
                grams=grams,
                setting=5.0 if number % 3 else None,
                coffee_lot="hill-7" if number == 2 else None,
                brew=Brew("espresso", seconds=27.5, beverage_grams=36.0) if number == 3 else None,
                motor_celsius=round(dice.uniform(25, 60), 1),
                purpose=(None, "service", "cleaning", "dial_in")[number % 4],
                source="scale",
            )
            runs.append(scale)
            if number < 4:  # the plug sees the motor, and guesses or weighs the grams
                runs.append(
                    replace(
                        scale,
                        run_id=str(uuid.UUID(int=dice.getrandbits(128), version=4)),
                        started_at=at + dice.randrange(-1500, 1500) * timedelta(milliseconds=1),
                        seconds=seconds + 0.4,
                        grams=round(grams + (2.0 if number == 0 else 0.1), 3),
                        grams_basis="weighed_in" if number == 0 else "estimated",
                        source="plug",
                    )
                )
            runs.append(
                Run(
                    run_id=f"bar-2-{day:03d}-{number:02d}",
                    grinder_id="bar-2",
                    started_at=at + 5 * MINUTE,
                    seconds=seconds,
                    grams=None if number == 4 else grams,
                    feed="hopper" if number == 1 else None,
                    rpm=1400.0 if number == 5 else None,
                )
            )
    runs.append(Run("clock-of-1970", "bar-2", datetime(1970, 1, 2, tzinfo=UTC), grams=18.0))
    runs.append(Run("no-clock-at-all", "bar-2", age_seconds=4000.0, seconds=8.0, grams=18.0))
    return runs


def fill(database: Database, account_id: str = "lantern") -> Caller:
    """Record everything, let old runs go, and record some more behind their back."""
    admin.create_account(database, account_id=account_id, name="Lantern", now=OPENED_AT)
    caller = admin.owner(database, account_id=account_id, now=OPENED_AT)
    _places(database, caller)
    _alert_settings(database, caller)
    everything = runs_of_the_house()
    random.Random(1).shuffle(everything)
    for start in range(0, len(everything), 300):
        batch = everything[start : start + 300]
        watched = Watched(OPENED_AT + start * MINUTE, OPENED_AT + start * MINUTE + 9 * HOUR)
        ingest.add_runs(database, caller, runs=batch, watched=watched, now=NOW - 2 * HOUR)
    _entries(database, caller)
    _readings(database, caller)
    for run_id in ("bar-1-010-01", "bar-1-080-02", "bar-2-083-00"):
        ingest.void_run(database, caller, run_id=run_id, now=NOW - HOUR)
    keep.archive_runs(database, retained_days=RETAINED_DAYS, now=NOW)
    ingest.add_runs(database, caller, runs=late_runs(), now=NOW)
    _burr_sets(database, caller, late=True)
    _alerts(database, caller)
    return caller


def _alerts(database: Database, caller: Caller) -> None:
    """What was noticed of long runs, one of them seen."""
    noticing.look_once(database, caller.account_no, now=NOW)
    asked = {"kind": "long_run", "limit": 1, "position": None, "now": NOW}
    (alert,) = alerting.list_alerts(database, caller, **asked).items
    assert alert.alert_id is not None
    alerting.acknowledge_alert(database, caller, alert_id=alert.alert_id, now=NOW)


def _alert_settings(database: Database, caller: Caller) -> None:
    """Of the account, a site and a grinder; the account's are set a second time."""
    for at, place, fields in (
        (OPENED_AT, {}, {"long_run": {"longest_run_seconds": 8.6}}),
        (OPENED_AT, {"site_id": "mill-lane"}, {"quiet_hours": {"sun": [["20:00", "07:00"]]}}),
        (OPENED_AT, {"grinder_id": "bar-1"}, {"settled": {"is_on": False}}),
        (OPENED_AT + DAY, {}, {"long_run": {"longest_run_seconds": 8.7, "minimum_seconds": 0.01}}),
    ):
        alert_settings.set_alert_settings(
            database, caller, **place, fields=fields, if_match=frozenset({-1}), now=at
        )


def late_runs() -> list[Run]:
    """Runs from the time that is archived already."""
    return [
        Run(
            f"late-run-{number:03d}", "bar-1", OPENED_AT + number * 5 * DAY, seconds=7.0, grams=17.0
        )
        for number in range(8)
    ]


def _places(database: Database, caller: Caller) -> None:
    def site(**fields: Any) -> None:
        places.create_site(database, caller, fields=fields, now=OPENED_AT)

    site(site_id="mill-lane", name="Mill Lane", time_zone="Europe/Dublin")
    site(site_id="quay", name="Quay “2”", time_zone="America/St_Johns", closed_days=["2026-03-17"])
    for grinder_id in ("bar-1", "bar-2", "spare"):
        fields = {"grinder_id": grinder_id, "site_id": "mill-lane", "name": grinder_id, **PLATE}
        places.create_grinder(database, caller, fields=fields, now=OPENED_AT)
    hours = {"opening_hours": {"mon": [["07:00", "19:00"]], "tue": [["07:00", "19:00"]]}}
    changed = {**hours, "effective_at": OPENED_AT + 60 * DAY}
    places.update_site(
        database, caller, site_id="mill-lane", fields=changed, if_match=ANY, now=NOW - 3 * HOUR
    )
    moved = {
        "site_id": "quay",
        "motor": {"limit_celsius": None},
        "effective_at": OPENED_AT + 70 * DAY,
    }
    places.update_grinder(
        database, caller, grinder_id="bar-2", fields=moved, if_match=ANY, now=NOW - 3 * HOUR
    )
    _burr_sets(database, caller)


def _burr_sets(database: Database, caller: Caller, *, late: bool = False) -> None:
    def fit(grinder_id: str, at: datetime, burr_set_id: str | None, **fields: Any) -> str:
        given = {"burr_set_id": burr_set_id, "fitted_at": at, **fields}
        return burrs.fit_burr_set(
            database, caller, grinder_id=grinder_id, fields=given, now=NOW - HOUR
        ).burr_set_id

    if late:
        fit("bar-1", OPENED_AT + 75 * DAY + 17 * MINUTE, "late", geometry="flat", prior_grams=None)
        return
    fit("bar-1", OPENED_AT, "first", geometry="flat", prior_grams=1500.5, serial="A-1")
    fit("bar-2", OPENED_AT + 3 * DAY, "second", geometry="conical", prior_grams=0.0)
    fit("spare", OPENED_AT + 20 * DAY + 25 * MINUTE, "first")  # moves away, within an hour
    fit("bar-1", OPENED_AT + 20 * DAY + 40 * MINUTE, None, geometry="flat", prior_grams=0.0)
    mistaken = fit("spare", OPENED_AT + 40 * DAY, "mistaken", geometry="flat", prior_grams=0.0)
    burrs.void_burr_set(database, caller, burr_set_id=mistaken, now=NOW - HOUR)


def _entries(database: Database, caller: Caller) -> None:
    def tally(tally_id: str, days: int, **fields: Any) -> None:
        at = OPENED_AT + days * DAY
        given = {
            "tally_id": tally_id,
            "grinder_id": "bar-2",
            "from_at": at,
            "to_at": at + 11 * HOUR,
        }
        given |= {"grams": 412.345, "basis": "weighed_in", **fields}
        entries.add_tally(database, caller, fields=given, now=NOW - HOUR)

    def correct(correction_id: str | None, **fields: Any) -> None:
        given = {"correction_id": correction_id, "grinder_id": "bar-1", "source": "scale"}
        given |= {"from_at": OPENED_AT + 62 * DAY, "to_at": None, "reason": "seen on site"}
        entries.add_correction(database, caller, fields={**given, **fields}, now=NOW - HOUR)

    tally("notebook-1", 5, purpose="break_in", note="the old notebook")
    tally("notebook-2", 82, basis="estimated")
    tally("notebook-3", 83)
    entries.void_tally(database, caller, tally_id="notebook-3", now=NOW - HOUR)
    correct("scale-high", grams_factor=0.9875)
    correct("scale-clock", clock_offset_seconds=-2.5, to_at=OPENED_AT + 74 * DAY)
    correct("plug-dead", source="plug", is_void=True, from_at=OPENED_AT + 79 * DAY)
    correct("not-this-one", grams_offset=5.0)
    correct(None, grams_offset=-0.05)
    entries.revoke_correction(database, caller, correction_id="not-this-one", now=NOW - HOUR)
    for period_id, days, fields in (
        (None, 0, {"setting": 4.8, "purpose": "break_in"}),
        ("second-lot", 50, {"coffee_lot": "hill-8", "feed": "hopper"}),
        ("never-was", 60, {"setting": 9.0}),
    ):
        given = {"period_id": period_id, "from_at": OPENED_AT + days * DAY, **fields}
        entries.set_period(database, caller, grinder_id="bar-1", fields=given, now=NOW - HOUR)
    entries.void_period(database, caller, period_id="never-was", now=NOW - HOUR)
    for care_id, task in (("care-one", "burrs_removed"), ("care-two", "cleaning")):
        fields = {
            "care_id": care_id,
            "task": task,
            "at": OPENED_AT + 33 * DAY,
            "zero_setting": 1.25,
        }
        entries.record_care(database, caller, grinder_id="bar-1", fields=fields, now=NOW - HOUR)
    entries.void_care(database, caller, care_id="care-two", now=NOW - HOUR)
    _checkpoints(database, caller)


def _checkpoints(database: Database, caller: Caller) -> None:
    sieves = {"kind": "sieve", "aperture_micrometres": [600.0, 300.0, 150.0]}
    doses = [
        {"dose_grams": 25.0, "distribution": {**sieves, "retained_grams": [4.0, 14.0, fine, 2.0]}}
        for fine in (5.0, 4.9, 5.1)
    ]
    for checkpoint_id, days, fields in (
        ("grind-test-0", 2, {"setting": 4.8, "session_id": "first", "coffee_lot": "hill-7"}),
        ("grind-test-1", 30, {"setting": 4.8, "burr_grams": 2500.25, "note": "given"}),
        ("grind-test-2", 76, {"setting": 4.8, "measured_at": OPENED_AT + 80 * DAY}),
        ("grind-test-3", 77, {"setting": 9.0}),
    ):
        given = {"checkpoint_id": checkpoint_id, "ground_at": OPENED_AT + days * DAY}
        given |= {"method": "sieve", "sieve_set_id": "sieves-1", "replicates": doses, **fields}
        checkpoints.add_checkpoint(
            database, caller, grinder_id="bar-1", fields=given, now=NOW - HOUR
        )
    checkpoints.void_checkpoint(database, caller, checkpoint_id="grind-test-3", now=NOW - HOUR)


def _readings(database: Database, caller: Caller) -> None:
    sent = [
        Reading(
            "bar-1", None, NOW - number * 10 * MINUTE, motor_celsius=30.0 + number, source="plug"
        )
        for number in range(40)
    ]
    for minutes in range(4):
        sent.append(
            Reading("bar-2", f"open-{minutes:04d}", NOW - (20 - minutes) * MINUTE, is_running=True,
                    ambient_celsius=21.5, run_id="bar-2-open-run")
        )  # fmt: skip
    readings.add_readings(database, caller, sent=sent, now=NOW - MINUTE)
    readings.void_reading(database, caller, reading_id="open-0003", now=NOW - MINUTE)
