"""Duty over time: what core works out, put together from runs, watched times and the plate."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest

from burrline_service.actions import duty_report, entries, ingest
from burrline_service.core.errors import FutureInstant, Invalid
from burrline_service.core.motor_answers import DutyReport
from burrline_service.core.records import Caller, Watched
from burrline_service.store.database import Database
from small_chain import DAY, HOUR, MINUTE, NOW, SECOND, a_run, make_grinder, new_chain, send

S3 = {"kind": "intermittent", "duty_fraction": 0.25}
START = NOW - 10 * MINUTE


def duty(database: Database, caller: Caller, **asked: Any) -> DutyReport:
    now = asked.pop("now", NOW)
    return duty_report.get_duty(database, caller, grinder_id="bar-1", now=now, **asked)


def run_of(
    database: Database, caller: Caller, *spans: tuple[float, float], since: datetime = START
) -> None:
    """Runs [from, to) in seconds after an instant, sent in one batch."""
    runs = [
        a_run(number, since + low * SECOND, seconds=high - low, grams=None)
        for number, (low, high) in enumerate(spans, 1)
    ]
    assert set(send(database, caller, runs)) <= {"accepted"}


@pytest.mark.parametrize(
    ("spans", "on_seconds", "fraction"),
    [
        # worked examples made for this model of duty: union of runs, cut at the window
        ([(0, 150)], 150.0, 0.25),
        ([(30, 75), (200, 260)], 105.0, 0.175),
        ([(-40, 50)], 50.0, 0.083333),
        ([(-100, 700)], 600.0, 1.0),
        ([(0, 100), (50, 150), (50, 150)], 150.0, 0.25),
        ([(0, 100), (100, 200)], 200.0, 0.333333),
    ],
)
def test_overlaps_count_once_and_runs_are_cut_at_the_borders(
    database: Database, spans: list[tuple[float, float]], on_seconds: float, fraction: float
) -> None:
    caller = new_chain(database, rated_duty=S3)
    send(database, caller, [a_run(99, START - HOUR, seconds=1.0)])  # known from then on
    run_of(database, caller, *spans)
    found = duty(database, caller, from_at=START)
    assert (found.on_seconds, found.low_fraction, found.high_fraction) == (
        on_seconds,
        fraction,
        fraction,
    )
    assert found.coverage_fraction == 1.0


def test_the_rolling_maximum_is_exact_and_says_where(database: Database) -> None:
    """Two runs that meet at a border of fixed windows: 20 % and 20 %, rolling 40 %."""
    caller = new_chain(database, rated_duty=S3)
    since = NOW - 20 * MINUTE
    run_of(database, caller, (480, 600), (600, 720), since=since)
    found = duty(database, caller, from_at=since)
    assert (found.rolling_maximum_on_seconds, found.cycle_seconds) == (240.0, 600.0)
    assert found.rolling_maximum_at == since + 720 * SECOND
    halves = [
        duty(database, caller, from_at=since + low * MINUTE, to_at=since + (low + 10) * MINUTE)
        for low in (0, 10)
    ]
    assert [half.low_fraction for half in halves] == [0.2, 0.2]


def test_what_nobody_knows_enters_the_high_bound_alone(database: Database) -> None:
    """History begins 420 s into ten minutes: 15 % at least, 85 % at most, 30 % covered."""
    caller = new_chain(database, rated_duty=S3)
    run_of(database, caller, (420, 450), (500, 560))
    found = duty(database, caller, from_at=START)
    assert (found.low_fraction, found.high_fraction) == (0.15, 0.85)
    assert (found.coverage_fraction, found.on_seconds) == (0.3, 90.0)
    assert found.state == "unknown"
    assert found.longest_run_seconds is None


def test_grams_without_seconds_enter_the_high_bound_as_estimated(database: Database) -> None:
    caller = new_chain(database, rated_duty=S3, grind={"expected_grams_per_second": 2.0})
    send(database, caller, [a_run(1, START - HOUR, seconds=1.0, grams=None)])
    send(database, caller, [a_run(2, START + MINUTE, seconds=None, grams=120.0)])
    found = duty(database, caller, from_at=START)
    assert (found.low_fraction, found.high_fraction, found.coverage_fraction) == (0.0, 0.1, 1.0)


def test_grams_of_an_unknown_flow_may_have_taken_any_time(database: Database) -> None:
    caller = new_chain(database, rated_duty=S3)
    send(database, caller, [a_run(1, START - 5 * HOUR, seconds=1.0, grams=None)])
    send(database, caller, [a_run(2, START - 2 * HOUR, seconds=None, grams=120.0)])
    found = duty(database, caller, from_at=START - 3 * HOUR)
    assert (found.low_fraction, found.high_fraction) == (0.0, 1.0)
    assert [hour.high_fraction for hour in found.hours] == [0.0, 1.0, 0.0, 0.0]
    assert duty(database, caller, from_at=START).high_fraction == 0.0


def test_hours_are_those_of_the_sites_clock_and_the_ends_are_cut(database: Database) -> None:
    caller = new_chain(database)
    run_of(database, caller, (0, 3), (1500, 1800), since=NOW - HOUR)
    found = duty(database, caller, from_at=NOW - 90 * MINUTE, to_at=NOW - 15 * MINUTE)
    assert found.time_zone == "Europe/Dublin"
    assert [(hour.from_at, hour.to_at) for hour in found.hours] == [
        (NOW - 90 * MINUTE, NOW - HOUR),
        (NOW - HOUR, NOW - 15 * MINUTE),
    ]
    assert [hour.on_seconds for hour in found.hours] == [0.0, 303.0]
    assert [hour.coverage_fraction for hour in found.hours] == [0.0, 1.0]


def test_where_somebody_watches_silence_elsewhere_tells_nothing(database: Database) -> None:
    caller = new_chain(database)
    watched = Watched(NOW - 30 * MINUTE, NOW - 15 * MINUTE, ("bar-1",))
    run = a_run(1, NOW - 20 * MINUTE, seconds=60.0)
    ingest.add_runs(database, caller, runs=[run], watched=watched, now=NOW)
    found = duty(database, caller, from_at=NOW - HOUR)
    assert (found.coverage_fraction, found.on_seconds) == (0.25, 60.0)
    assert found.high_fraction == round((60 + 45 * 60) / 3600, 6)


def test_a_tally_makes_its_time_unknown(database: Database) -> None:
    caller = new_chain(database)
    send(database, caller, [a_run(1, NOW - 2 * HOUR)])
    fields = {"grinder_id": "bar-1", "from_at": NOW - HOUR, "to_at": NOW - HOUR / 2}
    fields |= {"grams": 900.0, "basis": "weighed_in"}
    entries.add_tally(database, caller, fields=fields, now=NOW)
    assert duty(database, caller, from_at=NOW - HOUR).coverage_fraction == 0.5


@pytest.mark.parametrize(
    ("rated", "spans", "state", "rest_seconds", "longest_run_seconds"),
    [
        (S3, [(0, 100)], "ok", 0.0, 150.0),  # which leaves the cycle while the next one lasts
        (S3, [(200, 300)], "ok", 0.0, 50.0),
        (S3, [(300, 500)], "exceeded", 350.0, 0.0),
        ({"kind": "continuous"}, [(0, 600)], "ok", 0.0, None),
        (None, [(0, 600)], "unrated", None, None),
    ],
)
def test_how_it_stands_is_told_beside(
    database: Database,
    rated: dict[str, Any] | None,
    spans: list[tuple[float, float]],
    state: str,
    rest_seconds: float | None,
    longest_run_seconds: float | None,
) -> None:
    caller = new_chain(database, **({} if rated is None else {"rated_duty": rated}))
    send(database, caller, [a_run(99, START - HOUR, seconds=1.0)])
    run_of(database, caller, *spans)
    found = duty(database, caller)
    assert (found.state, found.rest_seconds) == (state, rest_seconds)
    assert found.longest_run_seconds == longest_run_seconds


def test_a_run_in_progress_is_cut_at_the_instant(database: Database) -> None:
    caller = new_chain(database, rated_duty=S3)
    run_of(database, caller, (540, 900))
    found = duty(database, caller, as_of=NOW, from_at=NOW - MINUTE, now=NOW + HOUR)
    assert (found.on_seconds, found.to_at) == (60.0, NOW)


def test_a_past_instant_sees_nothing_that_came_after(database: Database) -> None:
    """Late runs and voids included: all facts asked as of t = only the facts up to t."""
    at = NOW - 3 * HOUR
    before = [a_run(n, at - n * 7 * MINUTE, seconds=40.0 + n, source="plug") for n in range(1, 20)]
    before += [a_run(90 + n, at - n * 9 * MINUTE, seconds=None, source="scale") for n in (1, 5)]
    after = [a_run(50 + n, at + n * MINUTE, seconds=70.0, source="scale") for n in range(1, 30)]
    caller, alone = (new_chain(database, rated_duty=S3) for _ in range(2))
    send(database, caller, [*after, *before[::-1]])
    ingest.void_run(database, caller, run_id=before[3].run_id, now=NOW)
    send(database, alone, [run for run in before if run is not before[3]])
    found, expected = (duty(database, one, as_of=at, from_at=at - DAY) for one in (caller, alone))
    assert found == expected
    assert found.on_seconds > 0


@pytest.mark.parametrize(
    "asked",
    [
        {"from_at": NOW - 92 * DAY - SECOND},
        {"from_at": NOW},
        {"from_at": NOW - HOUR, "to_at": NOW - 2 * HOUR},
        {"to_at": datetime.fromisoformat("1972-12-31T23:59:59Z")},
    ],
)
def test_what_cannot_be_asked_is_refused(database: Database, asked: dict[str, Any]) -> None:
    caller = new_chain(database)
    with pytest.raises(Invalid):
        duty(database, caller, **asked)


def test_the_longest_stretch_can_be_asked_and_no_instant_to_come(database: Database) -> None:
    caller = new_chain(database)
    make_grinder(database, caller, "bar-2")
    found = duty(database, caller, from_at=NOW - 92 * DAY)
    assert len(found.hours) == 92 * 24
    assert found.rolling_maximum_at is None
    with pytest.raises(FutureInstant):
        duty(database, caller, as_of=NOW + timedelta(milliseconds=1))
