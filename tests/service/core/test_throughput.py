"""Flow and estimates from exact sums."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline_service.core.throughput import estimated_grams, flow_grams_per_second

milligrams = st.integers(0, 10**12)
milliseconds = st.integers(0, 10**12)


@given(milligrams.filter(bool), milliseconds.filter(bool), st.none() | st.floats(0, 100))
def test_a_measured_flow_is_the_nearest_number_to_the_fraction_whatever_the_plate_says(
    mass_milligrams: int, time_milliseconds: int, expected: float | None
) -> None:
    found = flow_grams_per_second(mass_milligrams, time_milliseconds, expected)
    assert found == float(Fraction(mass_milligrams, time_milliseconds))


@pytest.mark.parametrize(("mass", "time"), [(0, 0), (0, 9000), (9000, 0)])
def test_without_a_measured_flow_the_plate_speaks(mass: int, time: int) -> None:
    assert flow_grams_per_second(mass, time, 2.5) == 2.5
    assert flow_grams_per_second(mass, time, None) is None


@pytest.mark.parametrize(("mass", "time"), [(-1, 5), (5, -1)])
def test_negative_sums_are_refused(mass: int, time: int) -> None:
    with pytest.raises(ValueError, match="negative"):
        flow_grams_per_second(mass, time, None)


@given(milligrams, st.integers(0, 10**9), st.integers(0, 20_000))
def test_an_estimate_is_stated_grams_and_flow_times_time_to_the_milligram(
    stated_milligrams: int, time_milliseconds: int, flow_milligrams_per_second: int
) -> None:
    found = estimated_grams(stated_milligrams, time_milliseconds, flow_milligrams_per_second / 1000)
    exact = stated_milligrams + Fraction(time_milliseconds * flow_milligrams_per_second, 1000)
    assert found is not None
    assert abs(Fraction(found) * 1000 - exact) <= Fraction(1, 2) + exact / 10**14


@given(milligrams)
def test_stated_grams_need_no_flow_but_time_without_a_flow_is_unknown(stated: int) -> None:
    assert estimated_grams(stated, 0, None) == stated / 1000
    assert estimated_grams(stated, 1, None) is None


@pytest.mark.parametrize("flow", [-1.0, math.nan, math.inf])
def test_a_flow_that_is_none_is_refused(flow: float) -> None:
    with pytest.raises(ValueError, match="flow"):
        estimated_grams(0, 1000, flow)
