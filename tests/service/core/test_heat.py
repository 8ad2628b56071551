"""A reading against its limit: which limit holds, how old a reading may be."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline_service.core.answers import MotorState
from burrline_service.core.heat import STALE_SECONDS, judge_reading
from burrline_service.core.records import THERMAL_CLASSES, Motor
from burrline_service.core.thermal_classes import class_limit_celsius

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)


def judged(reading: float | None, motor: Motor | None, age_seconds: float = 0.0) -> MotorState:
    read_at = None if reading is None else NOON - timedelta(seconds=age_seconds)
    return judge_reading(reading_celsius=reading, read_at=read_at, motor=motor, as_of=NOON)


HOUSING = Motor(sensor="housing", caution_celsius=60.0, limit_celsius=80.0)


@pytest.mark.parametrize(
    ("reading", "state"),
    [(-40.0, "ok"), (59.9, "ok"), (60.0, "warm"), (79.9, "warm"), (80.0, "over"), (400.0, "over")],
)
def test_the_state_changes_where_caution_and_limit_are_reached(reading: float, state: str) -> None:
    found = judged(reading, HOUSING)
    assert found.state == state
    assert (found.reading_celsius, found.read_at) == (reading, NOON)
    assert (found.sensor, found.caution_celsius, found.limit_celsius) == ("housing", 60.0, 80.0)


@pytest.mark.parametrize(
    ("age", "state"), [(STALE_SECONDS, "over"), (STALE_SECONDS + 0.001, "unknown")]
)
def test_an_old_reading_says_nothing_about_now_but_is_shown(age: float, state: str) -> None:
    found = judged(99.0, HOUSING, age)
    assert found.state == state
    assert found.reading_celsius == 99.0
    assert found.read_at == NOON - timedelta(seconds=age)


@pytest.mark.parametrize("thermal_class", THERMAL_CLASSES)
def test_a_winding_is_held_to_its_thermal_class_and_a_housing_never(thermal_class: int) -> None:
    hot = float(thermal_class)
    winding = judged(hot, Motor(sensor="winding", thermal_class=thermal_class))
    assert (winding.state, winding.limit_celsius) == ("over", hot)
    for sensor in ("housing", "none", None):
        other = judged(hot, Motor(sensor=sensor, thermal_class=thermal_class))
        assert (other.state, other.limit_celsius) == ("unknown", None)


def test_a_limit_given_for_the_grinder_wins_over_the_thermal_class() -> None:
    found = judged(125.0, Motor(sensor="winding", thermal_class=155, limit_celsius=120.0))
    assert (found.state, found.limit_celsius) == ("over", 120.0)


@pytest.mark.parametrize("motor", [None, Motor(), Motor(sensor="housing"), Motor(sensor="winding")])
def test_without_any_threshold_a_reading_is_shown_and_not_judged(motor: Motor | None) -> None:
    found = judged(75.0, motor)
    assert (found.state, found.reading_celsius, found.limit_celsius) == ("unknown", 75.0, None)


@pytest.mark.parametrize(("reading", "state"), [(54.9, "ok"), (55.0, "warm")])
def test_a_caution_alone_is_enough_to_judge_by(reading: float, state: str) -> None:
    found = judged(reading, Motor(sensor="housing", caution_celsius=55.0))
    assert (found.state, found.limit_celsius) == (state, None)


def test_without_a_reading_the_thresholds_are_still_told() -> None:
    found = judged(None, HOUSING)
    assert (found.state, found.reading_celsius, found.read_at) == ("unknown", None, None)
    assert found.limit_celsius == 80.0


def test_a_reading_from_after_the_asked_instant_is_not_known_yet() -> None:
    found = judged(99.0, HOUSING, age_seconds=-1.0)
    assert (found.state, found.reading_celsius, found.read_at) == ("unknown", None, None)


@given(st.floats(-40, 400), st.floats(0, 360))
def test_a_hotter_reading_never_looks_better(reading: float, more: float) -> None:
    order = ["ok", "warm", "over"]
    assert order.index(judged(reading, HOUSING).state) <= order.index(
        judged(reading + more, HOUSING).state
    )


@pytest.mark.parametrize("reading", [math.nan, math.inf])
def test_a_reading_that_is_no_number_is_refused(reading: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        judged(reading, HOUSING)


@pytest.mark.parametrize("field", ["read_at", "as_of"])
def test_naive_instants_are_refused(field: str) -> None:
    asked: dict[str, Any] = {"reading_celsius": 20.0, "read_at": NOON, "motor": None, "as_of": NOON}
    with pytest.raises(ValueError, match="aware"):
        judge_reading(**asked | {field: NOON.replace(tzinfo=None)})


@pytest.mark.parametrize("thermal_class", [0, 100, 106, 240])
def test_a_class_that_does_not_exist_is_refused_with_the_list(thermal_class: int) -> None:
    with pytest.raises(ValueError, match=f"{thermal_class} is none of"):
        class_limit_celsius(thermal_class)
    with pytest.raises(ValueError, match="none of"):
        judged(20.0, Motor(sensor="winding", thermal_class=thermal_class))
