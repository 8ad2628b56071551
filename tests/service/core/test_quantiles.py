"""Student's t and Fisher's F against scipy, and what no table prints."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from burrline_service.core.quantiles import (
    f_probability,
    f_ratio,
    student_t_probability,
    student_t_ratio,
)

FREEDOMS = st.floats(min_value=0.5, max_value=5000)
PROBABILITIES = st.floats(min_value=1e-6, max_value=1 - 1e-6)


@given(st.floats(min_value=-1e6, max_value=1e6), FREEDOMS)
def test_probabilities_of_t_agree_with_scipy(t_ratio: float, freedom: float) -> None:
    expected = float(stats.t.cdf(t_ratio, freedom))
    assert student_t_probability(t_ratio, freedom) == pytest.approx(expected, rel=1e-9, abs=1e-300)


@given(PROBABILITIES, FREEDOMS)
def test_quantiles_of_t_agree_with_scipy(probability: float, freedom: float) -> None:
    expected = float(stats.t.ppf(probability, freedom))
    assert student_t_ratio(probability, freedom) == pytest.approx(expected, rel=1e-8, abs=1e-8)


@given(
    st.floats(min_value=0, max_value=1e5),
    st.integers(1, 200),
    st.floats(min_value=1, max_value=2e3),
)
def test_probabilities_of_f_agree_with_scipy(ratio: float, above: int, below: float) -> None:
    expected = float(stats.f.cdf(ratio, above, below))
    assert f_probability(ratio, above, below) == pytest.approx(expected, rel=1e-9, abs=1e-12)


@given(st.floats(min_value=1e-3, max_value=0.999), st.integers(1, 200), st.integers(1, 2000))
def test_quantiles_of_f_agree_with_scipy(probability: float, above: int, below: int) -> None:
    expected = float(stats.f.ppf(probability, above, below))
    assert f_ratio(probability, above, below) == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("freedom", [1, 2, 4.5, 30, 400])
def test_the_square_of_t_is_f(freedom: float) -> None:
    assert f_ratio(0.95, 1, freedom) == pytest.approx(
        student_t_ratio(0.975, freedom) ** 2, rel=1e-10
    )


def test_the_ends() -> None:
    assert student_t_probability(math.inf, 3) == 1.0
    assert student_t_probability(-math.inf, 3) == 0.0
    assert student_t_ratio(0.5, 3) == 0.0
    assert f_probability(0.0, 2, 3) == 0.0
    assert f_probability(math.inf, 2, 3) == 1.0


@pytest.mark.parametrize("probability", [0.0, 1.0, -0.1, math.nan])
def test_a_probability_outside_is_refused(probability: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        student_t_ratio(probability, 3)
    with pytest.raises(ValueError, match="between 0 and 1"):
        f_ratio(probability, 1, 3)


@pytest.mark.parametrize("freedom", [0.0, -1.0, math.inf, math.nan])
def test_no_freedom_is_refused(freedom: float) -> None:
    with pytest.raises(ValueError, match="degrees of freedom"):
        student_t_ratio(0.9, freedom)
    with pytest.raises(ValueError, match="degrees of freedom"):
        student_t_probability(1.0, freedom)
    with pytest.raises(ValueError, match="degrees of freedom"):
        f_ratio(0.9, 1, freedom)


def test_a_ratio_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="not a number"):
        student_t_probability(math.nan, 3)
    with pytest.raises(ValueError, match="negative"):
        f_probability(-1.0, 1, 3)
    with pytest.raises(ValueError, match="negative"):
        f_probability(math.nan, 1, 3)
