"""The cumulative curve: the monotone cubic against scipy's, and its own promises."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from burrline_service.core.particles_curve import (
    fit_curve,
    percentile_micrometres,
    undersize_fraction,
)
from burrline_service.core.particles_records import Curve

steps = st.floats(0.01, 1.5)
parts = st.one_of(st.just(0.0), st.floats(1e-6, 1.0))


@st.composite
def curves(draw: st.DrawFn) -> Curve:
    rises = draw(st.lists(parts, min_size=2, max_size=15).filter(lambda found: sum(found) > 1e-3))
    widths = draw(st.lists(steps, min_size=len(rises), max_size=len(rises)))
    sizes = 20 * np.exp(np.cumsum(widths))
    undersizes = np.minimum(np.cumsum(rises) / math.fsum(rises), 1.0)
    return fit_curve(sizes, undersizes)


# --- against scipy --------------------------------------------------------------------------------


@given(curves())
def test_slopes_are_scipys(curve: Curve) -> None:
    reference = PchipInterpolator(np.log(curve.size_micrometres), curve.undersize_fraction)
    expected = reference.derivative()(np.log(curve.size_micrometres))
    assert curve.slope_fraction == pytest.approx(expected, rel=1e-6, abs=1e-9)


@given(curves(), st.floats(0.0, 1.0))
def test_undersizes_between_the_points_are_scipys(curve: Curve, place: float) -> None:
    ends = np.log(curve.size_micrometres[[0, -1]])
    x = float(ends[0] + place * (ends[1] - ends[0]))
    reference = PchipInterpolator(np.log(curve.size_micrometres), curve.undersize_fraction)
    size = min(max(math.exp(x), curve.size_micrometres[0]), curve.size_micrometres[-1])
    assert undersize_fraction(curve, size) == pytest.approx(float(reference(x)), abs=1e-9)


@given(curves(), st.floats(0.001, 0.999))
def test_a_percentile_has_that_undersize_by_scipys_own_curve(curve: Curve, passing: float) -> None:
    found = percentile_micrometres(curve, passing)
    if found is None:
        assert passing < curve.undersize_fraction[0]
    else:
        reference = PchipInterpolator(np.log(curve.size_micrometres), curve.undersize_fraction)
        assert float(reference(math.log(found))) == pytest.approx(passing, abs=1e-8)


def test_percentiles_are_the_roots_scipy_finds() -> None:
    sizes = np.array([45.0, 63, 90, 125, 180, 250, 355, 500, 710])
    undersizes = np.array([0.02, 0.05, 0.09, 0.14, 0.22, 0.36, 0.61, 0.9, 1.0])
    reference = PchipInterpolator(np.log(sizes), undersizes)
    for passing in (0.1, 0.16, 0.5, 0.84, 0.9):
        (root,) = reference.solve(passing, extrapolate=False)
        found = percentile_micrometres(fit_curve(sizes, undersizes), passing)
        assert found == pytest.approx(math.exp(root), rel=1e-12)


# --- its own promises -----------------------------------------------------------------------------


@given(curves(), st.floats(0.001, 0.999), st.floats(0.001, 0.999))
def test_percentiles_never_fall(curve: Curve, one: float, other: float) -> None:
    low = percentile_micrometres(curve, min(one, other))
    high = percentile_micrometres(curve, max(one, other))
    if low is not None and high is not None:
        assert low <= high * (1 + 1e-9)


@given(curves(), st.floats(10.0, 5000.0), st.floats(10.0, 5000.0))
def test_undersizes_never_fall(curve: Curve, one: float, other: float) -> None:
    low = undersize_fraction(curve, min(one, other))
    high = undersize_fraction(curve, max(one, other))
    if low is not None and high is not None:
        assert low <= high + 1e-12


@given(curves(), st.floats(0.01, 100.0), st.floats(0.001, 0.999))
def test_a_percentile_scales_with_the_sizes(curve: Curve, factor: float, passing: float) -> None:
    scaled = fit_curve(factor * curve.size_micrometres, curve.undersize_fraction)
    found = percentile_micrometres(curve, passing)
    again = percentile_micrometres(scaled, passing)
    assert (found is None) == (again is None)
    if found is not None:
        # level stretches make the inverse steep there: compare what it is the inverse of
        assert again is not None
        back = undersize_fraction(curve, again / factor)
        assert back == pytest.approx(passing, abs=1e-8)


@given(curves(), st.floats(0.001, 0.999))
def test_a_percentile_and_an_undersize_undo_each_other(curve: Curve, passing: float) -> None:
    size = percentile_micrometres(curve, passing)
    if size is not None:
        assert undersize_fraction(curve, size) == pytest.approx(passing, abs=1e-8)


def test_a_level_stretch_gives_its_geometric_middle_from_both_sides() -> None:
    curve = fit_curve([50.0, 100.0, 400.0, 800.0], [0.0, 0.5, 0.5, 1.0])
    assert percentile_micrometres(curve, 0.5) == pytest.approx(200.0, rel=1e-12)


def test_nothing_is_read_beyond_the_ends() -> None:
    curve = fit_curve([50.0, 100.0, 400.0], [0.2, 0.5, 0.8])
    assert percentile_micrometres(curve, 0.1) is None
    assert percentile_micrometres(curve, 0.9) is None
    assert undersize_fraction(curve, 49.0) is None
    assert undersize_fraction(curve, 401.0) is None
    closed = fit_curve([50.0, 100.0, 400.0], [0.0, 0.5, 1.0])
    assert undersize_fraction(closed, 49.0) == 0.0
    assert undersize_fraction(closed, 401.0) == 1.0


def test_a_single_point_is_known_at_its_size_only() -> None:
    curve = fit_curve([100.0], [0.12])
    assert undersize_fraction(curve, 100.0) == 0.12
    assert undersize_fraction(curve, 101.0) is None
    assert undersize_fraction(curve, 99.0) is None
    assert percentile_micrometres(curve, 0.5) is None
    assert percentile_micrometres(curve, 0.12) is None


@pytest.mark.parametrize(
    ("sizes", "undersizes"),
    [
        ([], []),
        ([1.0, 2.0], [0.5]),
        ([2.0, 1.0], [0.0, 1.0]),
        ([1.0, 1.0], [0.0, 1.0]),
        ([0.0, 1.0], [0.0, 1.0]),
        ([1.0, math.nan], [0.0, 1.0]),
        ([1.0, 2.0], [0.0, math.nan]),
        ([1.0, 2.0], [0.5, 0.4]),
        ([1.0, 2.0], [-0.1, 0.4]),
        ([1.0, 2.0], [0.5, 1.1]),
    ],
)
def test_a_curve_that_is_none_is_refused(sizes: list[float], undersizes: list[float]) -> None:
    with pytest.raises(ValueError):
        fit_curve(sizes, undersizes)


@pytest.mark.parametrize("passing", [0.0, 1.0, -0.1, math.nan])
def test_a_percentile_lies_between_nothing_and_all(passing: float) -> None:
    with pytest.raises(ValueError):
        percentile_micrometres(fit_curve([1.0, 2.0], [0.0, 1.0]), passing)


@pytest.mark.parametrize("size", [0.0, -1.0, math.inf, math.nan])
def test_an_undersize_is_asked_for_a_size(size: float) -> None:
    with pytest.raises(ValueError):
        undersize_fraction(fit_curve([1.0, 2.0], [0.0, 1.0]), size)
