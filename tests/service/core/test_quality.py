"""Findings about runs, and the place of a run in time when clocks are wrong."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline_service.core.quality import judge_run, place_in_time
from burrline_service.core.records import (
    BREW_METHODS,
    FEEDS,
    PURPOSES,
    Brew,
    Grind,
    Grinder,
    Motor,
    Run,
)

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)
GRINDER = Grinder(
    "bar-1",
    "harbour",
    "Bar left",
    NOON,
    grind=Grind(low_setting=0.0, high_setting=10.0, expected_grams_per_second=2.5),
    motor=Motor(rated_watts=300.0, limit_celsius=90.0),
    hopper_grams=1200.0,
)
USUAL: dict[str, Any] = {
    "run_id": "run-00000001",
    "grinder_id": "bar-1",
    "started_at": NOON - timedelta(seconds=8),
    "seconds": 7.4,
    "grams": 18.2,
    "feed": "hopper",
    "energy_joules": 1800.0,
    "setting": 5.0,
    "rpm": 1400.0,
    "motor_celsius": 41.5,
    "ambient_celsius": 22.0,
    "brew": Brew("espresso", 28.0, 38.0, None, 0.095),
}


def codes(grinder: Grinder = GRINDER, **changes: Any) -> list[str]:
    return [
        finding.code for finding in judge_run(Run(**USUAL | changes), grinder, received_at=NOON)
    ]


def test_a_usual_run_has_no_finding() -> None:
    assert codes() == []


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"grams": 180.0}, "flow_implausible"),
        ({"grams": 150.0}, "flow_implausible"),
        ({"grams": 60.0}, "flow_unexpected"),
        ({"grams": 5.0}, "flow_unexpected"),
        ({"seconds": 0.0}, "no_motor_time"),
        ({"seconds": 601.0}, "run_long"),
        ({"seconds": 3601.0, "purpose": "break_in"}, "run_long"),
        ({"started_at": NOON + timedelta(seconds=299), "seconds": 20.0}, "ends_after_receipt"),
        ({"grams": 1200.1}, "over_hopper"),
        ({"setting": -0.1}, "setting_out_of_range"),
        ({"setting": 10.1}, "setting_out_of_range"),
        ({"rpm": 14000.0}, "rpm_implausible"),
        ({"energy_joules": 7.4 * 901}, "power_implausible"),
        ({"motor_celsius": 90.0}, "motor_over_limit"),
        ({"motor_celsius": 11.0}, "motor_below_ambient"),
        ({"ambient_celsius": 51.0}, "ambient_implausible"),
        ({"brew": Brew("espresso", beverage_grams=200.0)}, "brew_ratio_implausible"),
        ({"brew": Brew("percolation", water_grams=30.0)}, "brew_ratio_implausible"),
        (
            {"brew": Brew("immersion", beverage_grams=301.0, water_grams=300.0)},
            "brew_exceeds_water",
        ),
        ({"brew": Brew("espresso", beverage_grams=12.0, tds_fraction=0.26)}, "tds_implausible"),
        (
            {"brew": Brew("espresso", beverage_grams=80.0, tds_fraction=0.09)},
            "extraction_implausible",
        ),
    ],
)
def test_each_rule_finds_its_own_implausible_run(changes: dict[str, Any], code: str) -> None:
    assert code in codes(**changes)


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"seconds": 1.0, "grams": 20.0}, "flow_implausible"),
        ({"seconds": 2.0, "grams": 15.0}, "flow_unexpected"),
        ({"seconds": 0.0, "grams": None}, "no_motor_time"),
        ({"seconds": 600.0}, "run_long"),
        ({"seconds": 3600.0, "purpose": "break_in"}, "run_long"),
        ({"started_at": NOON + timedelta(seconds=280), "seconds": 20.0}, "ends_after_receipt"),
        ({"grams": 1200.0}, "over_hopper"),
        ({"setting": 0.0}, "setting_out_of_range"),
        ({"setting": 10.0}, "setting_out_of_range"),
        ({"rpm": 5000.0}, "rpm_implausible"),
        ({"seconds": 2.0, "energy_joules": 1800.0}, "power_implausible"),
        ({"seconds": 0.0, "energy_joules": 1800.0}, "power_implausible"),
        ({"motor_celsius": 89.9}, "motor_over_limit"),
        ({"motor_celsius": 12.0}, "motor_below_ambient"),
        ({"ambient_celsius": -10.0}, "ambient_implausible"),
        ({"ambient_celsius": 50.0}, "ambient_implausible"),
        ({"grams": 20.0, "brew": Brew("espresso", beverage_grams=120.0)}, "brew_ratio_implausible"),
        ({"grams": None}, "brew_ratio_implausible"),
        ({"brew": Brew("immersion", None, 300.0, 300.0)}, "brew_exceeds_water"),
        ({"brew": Brew("espresso", tds_fraction=0.25)}, "tds_implausible"),
        (
            {"grams": 20.0, "brew": Brew("espresso", None, 70.0, None, 0.1)},
            "extraction_implausible",
        ),
    ],
)
def test_each_rule_lets_the_value_on_its_edge_pass(changes: dict[str, Any], code: str) -> None:
    assert code not in codes(**changes)


@pytest.mark.parametrize("purpose", ["purge", "cleaning"])
def test_a_purge_or_cleaning_is_not_held_to_the_expected_flow(purpose: str) -> None:
    assert "flow_unexpected" not in codes(grams=1.0, purpose=purpose)
    assert "flow_unexpected" in codes(grams=1.0)


def test_a_single_dose_is_not_held_to_the_hopper() -> None:
    assert "over_hopper" not in codes(grams=1300.0, feed="single_dose")


def test_a_grinder_of_which_nothing_is_known_is_held_only_to_general_limits() -> None:
    bare = Grinder("bar-1", "harbour", "Bar left", NOON)
    assert codes(bare, setting=99.0, grams=60.0, motor_celsius=300.0, brew=None) == []
    assert codes(bare, grams=180.0, brew=None) == ["flow_implausible"]
    assert codes(bare, energy_joules=7.4 * 10_001) == ["power_implausible"]


def test_a_finding_carries_the_numbers_it_is_about() -> None:
    (finding,) = judge_run(Run(**USUAL | {"setting": 12.5}), GRINDER, received_at=NOON)
    assert finding.detail == "Setting 12.5 is above the grinder's 10."


anything = st.none() | st.floats() | st.integers()
instants = st.datetimes(timezones=st.just(UTC))


@given(
    st.fixed_dictionaries(
        dict.fromkeys(
            (
                "age_seconds", "seconds", "grams", "energy_joules", "setting", "rpm",
                "motor_celsius", "ambient_celsius",
            ),
            anything,
        )
        | {
            "started_at": st.none() | instants,
            "purpose": st.sampled_from(PURPOSES),
            "feed": st.sampled_from((None, *FEEDS)),
            "brew": st.none()
            | st.builds(
                Brew, st.sampled_from(BREW_METHODS), anything, anything, anything, anything
            ),
        }
    ),
    st.builds(
        Grinder,
        st.just("bar-1"), st.just("harbour"), st.just("Bar left"), st.just(NOON),
        grind=st.none() | st.builds(Grind, anything, anything, anything, st.none(), anything),
        motor=st.none() | st.builds(Motor, anything, st.none(), st.none(), anything, anything),
        hopper_grams=anything,
    ),
    instants,
)  # fmt: skip
def test_no_run_of_whatever_numbers_makes_the_judge_raise(
    numbers: dict[str, Any], grinder: Grinder, received_at: datetime
) -> None:
    found = judge_run(Run("run-00000001", "bar-1", **numbers), grinder, received_at=received_at)
    assert len({finding.code for finding in found}) == len(found)
    assert all(finding.detail for finding in found)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 10**400])
def test_what_is_no_usable_number_is_passed_over(value: float) -> None:
    names = ("seconds", "grams", "energy_joules", "setting", "rpm", "motor_celsius")
    brew = Brew("espresso", value, value, value, value)
    changes: dict[str, Any] = dict.fromkeys(names, value)
    assert codes(**changes, ambient_celsius=value, brew=brew) == []
    assert placed(age_seconds=value, seconds=value) == (NOON, "received", "clock_suspect")


def test_an_empty_run_has_no_finding() -> None:
    bare = Run("run-00000001", "bar-1")
    assert judge_run(bare, GRINDER, received_at=NOON) == ()


# --- place in time --------------------------------------------------------------------------------


def placed(received_at: datetime = NOON, **numbers: Any) -> tuple[datetime, str, str | None]:
    started_at, time_source, finding = place_in_time(
        Run("run-00000001", "bar-1", **numbers), received_at=received_at
    )
    return started_at, time_source, None if finding is None else finding.code


@pytest.mark.parametrize(
    "started_at",
    [
        NOON,
        NOON - timedelta(days=400),
        NOON + timedelta(minutes=5),
        datetime(2020, 1, 1, tzinfo=UTC),
    ],
)
def test_a_credible_device_clock_is_believed(started_at: datetime) -> None:
    assert placed(started_at=started_at) == (started_at, "device", None)


@pytest.mark.parametrize(
    "started_at",
    [
        NOON + timedelta(minutes=5, microseconds=1),
        datetime(2019, 12, 31, 23, 59, 59, tzinfo=UTC),
        datetime(1970, 1, 1, tzinfo=UTC),
        datetime(9999, 12, 31, tzinfo=UTC),
        datetime(1, 1, 1, tzinfo=UTC),
    ],
)
def test_an_incredible_clock_gives_way_to_the_age_or_the_receipt_and_is_told(
    started_at: datetime,
) -> None:
    received = NOON - timedelta(seconds=8)
    assert placed(started_at=started_at, seconds=8.0) == (received, "received", "clock_suspect")
    assert placed(started_at=started_at) == (NOON, "received", "clock_suspect")
    aged = NOON - timedelta(seconds=90)
    assert placed(started_at=started_at, age_seconds=90.0) == (aged, "age", "clock_suspect")


def test_a_device_without_a_clock_counts_back_from_the_moment_of_sending() -> None:
    assert placed(age_seconds=90.5) == (NOON - timedelta(seconds=90.5), "age", None)
    assert placed(age_seconds=0.0) == (NOON, "age", None)


@pytest.mark.parametrize("age", [-1.0, 1e12, math.nan, math.inf])
def test_an_impossible_age_gives_way_to_the_receipt(age: float) -> None:
    assert placed(age_seconds=age, seconds=8.0) == (
        NOON - timedelta(seconds=8),
        "received",
        "clock_suspect",
    )


def test_a_run_without_any_time_ends_when_it_is_received() -> None:
    assert placed(seconds=8.0) == (NOON - timedelta(seconds=8), "received", None)
    assert placed(grams=18.0) == (NOON, "received", None)
    assert placed(seconds=math.nan) == (NOON, "received", None)


@given(
    st.none() | st.datetimes(timezones=st.just(timezone(timedelta(hours=5, minutes=45)))),
    anything,
    anything,
    st.integers(366 * 86400 * 10**6, 180 * 365 * 86400 * 10**6).map(
        lambda micros: datetime(2020, 1, 1, tzinfo=UTC) + timedelta(microseconds=micros)
    ),
)
def test_every_run_finds_a_place_in_utc_to_the_millisecond(
    started_at: datetime | None, age: Any, seconds: Any, received_at: datetime
) -> None:
    found, source, _ = placed(received_at, started_at=started_at, age_seconds=age, seconds=seconds)
    assert found.tzinfo is UTC
    assert found.microsecond % 1000 == 0
    assert source in {"device", "age", "received"}
    if source != "received":  # else a run of up to 1e6 s may reach back before 2020
        assert found >= datetime(2020, 1, 1, tzinfo=UTC) - timedelta(milliseconds=1)
    assert found <= received_at + timedelta(minutes=5)


def test_naive_instants_are_refused() -> None:
    naive = NOON.replace(tzinfo=None)
    with pytest.raises(ValueError, match="started_at must be aware"):
        placed(started_at=naive)
    with pytest.raises(ValueError, match="received_at must be aware"):
        placed(naive)
