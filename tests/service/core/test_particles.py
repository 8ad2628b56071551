"""The sizes in one sample and in replicates: nulls with reasons, properties, anything at all."""

from __future__ import annotations

import math
from contextlib import suppress
from dataclasses import fields
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy import optimize, stats

from burrline_service.core.errors import SampleRefused
from burrline_service.core.particles import measure_sample, summarize
from burrline_service.core.particles_curve import fit_curve
from burrline_service.core.particles_finished import finished_sizes
from burrline_service.core.particles_fits import fit_log_normal, fit_rosin_rammler
from burrline_service.core.particles_pooled import pool_sizes
from burrline_service.core.particles_reading import distribution_of
from burrline_service.core.particles_records import (
    ClassTable,
    Distribution,
    ParticleList,
    Percentiles,
    SampleSizes,
    SampleSummary,
    SieveTable,
)
from burrline_service.core.particles_tables import classed_sample

STACK = (850.0, 600.0, 425.0, 300.0, 212.0, 150.0, 106.0)
NUMBERS = ("d10_micrometres", "d50_micrometres", "d90_micrometres", "span", "fines_fraction")


def reasons(answer: SampleSizes | SampleSummary) -> dict[str, str]:
    return {one.name: one.code for one in answer.missing}


# --- what is null, and why ------------------------------------------------------------------------


def test_a_percentile_inside_the_pan_or_above_the_top_sieve_is_null() -> None:
    sizes = measure_sample(SieveTable((400.0, 200.0), (5.0, 11.0, 9.0)))
    assert sizes.d50_micrometres is not None
    assert (sizes.d10_micrometres, sizes.d90_micrometres, sizes.span) == (None, None, None)
    assert reasons(sizes) == {
        "d10_micrometres": "below_finest_size",
        "d90_micrometres": "above_coarsest_size",
        "span": "needs_percentiles",
        "fines_fraction": "cut_below_finest_size",
    }


def test_one_sieve_at_the_cut_tells_the_fines_and_nothing_else() -> None:
    sizes = measure_sample(SieveTable((100.0,), (22.0, 3.0)))
    assert sizes.fines_fraction == 0.12
    assert reasons(sizes) == dict.fromkeys(NUMBERS[:3], "one_size") | {"span": "needs_percentiles"}


def test_fines_below_another_cut_are_not_converted() -> None:
    given = Percentiles(150.0, 390.0, 700.0, 0.08, 90.0)
    assert reasons(measure_sample(given))["fines_fraction"] == "other_cut"
    assert measure_sample(given, fines_cut_micrometres=90.0).fines_fraction == 0.08


def test_given_bounds_close_the_open_ends() -> None:
    masses = (0.2, 3.1, 7.4, 6.3, 3.4, 1.9, 1.2, 1.5)
    is_open = summarize(SieveTable(STACK, masses))
    closed = summarize(SieveTable(STACK, masses, 20.0, 1000.0))
    assert is_open.volume_mean_micrometres is None
    assert reasons(is_open)["surface_mean_micrometres"] == "pan_without_lower_size"
    edges = np.array((1000.0, *STACK, 20.0))
    mids = np.sqrt(edges[1:] * edges[:-1])
    assert closed.volume_mean_micrometres == pytest.approx(np.average(mids, weights=masses))
    assert closed.surface_mean_micrometres == pytest.approx(
        1 / np.average(1 / mids, weights=masses)
    )
    assert closed.sizes.fines_fraction is not None
    assert 0 < closed.sizes.fines_fraction < 1.5 / 25


def test_a_trace_in_the_pan_leaves_the_means_standing() -> None:
    traced = summarize(SieveTable(STACK, (0.0, 3.0, 7.0, 8.0, 4.0, 2.0, 0.95, 0.05)))
    assert traced.volume_mean_micrometres is not None
    top = summarize(SieveTable(STACK, (2.0, 3.0, 7.0, 8.0, 4.0, 2.0, 0.95, 0.05)))
    assert reasons(top)["volume_mean_micrometres"] == "top_without_upper_size"


def test_a_peak_beside_the_pan_is_no_mode() -> None:
    summary = summarize(SieveTable((400.0, 200.0, 100.0), (0.0, 2.0, 8.0, 15.0)))
    assert summary.modes == ()
    assert reasons(summary)["modes"] == "peak_in_open_end"


def test_a_ripple_is_no_mode() -> None:
    edges = tuple(np.geomspace(50, 800, 9))
    smooth = summarize(ClassTable(edges, (0.05, 0.10, 0.20, 0.25, 0.20, 0.10, 0.06, 0.04)))
    ripple = summarize(ClassTable(edges, (0.05, 0.10, 0.20, 0.25, 0.19, 0.095, 0.10, 0.015)))
    twice = summarize(ClassTable(edges, (0.05, 0.10, 0.20, 0.25, 0.10, 0.05, 0.20, 0.05)))
    assert [len(one.modes) for one in (smooth, ripple, twice)] == [1, 1, 2]


def test_finished_percentiles_hold_no_distribution() -> None:
    summary = summarize(Percentiles(150.0, 390.0, 700.0, 0.08, 100.0))
    assert summary.sizes.span == pytest.approx(550 / 390)
    assert summary.percentile_method == "as_given"
    assert set(reasons(summary).values()) == {"only_percentiles"}


def test_too_few_points_are_not_fitted() -> None:
    summary = summarize(ClassTable((50.0, 100.0, 200.0, 400.0), (0.2, 0.6, 0.2)))
    assert (summary.rosin_rammler, summary.log_normal) == ((), ())
    assert reasons(summary)["log_normal"] == "too_few_points"


def test_fines_of_single_particles_are_counted_not_interpolated() -> None:
    sizes = measure_sample(ParticleList((50.0, 99.0, 100.0, 101.0)))
    assert sizes.fines_fraction == pytest.approx(
        (50**3 + 99**3) / (50**3 + 99**3 + 100**3 + 101**3)
    )


def test_particles_all_alike_have_one_size() -> None:
    sizes = measure_sample(ParticleList((250.0,) * 7))
    assert (sizes.d10_micrometres, sizes.d90_micrometres, sizes.span) == (250.0, 250.0, 0.0)


def test_modes_of_many_particles_are_found_without_a_grid_of_their_own() -> None:
    few, many = (ParticleList(tuple(np.linspace(90, 110, n))) for n in (999, 1000))
    assert reasons(summarize(few))["modes"] == "too_few_particles"
    (mode,) = summarize(many).modes
    assert mode.low_micrometres < 100 < mode.high_micrometres


# --- fits -----------------------------------------------------------------------------------------

GROUND_SIZES = np.array([45.0, 63, 90, 125, 180, 250, 355, 500, 710, 1000])
GROUND_UNDERSIZES = np.array([0.02, 0.05, 0.09, 0.14, 0.22, 0.36, 0.61, 0.88, 0.97, 1.0])


def test_least_squares_of_the_undersize_agree_with_scipy() -> None:
    curve = fit_curve(GROUND_SIZES, GROUND_UNDERSIZES)
    x, q = GROUND_SIZES[:-1], GROUND_UNDERSIZES[:-1]
    rosin_rammler, log_normal = fit_rosin_rammler(curve)[1], fit_log_normal(curve)[1]
    for law, start, found in (
        (
            lambda size, scale, n: stats.weibull_min.cdf(size, n, scale=scale),
            (400.0, 1.5),
            (rosin_rammler.scale_micrometres, rosin_rammler.exponent),
        ),
        (
            lambda size, median, s: stats.lognorm.cdf(size, s, scale=median),
            (300.0, 0.8),
            (log_normal.median_micrometres, log_normal.log_sd),
        ),
    ):
        expected, _ = optimize.curve_fit(law, x, q, p0=start, xtol=1e-12, ftol=1e-12)
        assert found == pytest.approx(expected, rel=1e-6)
    residuals = q - stats.lognorm.cdf(x, log_normal.log_sd, scale=log_normal.median_micrometres)
    spread = q - q.mean()
    assert log_normal.r_squared == pytest.approx(1 - residuals @ residuals / (spread @ spread))


def test_straight_lines_agree_with_scipy() -> None:
    curve = fit_curve(GROUND_SIZES, GROUND_UNDERSIZES)
    x, q = np.log(GROUND_SIZES[:-1]), GROUND_UNDERSIZES[:-1]
    line = stats.linregress(x, np.log(-np.log(1 - q)))
    found = fit_rosin_rammler(curve)[0]
    assert found.exponent == pytest.approx(line.slope, rel=1e-9)
    assert found.r_squared == pytest.approx(line.rvalue**2, rel=1e-9)
    line = stats.linregress(x, stats.norm.ppf(q))
    found_too = fit_log_normal(curve)[0]
    assert found_too.log_sd == pytest.approx(1 / line.slope, rel=1e-9)
    assert found_too.median_micrometres == pytest.approx(math.exp(-line.intercept / line.slope))


# --- properties -----------------------------------------------------------------------------------

masses = st.one_of(st.just(0.0), st.floats(0.001, 30.0))
sieve_tables = st.builds(
    lambda apertures, held: SieveTable(
        tuple(sorted(apertures, reverse=True)), tuple(held[: len(apertures) + 1])
    ),
    st.lists(st.integers(20, 2000), min_size=1, max_size=12, unique=True).map(
        lambda found: [float(one) for one in found]
    ),
    st.lists(masses, min_size=13, max_size=13),
)


@st.composite
def class_tables(draw: st.DrawFn) -> ClassTable:
    n = draw(st.integers(1, 20))
    edges = draw(st.lists(st.integers(1, 3000), min_size=n + 1, max_size=n + 1, unique=True))
    if draw(st.booleans()):
        counts = draw(st.lists(st.integers(0, 10**6), min_size=n, max_size=n))
        return ClassTable(tuple(map(float, sorted(edges))), count=tuple(map(float, counts)))
    parts = draw(st.lists(masses, min_size=n, max_size=n))
    total = math.fsum(parts) or 1.0
    return ClassTable(tuple(map(float, sorted(edges))), tuple(part / total for part in parts))


particle_lists = st.lists(st.floats(0.5, 3000.0), min_size=1, max_size=60).map(
    lambda found: ParticleList(tuple(found))
)
finished = st.builds(
    lambda sizes, fines, cut: Percentiles(
        *sorted(sizes), fines, cut if fines is not None else None
    ),
    st.lists(st.floats(1.0, 3000.0), min_size=3, max_size=3),
    st.one_of(st.none(), st.floats(0, 1)),
    st.one_of(st.none(), st.just(100.0), st.floats(1.0, 500.0)),
)
tables = st.one_of(sieve_tables, class_tables(), particle_lists)
distributions = st.one_of(tables, finished)


def measured(distribution: Distribution, **more: float) -> SampleSizes | None:
    try:
        return measure_sample(distribution, **more)
    except SampleRefused:
        return None


def check_sizes_hold_together(sizes: SampleSizes) -> None:
    given = [size for name in NUMBERS[:3] if (size := getattr(sizes, name)) is not None]
    assert given == sorted(given)
    assert all(0 < size < math.inf for size in given)
    assert sizes.fines_fraction is None or 0 <= sizes.fines_fraction <= 1
    assert sizes.span is None or sizes.span >= 0
    # every null has exactly one reason, and no number has one
    null = sorted(name for name in NUMBERS if getattr(sizes, name) is None)
    assert sorted(one.name for one in sizes.missing) == null


@given(distributions, st.one_of(st.none(), st.floats(1, 50)), st.floats(1.0, 1500.0))
@example(ClassTable((1.0, 2, 3, 16, 17), (5 / 19, 1 / 19, 0, 13 / 19)), None, 100.0)
@example(SieveTable((73.0, 72, 71, 70, 20), (0.0, 0, 10, 2**-7, 0, 1)), None, 100.0)
def test_any_distribution_is_measured_or_refused_by_name(
    distribution: Distribution, dose_grams: float | None, cut: float
) -> None:
    try:
        summary = summarize(distribution, dose_grams=dose_grams, fines_cut_micrometres=cut)
    except SampleRefused:
        return
    check_sizes_hold_together(summary.sizes)
    plain = measure_sample(distribution, dose_grams=dose_grams, fines_cut_micrometres=cut)
    assert plain == summary.sizes
    explained = {one.name for one in summary.missing}
    for name in ("volume_mean_micrometres", "surface_mean_micrometres"):
        assert (getattr(summary, name) is None) == (name in explained)
    for name in ("modes", "rosin_rammler", "log_normal"):
        assert (getattr(summary, name) == ()) == (name in explained)
    if summary.volume_mean_micrometres is not None:
        assert summary.surface_mean_micrometres is not None
        assert 0 < summary.surface_mean_micrometres <= summary.volume_mean_micrometres * (1 + 1e-9)
    for fit in (*summary.rosin_rammler, *summary.log_normal):
        for field in fields(fit)[1:]:
            assert math.isfinite(getattr(fit, field.name))
    for mode in summary.modes:
        assert mode.low_micrometres < mode.mode_micrometres < mode.high_micrometres


anything = st.recursive(
    st.one_of(
        st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=5),
        st.sampled_from([0, 1, 100, 1e-6, 1e6, 5e-324, 1e308, 0.1 + 0.2]),
    ),
    lambda inner: st.lists(inner, max_size=6),
    max_leaves=8,
)  # fmt: skip
NAMES = [
    "kind", "aperture_micrometres", "retained_grams", "pan_low_micrometres",
    "top_high_micrometres", "edge_micrometres", "volume_fraction", "count",
    "diameter_micrometres", "d10_micrometres", "d50_micrometres", "d90_micrometres",
    "fines_fraction", "fines_cut_micrometres",
]  # fmt: skip
wild_numbers = st.lists(
    st.one_of(
        st.floats(),
        st.floats(0.0, 1e7),
        st.integers(-2, 10**13),
        st.sampled_from([1e-3, 1e6, 1e12, 0.0, 1e-320]),
    ),
    max_size=8,
)


@st.composite
def wild(draw: st.DrawFn) -> dict[str, Any]:
    kind = draw(st.sampled_from(["sieve", "classes", "particles", "percentiles", "", None]))
    own = {
        "sieve": ("aperture_micrometres", "retained_grams"),
        "classes": ("edge_micrometres", draw(st.sampled_from(["volume_fraction", "count"]))),
        "particles": ("diameter_micrometres",),
    }.get(str(kind), ())
    members: dict[str, Any] = {"kind": kind, **{name: draw(wild_numbers) for name in own}}
    if kind == "percentiles":
        members |= {name: draw(st.one_of(st.none(), st.floats())) for name in NAMES[-5:]}
    return members | draw(st.dictionaries(st.sampled_from(NAMES), anything, max_size=2))


@given(wild())
@example({"kind": "particles", "diameter_micrometres": [1e-3, 1e6]})
@example({"kind": "classes", "edge_micrometres": [1e-3, 1.0, 1e6], "count": [1e12, 1, 1]})
@example({"kind": "classes", "edge_micrometres": [0, 1, 2, 3], "count": [0, 1, 1]})
@example({"kind": "sieve", "aperture_micrometres": [2, 1], "retained_grams": [5e-324, 1, 1e12]})
def test_any_json_object_at_all_is_measured_or_refused_by_name(members: dict[str, Any]) -> None:
    with suppress(SampleRefused):
        check_sizes_hold_together(summarize(distribution_of(members)).sizes)


def scaled(distribution: Distribution, factor: float) -> Distribution:
    def all_of(sizes: tuple[float, ...]) -> tuple[float, ...]:
        return tuple(factor * size for size in sizes)

    if isinstance(distribution, SieveTable):
        return SieveTable(all_of(distribution.aperture_micrometres), distribution.retained_grams)
    if isinstance(distribution, ClassTable):
        return ClassTable(
            all_of(distribution.edge_micrometres), distribution.volume_fraction, distribution.count
        )
    assert isinstance(distribution, ParticleList)
    return ParticleList(all_of(distribution.diameter_micrometres))


@given(tables, st.sampled_from([0.25, 0.5, 2.0, 8.0]))
def test_sizes_scale_and_shares_do_not(distribution: Distribution, factor: float) -> None:
    one = measured(distribution, fines_cut_micrometres=100.0)
    other = measured(scaled(distribution, factor), fines_cut_micrometres=100.0 * factor)
    assert (one is None) == (other is None)
    if one is not None and other is not None:
        for name in NUMBERS[:3]:
            size = getattr(one, name)
            expected = None if size is None else pytest.approx(factor * size, rel=1e-6)
            assert getattr(other, name) == expected
        if one.fines_fraction is not None:
            assert other.fines_fraction == pytest.approx(one.fines_fraction, abs=1e-9)


@given(sieve_tables, st.sampled_from([0.25, 0.5, 2.0, 8.0]))
def test_the_dose_does_not_matter_only_its_shares(table: SieveTable, factor: float) -> None:
    one = measured(table)
    other = measured(
        SieveTable(table.aperture_micrometres, tuple(factor * one for one in table.retained_grams))
    )
    assert (one is None) == (other is None)
    if one is not None and other is not None:
        assert [getattr(other, name) for name in NUMBERS] == [
            getattr(one, name) for name in NUMBERS
        ]


@given(st.lists(st.floats(0.5, 3000.0), min_size=1, max_size=40).flatmap(
    lambda found: st.tuples(st.just(found), st.permutations(found))
))  # fmt: skip
def test_the_order_of_particles_does_not_matter(lists: tuple[list[float], list[float]]) -> None:
    one, other = (summarize(ParticleList(tuple(found))) for found in lists)
    assert one == other


@given(particle_lists, st.integers(2, 4))
def test_measuring_every_particle_again_changes_no_size(found: ParticleList, times: int) -> None:
    one = measure_sample(found)
    other = measure_sample(ParticleList(found.diameter_micrometres * times))
    for name in NUMBERS:
        assert getattr(other, name) == pytest.approx(getattr(one, name), rel=1e-9)


@given(sieve_tables)
def test_a_stack_listed_upside_down_is_the_same_stack(table: SieveTable) -> None:
    upside_down = SieveTable(
        table.aperture_micrometres[::-1],
        (*table.retained_grams[:-1][::-1], table.retained_grams[-1]),
    )
    one, other = measured(table), measured(upside_down)
    assert (one is None) == (other is None)
    if one is not None and other is not None:
        assert [getattr(other, name) for name in NUMBERS] == [
            getattr(one, name) for name in NUMBERS
        ]


@given(class_tables(), st.data())
def test_merging_two_classes_keeps_the_undersize_at_every_edge_that_is_left(
    table: ClassTable, drawn: st.DataObject
) -> None:
    if table.volume_fraction is None or len(table.volume_fraction) < 3:
        return
    at = drawn.draw(st.integers(0, len(table.volume_fraction) - 2))
    parts = table.volume_fraction
    merged = ClassTable(
        (*table.edge_micrometres[: at + 1], *table.edge_micrometres[at + 2 :]),
        (*parts[:at], parts[at] + parts[at + 1], *parts[at + 2 :]),
    )
    try:
        fine, coarse = classed_sample(table).curve, classed_sample(merged).curve
    except SampleRefused:
        return
    left = np.delete(fine.undersize_fraction, at + 1)
    assert coarse.undersize_fraction == pytest.approx(left, abs=1e-12)


@given(tables, st.floats(1.0, 1500.0), st.floats(1.0, 1500.0))
def test_a_finer_cut_never_has_more_fines(distribution: Distribution, a: float, b: float) -> None:
    low = measured(distribution, fines_cut_micrometres=min(a, b))
    high = measured(distribution, fines_cut_micrometres=max(a, b))
    if low is None or high is None:
        return
    if low.fines_fraction is not None and high.fines_fraction is not None:
        assert low.fines_fraction <= high.fines_fraction + 1e-12


# --- replicates -----------------------------------------------------------------------------------


def test_replicates_are_pooled_logarithmically() -> None:
    d50s = (300.0, 304.1, 297.2)
    fines = (0.141, 0.136, 0.146)
    samples = [
        finished_sizes(Percentiles(d50 / 2, d50, 2 * d50, share, 100.0), 100.0)
        for d50, share in zip(d50s, fines, strict=True)
    ]
    pooled = pool_sizes(samples)
    assert pooled.replicate_count == 3
    assert pooled.d50_micrometres == pytest.approx(stats.gmean(d50s))
    assert pooled.d10_micrometres == pytest.approx(stats.gmean(d50s) / 2)
    assert pooled.d50_log_sd == pytest.approx(np.std(np.log(d50s), ddof=1))
    assert pooled.fines_fraction == pytest.approx(np.mean(fines))
    assert pooled.fines_sd_fraction == pytest.approx(np.std(fines, ddof=1))
    assert pooled.span == pytest.approx(1.5)
    assert pooled.missing == ()


def test_a_number_that_one_replicate_lacks_is_not_averaged_over_the_others() -> None:
    pooled = pool_sizes(
        [finished_sizes(Percentiles(150.0, 390.0, 700.0), 100.0),
         finished_sizes(Percentiles(None, 400.0, 700.0), 100.0)]
    )  # fmt: skip
    assert (pooled.d10_micrometres, pooled.span, pooled.fines_fraction) == (None, None, None)
    assert pooled.d50_micrometres == pytest.approx(math.sqrt(390 * 400))
    assert {one.name for one in pooled.missing} == {"d10_micrometres", "span", "fines_fraction"}


def test_one_replicate_has_no_scatter() -> None:
    pooled = pool_sizes([finished_sizes(Percentiles(150.0, 390.0, 700.0), 100.0)])
    assert pooled.d50_log_sd is None
    assert "d50_log_sd" in {one.name for one in pooled.missing}


def test_replicates_without_one_cut_are_not_pooled() -> None:
    given = Percentiles(150.0, 390.0, 700.0)
    with pytest.raises(ValueError, match="cuts"):
        pool_sizes([finished_sizes(given, 100.0), finished_sizes(given, 90.0)])
    with pytest.raises(ValueError, match="at least one"):
        pool_sizes([])
