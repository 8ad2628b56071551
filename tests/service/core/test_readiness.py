"""Readiness: what duty and temperature say, put together; never ready for want of knowledge."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline_service.core.answers import Allowance, Readiness
from burrline_service.core.readiness import judge_readiness
from burrline_service.core.thermal import Thermal
from burrline_service.core.thermal_allowance import (
    allow_by_reading,
    allow_by_slope,
    allow_by_temperature,
)

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)
READY = Allowance("ready", 0.0, 150.0)
WAIT = Allowance("wait", 410.0, 30.0)
NEVER = Allowance("never", None, 50.0)
UNKNOWN = Allowance("unknown", None, None)
MOTOR = Thermal(120.0, 1200.0, 1200.0, 25.0)


def judged(**changes: Any) -> Readiness:
    asked: dict[str, Any] = {
        "now_at": NOON,
        "run_seconds": 60.0,
        "known_duty": None,
        "possible_duty": None,
        "coverage_fraction": 1.0,
        "temperature": None,
        "is_trip_suspected": False,
    }
    return judge_readiness(**asked | changes)


@st.composite
def allowances(draw: st.DrawFn) -> Allowance | None:
    """Any consistent allowance for a run of 60 s, or none."""
    state = draw(st.sampled_from(["ready", "wait", "never", "unknown", None]))
    if state is None:
        return None
    if state == "ready":
        return Allowance("ready", 0.0, draw(st.floats(60.0, 1e4) | st.just(math.inf)))
    below = draw(st.floats(0.0, 59.0))
    if state == "wait":
        return Allowance("wait", draw(st.none() | st.floats(0.001, 1e4)), below)
    return Allowance(state, None, below if state == "never" else draw(st.none() | st.just(below)))


# --- laws -----------------------------------------------------------------------------------------


@given(allowances(), allowances(), allowances(), st.booleans())
def test_ready_needs_a_limit_that_is_known_to_allow_the_run(
    known: Allowance | None,
    possible: Allowance | None,
    temperature: Allowance | None,
    is_tripped: bool,
) -> None:
    found = judged(
        known_duty=known,
        possible_duty=possible,
        temperature=temperature,
        is_trip_suspected=is_tripped,
    )
    if found.state == "ready":
        assert not is_tripped
        assert "ready" in {said.state for said in (known, temperature) if said is not None}
        for limit in (known, temperature):
            assert limit is None or limit.state not in {"wait", "never"}
        if known is not None:
            assert known.state == "ready"
            assert possible is None or possible.state == "ready"
        assert found.limited_by is None
        assert (found.ready_at, found.wait_seconds) == (NOON, 0.0)
        assert found.longest_run_seconds is None or found.longest_run_seconds >= 60
    else:
        assert found.limited_by is not None
        assert found.wait_seconds is None or found.wait_seconds > 0
    assert (found.ready_at is None) == (found.wait_seconds is None)
    assert found.sentence.endswith(".")


@given(allowances(), allowances(), allowances())
def test_the_wait_told_is_enough_for_every_limit(
    known: Allowance | None, possible: Allowance | None, temperature: Allowance | None
) -> None:
    found = judged(known_duty=known, possible_duty=possible, temperature=temperature)
    limits = [said for said in (known, possible, temperature) if said is not None]
    if known is None and possible is not None:
        limits.remove(possible)
    if found.state == "wait" and found.wait_seconds is not None:
        for said in limits:
            assert said.wait_seconds is None or found.wait_seconds >= said.wait_seconds - 1e-9


# --- rules ----------------------------------------------------------------------------------------


def test_without_rating_and_limit_nobody_is_told_ready() -> None:
    found = judged()
    assert (found.state, found.limited_by) == ("unknown", "no_limit_known")
    assert found.longest_run_seconds is None


def test_a_suspected_trip_outweighs_everything() -> None:
    for known in (None, READY, WAIT, NEVER):
        for temperature in (None, READY, WAIT, NEVER):
            found = judged(known_duty=known, temperature=temperature, is_trip_suspected=True)
            assert (found.state, found.limited_by) == ("unknown", "suspected_trip")
            assert found.longest_run_seconds is None
            assert "by itself" in found.sentence


@pytest.mark.parametrize(
    ("known", "temperature", "state", "limited_by", "wait"),
    [
        (READY, None, "ready", None, 0.0),
        (READY, UNKNOWN, "ready", None, 0.0),  # a sensor makes no grinder worse off
        (READY, READY, "ready", None, 0.0),
        (None, READY, "ready", None, 0.0),
        (None, UNKNOWN, "unknown", "temperature", None),
        (UNKNOWN, READY, "unknown", "duty", None),
        (WAIT, READY, "wait", "duty", 410.0),
        (READY, WAIT, "wait", "temperature", 410.0),
        (WAIT, Allowance("wait", 500.0, 0.0), "wait", "temperature", 500.0),
        (WAIT, Allowance("wait", 100.0, 0.0), "wait", "duty", 410.0),
        (WAIT, Allowance("wait", None, 0.0), "wait", "temperature", None),
        (NEVER, WAIT, "never", "duty", None),
        (WAIT, NEVER, "never", "temperature", None),
        (READY, NEVER, "never", "temperature", None),
    ],
)
def test_duty_and_temperature_together(
    known: Allowance | None,
    temperature: Allowance | None,
    state: str,
    limited_by: str | None,
    wait: float | None,
) -> None:
    found = judged(known_duty=known, temperature=temperature)
    assert (found.state, found.limited_by, found.wait_seconds) == (state, limited_by, wait)


def test_what_may_have_run_in_unknown_time_makes_ready_unknown_and_a_wait_longer() -> None:
    found = judged(known_duty=READY, possible_duty=WAIT, coverage_fraction=0.3, temperature=READY)
    assert (found.state, found.limited_by) == ("unknown", "duty")
    assert found.longest_run_seconds == 30.0  # so much is safe whatever happened
    assert "6 min 50 s" in found.sentence
    assert "30 %" in found.sentence
    later = judged(
        known_duty=Allowance("wait", 100.0, 40.0), possible_duty=WAIT, coverage_fraction=0.3
    )
    assert (later.state, later.wait_seconds) == ("wait", 410.0)


def test_the_longest_run_is_the_shortest_that_a_limit_allows() -> None:
    hot = Allowance("ready", 0.0, 90.0)
    assert judged(known_duty=READY, temperature=hot).longest_run_seconds == 90.0
    endless = Allowance("ready", 0.0, math.inf)
    assert judged(known_duty=endless, temperature=hot).longest_run_seconds == 90.0
    assert judged(known_duty=endless).longest_run_seconds is None
    assert judged(temperature=Allowance("unknown", None, 20.0)).longest_run_seconds == 20.0


def test_a_wait_ends_at_an_instant_rounded_up_to_the_millisecond() -> None:
    found = judged(known_duty=Allowance("wait", 0.0001, 0.0))
    assert found.wait_seconds == 0.001
    assert found.ready_at == NOON + timedelta(milliseconds=1)
    exact = judged(known_duty=Allowance("wait", 12.345, 9.9999))
    assert exact.wait_seconds == 12.345
    assert exact.longest_run_seconds == 9.999


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"known_duty": READY}, "advice, not a permission"),
        ({"known_duty": READY, "temperature": READY}, "rating and temperature limit have room"),
        ({"known_duty": NEVER}, "never allows a run of 1 min"),
        ({"temperature": NEVER}, "Even from cold"),
        ({"temperature": Allowance("wait", 7384.0, 0.0)}, "2 h 3 min 4 s"),
        ({"temperature": Allowance("wait", None, 0.0)}, "not known"),
        ({"known_duty": UNKNOWN}, "rest until cold"),
        ({"run_seconds": 7.4, "known_duty": READY}, "a run of 7.4 s"),
        ({"temperature": UNKNOWN}, "not known well enough"),
    ],
)
def test_a_person_is_told_why(change: dict[str, Any], words: str) -> None:
    assert words in judged(**change).sentence


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"now_at": NOON.replace(tzinfo=None)}, "aware"),
        ({"run_seconds": -1.0}, "run_seconds"),
        ({"run_seconds": math.inf}, "run_seconds"),
        ({"coverage_fraction": 1.5}, "coverage_fraction"),
        ({"coverage_fraction": math.nan}, "coverage_fraction"),
    ],
)
def test_a_question_without_sense_is_refused(change: dict[str, Any], why: str) -> None:
    with pytest.raises(ValueError, match=why):
        judged(**change)


# --- what a temperature limit allows --------------------------------------------------------------


def test_the_least_favourable_constants_decide() -> None:
    # worked case: 90 degC now, limit 90, run 300 s: 329.844115 s at tau_c 1200, 824.610287 at 3000
    slow = Thermal(120.0, 1200.0, 3000.0, 25.0)
    found = allow_by_temperature(90.0, 300.0, 90.0, [MOTOR, slow])
    assert found.state == "wait"
    assert found.wait_seconds == pytest.approx(824.610287, abs=1e-6)
    hot = Thermal(200.0, 600.0, 600.0, 25.0)
    both = allow_by_temperature(40.0, 60.0, 90.0, [MOTOR, hot])
    assert (
        both.longest_run_seconds
        == allow_by_temperature(40.0, 60.0, 90.0, [hot]).longest_run_seconds
    )
    assert allow_by_temperature(25.0, 940.0, 90.0, [MOTOR]).state == "never"
    with pytest.raises(ValueError, match="at least one"):
        allow_by_temperature(25.0, 60.0, 90.0, [])


@given(st.floats(0.0, 150.0), st.floats(0.0, 2000.0))
def test_a_temperature_is_ready_exactly_when_the_run_is_not_too_long(
    celsius: float, run: float
) -> None:
    found = allow_by_temperature(celsius, run, 90.0, [MOTOR])
    assert found.longest_run_seconds is not None
    if found.state == "ready":
        assert found.longest_run_seconds >= run * (1 - 1e-9) - 1e-9 or run == 0
    else:
        assert found.longest_run_seconds <= run * (1 + 1e-9) + 1e-9


def test_a_slope_alone_says_ready_or_nothing_unless_the_limit_is_reached() -> None:
    # 65 K at 0.125 K/s: 520 s for certain
    assert allow_by_slope(25.0, 520.0, 90.0, 0.125) == Allowance("ready", 0.0, 520.0)
    assert allow_by_slope(25.0, 521.0, 90.0, 0.125) == Allowance("unknown", None, 520.0)
    assert allow_by_slope(90.0, 1.0, 90.0, 0.125) == Allowance("wait", None, 0.0)
    with pytest.raises(ValueError, match="run_seconds"):
        allow_by_slope(25.0, -1.0, 90.0, 0.125)


def test_a_reading_alone_never_says_ready() -> None:
    assert allow_by_reading(89.9, 90.0) == UNKNOWN
    assert allow_by_reading(90.0, 90.0) == Allowance("wait", None, 0.0)
    assert judged(temperature=allow_by_reading(20.0, 90.0)).state == "unknown"
    assert judged(known_duty=READY, temperature=allow_by_reading(95.0, 90.0)).state == "wait"
