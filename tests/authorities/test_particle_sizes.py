"""Particle sizes by the book: published tables and their printed answers.

Each case names its source and the tolerance that the source's own rounding or graph reading asks
for. None of the ISO and ASTM texts was opened: what they print was read at second hand in the
test-suite of the open-source library fluids 1.3.1 (MIT); where a value is from memory it says so.
"""

from __future__ import annotations

import math
from itertools import accumulate, pairwise

import numpy as np
import pytest
from fluids.particle_size_distribution import ParticleSizeDistribution
from scipy import stats

from burrline_service.core.particles import measure_sample, summarize
from burrline_service.core.particles_curve import (
    fit_curve,
    percentile_micrometres,
    undersize_fraction,
)
from burrline_service.core.particles_fits import fit_rosin_rammler
from burrline_service.core.particles_records import ClassTable, ParticleList, SieveTable
from burrline_service.core.particles_tables import classed_sample

# ASTM E799-03(2015), worked example: drops counted in 14 unequal classes, micrometres; printed
# means are rounded to 10 (D[3,2] is printed 0.5 % high of what the table itself gives).
DROP_EDGES = (
    240, 360, 450, 562.5, 703, 878, 1097, 1371, 1713, 2141, 2676, 3345, 4181, 5226, 6532,
)  # fmt: skip
DROP_COUNTS = (65, 119, 232, 410, 629, 849, 990, 981, 825, 579, 297, 111, 21, 1)
DROP_VOLUME_PERCENT = (
    0.005, 0.021, 0.081, 0.28, 0.837, 2.202, 5.01, 9.687, 15.9, 21.788, 21.826, 15.93, 5.885, 0.547,
)  # fmt: skip

# Principles of Geotechnical Engineering, examples 2.1 and 2.2: sieves in mm, masses in g; D values
# were read off a graph there (D60 by eye, 4 to 10 % low).
SOIL_APERTURES = (4.75, 2.0, 0.85, 0.425, 0.25, 0.18, 0.15, 0.075)
SOIL_MASSES = (0, 40, 60, 89, 140, 122, 210, 56, 12)
SOIL_PERCENT_FINER = (100, 94.5, 86.3, 74.1, 54.9, 38.1, 9.3, 1.7)

# A student laboratory report with its full table (low authority; D10 read 7 to 13 % off).
REPORT_APERTURES = (4.75, 2.36, 1.18, 0.6, 0.3, 0.15, 0.075)
REPORT_MASSES = (42.5, 224.5, 145.5, 89.5, 61, 40, 31.5, 6.5)
REPORT_PERCENT_PASSING = (93.4, 58.4, 35.7, 21.7, 12.2, 6, 1)

# A mineral-processing sheet that fits Rosin-Rammler to a sieve analysis by a line through
# ln(-ln R); micrometres, cumulative percent retained. What it labels R is r squared.
SHEET_APERTURES = (600, 425, 300, 212, 150, 106, 75, 53, 45, 38)
SHEET_RETAINED_PERCENT = (0.1, 0.7, 3, 8.1, 12.3, 21.7, 30.5, 44.6, 50.5, 54.2)
SHEET_FITTED_PERCENT = (0.1, 0.7, 2.6, 6.6, 13.4, 22.5, 33.1, 44.1, 49.1, 54.1)

# Export of a laser-diffraction instrument, glass beads, and what it derived itself (open-source
# project PSD-Analyser, example files, sample "16 Averaged Result").
BEAD_EDGES = (
    30.199517, 34.673685, 39.810717, 45.708819, 52.480746, 60.255959, 69.183097, 79.432823,
    91.201084, 104.712855, 120.226443, 138.038426, 158.489319, 181.970086,
)  # fmt: skip
BEAD_VOLUME_PERCENT = (
    0.012362, 0.42421, 2.158819, 6.105918, 12.005703, 17.790159, 20.449133, 18.41713, 12.907406,
    6.753966, 2.47866, 0.46569, 0.030843,
)  # fmt: skip


def classes_of(law: stats.rv_continuous, edges: np.ndarray) -> ClassTable:
    """A law's own content between edges (scipy)."""
    content = np.diff(law.cdf(edges))
    return ClassTable(tuple(edges), tuple(content / content.sum()))


def sieves(apertures_millimetres: tuple[float, ...], masses: tuple[float, ...]) -> SieveTable:
    return SieveTable(tuple(1000 * size for size in apertures_millimetres), masses)


# --- counts in classes ----------------------------------------------------------------------------


def test_counted_drops_have_the_printed_share_of_volume_in_every_class() -> None:
    sample = classed_sample(ClassTable(DROP_EDGES, count=DROP_COUNTS))
    assert 100 * sample.volume_fraction == pytest.approx(DROP_VOLUME_PERCENT, abs=0.001)
    assert sample.particle_count == 6109


def test_counted_drops_have_the_printed_mean_diameters() -> None:
    summary = summarize(ClassTable(DROP_EDGES, count=DROP_COUNTS))
    assert summary.mean_method == "uniform_number"
    assert summary.volume_mean_micrometres == pytest.approx(2670, rel=0.006)
    assert summary.surface_mean_micrometres == pytest.approx(2280, rel=0.006)


def test_counted_drops_agree_with_an_independent_library() -> None:
    reference = ParticleSizeDistribution(
        ds=[size * 1e-6 for size in DROP_EDGES],
        fractions=[count / sum(DROP_COUNTS) for count in DROP_COUNTS],
        order=0,
    )
    summary = summarize(ClassTable(DROP_EDGES, count=DROP_COUNTS))
    for found, (p, q) in (
        (summary.volume_mean_micrometres, (4, 3)),
        (summary.surface_mean_micrometres, (3, 2)),
    ):
        assert found == pytest.approx(1e6 * reference.mean_size(p=p, q=q), rel=1e-9)


# --- laws -----------------------------------------------------------------------------------------


def test_the_log_normal_example_of_iso_9276_2_has_the_printed_means() -> None:
    # ISO 9276-2:2014: x50,3 = 5, s = 0.5; D[4,3] 5.666, D[3,2] 4.412 (to 0.001)
    edges = 5.0 * np.exp(0.5 * np.linspace(-8, 8, 801))
    summary = summarize(classes_of(stats.lognorm(0.5, scale=5.0), edges))
    assert summary.volume_mean_micrometres == pytest.approx(5.666, abs=0.0006)
    assert summary.surface_mean_micrometres == pytest.approx(4.412, abs=0.0006)
    assert summary.sizes.d10_micrometres == pytest.approx(5 * math.exp(-0.5 * 1.2815516), rel=1e-5)
    assert summary.sizes.span == pytest.approx(2 * math.sinh(0.5 * 1.2815516), rel=1e-5)
    for fit in summary.log_normal:
        assert fit.median_micrometres == pytest.approx(5.0, rel=1e-6)
        assert fit.log_sd == pytest.approx(0.5, rel=1e-6)


def test_five_classes_to_the_decade_move_the_means_by_less_than_a_percent() -> None:
    # the class edges of ISO 9276-2:2014, R5 up to 25; geometric class middles
    edges = np.array(
        [0.9952679263837426, 1.5773933612004825, 2.5, 3.9622329811527823, 6.279716078773949,
         9.95267926383743, 15.77393361200483, 25.0]
    )  # fmt: skip
    summary = summarize(classes_of(stats.lognorm(0.5, scale=5.0), edges))
    assert summary.volume_mean_micrometres == pytest.approx(5.666, rel=0.01)
    assert summary.surface_mean_micrometres == pytest.approx(4.412, rel=0.01)


def test_a_uniform_law_has_the_printed_surface_mean() -> None:
    # Chemical Engineering vol. 2, example 1.1: mass uniform from 1 to 101, D[3,2] = 21.7 (from
    # memory; exactly 100 / ln 101)
    summary = summarize(classes_of(stats.uniform(1, 100), np.geomspace(1.0, 101.0, 401)))
    assert summary.surface_mean_micrometres == pytest.approx(21.7, abs=0.05)
    assert summary.volume_mean_micrometres == pytest.approx(51.0, rel=1e-4)
    found = (summary.sizes.d10_micrometres, summary.sizes.d50_micrometres)
    assert found == pytest.approx((11.0, 51.0), rel=1e-4)
    assert summary.sizes.span == pytest.approx(80 / 51, rel=1e-4)


def test_a_rosin_rammler_law_is_read_as_a_course_prints_it() -> None:
    # a modelling course's example (low authority): x' 150, n 1.2 -> Q(75) 0.353, P80 223
    edges = np.geomspace(0.1, 5000, 201)
    curve = fit_curve(edges, stats.weibull_min(1.2, scale=150).cdf(edges))
    assert undersize_fraction(curve, 75.0) == pytest.approx(0.353, abs=0.0006)
    assert percentile_micrometres(curve, 0.8) == pytest.approx(223, abs=0.6)
    for fit in fit_rosin_rammler(curve):
        assert (fit.exponent, fit.scale_micrometres) == pytest.approx((1.2, 150.0), rel=1e-6)


@pytest.mark.parametrize(
    ("steps", "size_error", "fines_error"), [(100, 0.001, 0.0003), (400, 0.0001, 0.0001)]
)
def test_two_populations_are_found_again_from_fine_classes(
    steps: int, size_error: float, fines_error: float
) -> None:
    # 15 % around 40 and 85 % around 400 micrometres; the truth by scipy
    fine, coarse = stats.lognorm(0.6, scale=40), stats.lognorm(0.4, scale=400)
    edges = np.geomspace(0.01, 10_000, steps + 1)
    content = np.diff(0.15 * fine.cdf(edges) + 0.85 * coarse.cdf(edges))
    summary = summarize(ClassTable(tuple(edges), tuple(content / content.sum())))
    sizes = summary.sizes
    for found, truth in (
        (sizes.d10_micrometres, 51.7960727),
        (sizes.d50_micrometres, 365.871374),
        (sizes.d90_micrometres, 643.034115),
    ):
        assert found == pytest.approx(truth, rel=size_error)
    true_fines = 0.15 * fine.cdf(100) + 0.85 * coarse.cdf(100)
    assert sizes.fines_fraction == pytest.approx(true_fines, abs=fines_error)
    true_mean = 0.15 * fine.mean() + 0.85 * coarse.mean()
    assert summary.volume_mean_micrometres == pytest.approx(true_mean, rel=0.002)
    assert len(summary.modes) == 2
    for mode, truth in zip(summary.modes, (40.0, 400.0), strict=True):
        assert mode.low_micrometres * 0.999 <= truth <= mode.high_micrometres * 1.001


# --- sieves ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("table", "percents", "slack"),
    [
        (sieves(SOIL_APERTURES, SOIL_MASSES), SOIL_PERCENT_FINER, 0.1),
        (sieves(REPORT_APERTURES, REPORT_MASSES), REPORT_PERCENT_PASSING, 0.15),
    ],
    ids=["textbook", "report"],
)
def test_sieve_masses_give_the_printed_percent_finer(
    table: SieveTable, percents: tuple[float, ...], slack: float
) -> None:
    curve = classed_sample(table).curve
    found = [100 * (undersize_fraction(curve, size) or 0) for size in table.aperture_micrometres]
    assert found == pytest.approx(percents, abs=slack)


@pytest.mark.parametrize(
    ("table", "printed"),
    [
        (
            sieves(SOIL_APERTURES, SOIL_MASSES),
            {0.1: (0.15, 0.02), 0.3: (0.17, 0.02), 0.6: (0.27, 0.11)},
        ),
        (
            sieves(REPORT_APERTURES, REPORT_MASSES),
            {0.1: (0.22, 0.13), 0.3: (0.95, 0.06), 0.6: (2.5, 0.03)},
        ),
    ],
    ids=["textbook", "report"],
)
def test_sieve_masses_give_the_sizes_that_were_read_off_the_printed_graph(
    table: SieveTable, printed: dict[float, tuple[float, float]]
) -> None:
    curve = classed_sample(table).curve
    for passing, (millimetres, relative_slack) in printed.items():
        found = percentile_micrometres(curve, passing)
        assert found == pytest.approx(1000 * millimetres, rel=relative_slack)


def sheet_table() -> SieveTable:
    retained = [b - a for a, b in pairwise((0.0, *SHEET_RETAINED_PERCENT))]
    return SieveTable(SHEET_APERTURES, (*retained, 100 - SHEET_RETAINED_PERCENT[-1]))


def test_a_rosin_rammler_line_has_the_coefficients_of_the_printed_regression() -> None:
    line, undersize = summarize(sheet_table()).rosin_rammler
    assert (line.method, line.point_count) == ("loglog_least_squares", 10)
    assert line.exponent == pytest.approx(0.864541, abs=2e-6)
    intercept = -line.exponent * math.log(line.scale_micrometres)
    assert intercept == pytest.approx(-3.632837, abs=2e-6)
    assert line.scale_micrometres == pytest.approx(66.82, rel=1e-4)
    assert line.r_squared == pytest.approx(0.9971, abs=6e-5)
    fitted = [
        100 * math.exp(-((size / line.scale_micrometres) ** line.exponent))
        for size in SHEET_APERTURES
    ]
    assert fitted == pytest.approx(SHEET_FITTED_PERCENT, abs=0.06)
    # least squares of R, as the open-source pygradations 0.1.1 fits it
    assert undersize.method == "undersize_least_squares"
    assert undersize.scale_micrometres == pytest.approx(66.296, abs=6e-4)
    assert undersize.exponent == pytest.approx(0.88221, abs=6e-6)


def test_the_sheets_table_is_open_below_so_it_has_no_surface_mean() -> None:
    summary = summarize(sheet_table())
    assert summary.surface_mean_micrometres is None
    assert ("surface_mean_micrometres", "pan_without_lower_size") in {
        (one.name, one.code) for one in summary.missing
    }
    assert summary.sizes.d10_micrometres is None


# --- a laser instrument ---------------------------------------------------------------------------


def test_laser_classes_give_what_the_instrument_derived_itself() -> None:
    table = ClassTable(BEAD_EDGES, tuple(value / 100 for value in BEAD_VOLUME_PERCENT))
    summary = summarize(table)
    assert summary.sizes.d10_micrometres == pytest.approx(53.5, rel=0.006)
    assert summary.sizes.d50_micrometres == pytest.approx(74.796, rel=0.002)
    assert summary.sizes.d90_micrometres == pytest.approx(104.309, rel=0.006)
    assert summary.sizes.span == pytest.approx(0.679, abs=0.005)
    assert summary.mean_method == "geometric_mid"
    assert summary.volume_mean_micrometres == pytest.approx(77.278, rel=0.001)
    assert summary.surface_mean_micrometres == pytest.approx(72.289, rel=0.001)
    assert len(summary.modes) == 1
    # its local maximum of q3* lies in the class of the largest volume percent, as classes are even
    top = BEAD_VOLUME_PERCENT.index(max(BEAD_VOLUME_PERCENT))
    assert summary.modes[0].low_micrometres == BEAD_EDGES[top]


def test_reading_the_upper_edges_as_lower_ones_would_shift_every_size_by_a_class() -> None:
    # why values beside n edges are refused: 20 classes to the decade are 10**(1/20) apart
    fractions = tuple(value / 100 for value in BEAD_VOLUME_PERCENT)
    right = measure_sample(ClassTable(BEAD_EDGES, fractions)).d50_micrometres
    shifted = (*BEAD_EDGES[1:], BEAD_EDGES[-1] * BEAD_EDGES[-1] / BEAD_EDGES[-2])
    wrong = measure_sample(ClassTable(shifted, fractions)).d50_micrometres
    assert right is not None
    assert wrong == pytest.approx(1.148 * right, rel=0.0005)


# --- lists of particles and modes -----------------------------------------------------------------


def test_three_spheres_have_the_primers_means() -> None:
    # an instrument maker's primer: diameters 1, 2, 3 -> D[3,2] 2.57, D[4,3] 2.72 (from memory;
    # exactly 36/14 and 98/36)
    summary = summarize(ParticleList((3.0, 1.0, 2.0)))
    assert summary.surface_mean_micrometres == pytest.approx(2.57, abs=0.006)
    assert summary.volume_mean_micrometres == pytest.approx(2.72, abs=0.006)


def test_a_mode_is_taken_from_the_density_on_the_logarithmic_axis() -> None:
    # Aerosol Technology, grouped 1000 counts (from memory; they sum to 1000, median 9.0). The
    # largest class is 10 to 14, the largest linear density 6 to 8, the largest log density 8 to 9.
    edges = (0, 4, 6, 8, 9, 10, 14, 16, 20, 35, 50)
    counts = (104, 160, 161, 75, 67, 186, 61, 79, 103, 4)
    summary = summarize(ClassTable(edges, tuple(count / 1000 for count in counts)))
    assert summary.sizes.d50_micrometres == pytest.approx(9.0, abs=0.01)
    highest = max(
        summary.modes,
        key=lambda mode: (
            mode.volume_fraction / math.log(mode.high_micrometres / mode.low_micrometres)
        ),
    )
    assert (highest.low_micrometres, highest.high_micrometres) == (8, 9)


@pytest.mark.parametrize(
    ("number", "code"),
    [(5_999, "too_few_particles"), (6_000, "few_particles"), (60_999, "few_particles"),
     (61_000, None)],
)  # fmt: skip
def test_too_few_particles_are_said_from_the_numbers_of_iso_13322_1(
    number: int, code: str | None
) -> None:
    # ISO 13322-1:2004, scope: 6 000 particles for a volume mean, 61 000 for percentiles
    # (log-normal by number, geometric standard deviation 1.6, 5 % at 95 %)
    sizes = stats.lognorm(math.log(1.6), scale=100).ppf((np.arange(number) + 0.5) / number)
    found = {finding.code for finding in measure_sample(ParticleList(tuple(sizes))).findings}
    assert found - {"largest_particle_weighs"} == ({code} if code else set())


def test_as_many_particles_as_iso_13322_1_asks_for_bring_the_median_within_a_few_percent() -> None:
    # mass median of the law by Hatch and Choate: count median * exp(3 s**2)
    s = math.log(1.6)
    truth = 100 * math.exp(3 * s * s)
    drawn = stats.lognorm(s, scale=100).rvs(61_000, random_state=20)
    sizes = measure_sample(ParticleList(tuple(drawn)))
    assert sizes.d50_micrometres == pytest.approx(truth, rel=0.03)


def test_a_sieve_table_and_its_running_sums_agree_with_plain_addition() -> None:
    table = sieves(SOIL_APERTURES, SOIL_MASSES)
    from_below = list(accumulate(reversed(SOIL_MASSES)))
    found = classed_sample(table).curve.undersize_fraction
    assert found == pytest.approx([mass / from_below[-1] for mass in from_below[:-1]], rel=1e-12)
