"""Replicates: pooled scatter, differences, the scatter of sittings, the classical tests."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from burrline_service.core.replicates import compare_means, pool, session_spread
from burrline_service.core.variances import analyse_variance, compare_scatter

VALUES = st.floats(min_value=-1e4, max_value=1e4)
GROUPS = st.lists(st.lists(VALUES, min_size=2, max_size=5).map(tuple), min_size=2, max_size=6)


@given(GROUPS)
def test_pooled_squares_are_those_of_numpy(groups: list[tuple[float, ...]]) -> None:
    pooled = pool(groups)
    expected = sum(float(np.var(group)) * len(group) for group in groups)
    assert pooled.within_squares == pytest.approx(expected, rel=1e-9, abs=1e-6)
    assert pooled.freedom_count == sum(map(len, groups)) - len(groups)


@given(GROUPS)
def test_variances_are_analysed_as_by_scipy(groups: list[tuple[float, ...]]) -> None:
    found = analyse_variance(groups)
    if found.within_squares < 1e-6:
        return
    expected = stats.f_oneway(*groups)
    if not expected.statistic > 0:  # like means: scipy's rounding goes below 0, and has no p then
        assert found.probability == pytest.approx(1.0, abs=1e-6)
        return
    assert found.f_ratio == pytest.approx(float(expected.statistic), rel=1e-6, abs=1e-9)
    assert found.probability == pytest.approx(float(expected.pvalue), rel=1e-5, abs=1e-9)


def test_scatter_is_compared_as_by_scipy() -> None:
    groups = [(1.0, 2.0, 4.0), (10.0, 10.5, 12.5), (3.0, 3.1, 3.9, 4.4)]
    expected = stats.levene(*groups, center="median")
    found = compare_scatter(groups)
    assert found.f_ratio == pytest.approx(float(expected.statistic), rel=1e-12)
    assert found.probability == pytest.approx(float(expected.pvalue), rel=1e-9)


@given(st.lists(VALUES, min_size=2, max_size=6))
def test_the_order_of_doses_changes_no_digit(values: list[float]) -> None:
    turned = list(reversed(values))
    assert pool([tuple(values)]) == pool([tuple(turned)])


def test_a_difference_agrees_with_scipys_two_sample_t() -> None:
    before, after = (300.0, 304.1, 297.2), (318.9, 323.0, 321.4)
    found = compare_means(before, after)
    low, high = stats.ttest_ind(after, before).confidence_interval(0.95)
    assert (found.low_response, found.high_response) == pytest.approx((low, high), rel=1e-9)
    assert found.verdict == "rose"
    assert compare_means(after, before).verdict == "fell"


def test_whole_sittings_widen_a_difference_as_their_variance_does() -> None:
    before, after = (300.0, 302.0), (303.0, 305.0)
    alone = compare_means(before, after)
    wide = compare_means(before, after, session_sd_response=3.0)
    assert alone.standard_error_response is not None
    assert wide.standard_error_response == pytest.approx(
        math.sqrt(alone.standard_error_response**2 + 18.0)
    )
    assert wide.verdict == "no_change_shown"


def test_single_doses_borrow_the_scatter_of_the_others_or_have_no_limits() -> None:
    alone = compare_means((300.0,), (310.0,))
    assert (alone.low_response, alone.high_response, alone.verdict) == (
        None,
        None,
        "scatter_unknown",
    )
    others = pool([(1.0, 2.0, 3.0), (4.0, 5.0, 6.0)])
    found = compare_means((300.0,), (310.0,), pooled=others)
    assert found.standard_error_response == pytest.approx(math.sqrt(2.0))
    assert found.freedom_count == 4


def test_no_verdict_of_a_difference_ever_speaks_of_settled() -> None:
    same = compare_means((300.0, 301.0, 302.0), (300.0, 301.0, 302.0))
    assert same.verdict == "no_change_shown"
    assert same.low_response is not None
    assert same.low_response < 0 < (same.high_response or 0)


def test_the_scatter_of_sittings_is_what_their_means_show_beyond_the_doses() -> None:
    control = [(99.0, 101.0), (103.0, 105.0), (95.0, 97.0), (100.0, 102.0), (104.0, 106.0)]
    found = session_spread(control=control, default_response=7.0)
    means = [100.0, 104.0, 96.0, 101.0, 105.0]
    assert found.basis == "control"
    assert found.sd_response == pytest.approx(math.sqrt(np.var(means, ddof=1) - 2.0 / 2), rel=1e-9)


def test_uneven_sittings_meet_the_equation_of_paule_and_mandel() -> None:
    groups = [(10.0, 11.0, 12.0), (20.0, 21.0), (14.0, 15.0, 16.0, 17.0), (9.0, 8.0)]
    found = session_spread(settled=groups, default_response=1.0)
    assert found.basis == "settled_checkpoints"
    pooled = pool(groups)
    within = pooled.within_squares / pooled.freedom_count
    weights = [1 / (found.sd_response**2 + within / count) for count in pooled.counts]
    centre = np.average(pooled.means, weights=weights)
    left = sum(w * (m - centre) ** 2 for w, m in zip(weights, pooled.means, strict=True))
    assert left == pytest.approx(3.0, rel=1e-9)


def test_sittings_that_scatter_less_than_their_doses_have_none_of_their_own() -> None:
    groups = [(1.0, 9.0), (2.0, 8.0), (0.0, 10.0), (3.0, 7.0)]
    assert session_spread(control=groups, default_response=1.0).sd_response == 0.0


def test_the_best_basis_is_taken_and_three_sittings_are_too_few() -> None:
    four = [(1.0, 2.0), (3.0, 4.0), (5.0, 6.0), (7.0, 8.0)]
    assert session_spread(control=four, settled=four, default_response=1.0).basis == "control"
    assert session_spread(control=four[:3], settled=four, default_response=1.0).basis == (
        "settled_checkpoints"
    )
    assert session_spread(control=four[:3], default_response=1.0).basis == "default"
    single = [(1.0,), (2.0,), (3.0,), (4.0,)]
    assert session_spread(control=single, default_response=1.0).basis == "default"


@pytest.mark.parametrize("group", [(), (1.0, math.nan), (math.inf,)])
def test_groups_without_finite_values_are_refused(group: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match="finite"):
        pool([group])
    with pytest.raises(ValueError, match="finite"):
        compare_scatter([group, (1.0, 2.0)])


def test_nothing_to_compare_is_refused() -> None:
    with pytest.raises(ValueError, match="two groups"):
        analyse_variance([(1.0, 2.0)])
    with pytest.raises(ValueError, match="replicate"):
        analyse_variance([(1.0,), (2.0,)])
    with pytest.raises(ValueError, match="negative"):
        compare_means((1.0,), (2.0,), session_sd_response=-1.0)
    with pytest.raises(ValueError, match="negative"):
        session_spread(default_response=math.nan)


def test_groups_without_any_scatter() -> None:
    assert analyse_variance([(1.0, 1.0), (2.0, 2.0)]).f_ratio == math.inf
    assert analyse_variance([(1.0, 1.0), (2.0, 2.0)]).probability == 0.0
    assert analyse_variance([(1.0, 1.0), (1.0, 1.0)]).f_ratio == 0.0
