"""Replicate statistics against published worked examples.

Sources stand beside the numbers: NIST/SEMATECH e-Handbook of Statistical Methods, NIST Statistical
Reference Datasets (StRD), the manual of NIST Dataplot, and the manual of a statistics package.
"""

from __future__ import annotations

import math

import pytest

from burrline_service.core.quantiles import f_ratio, student_t_ratio
from burrline_service.core.replicates import compare_means, pool
from burrline_service.core.variances import analyse_variance, compare_scatter

# NIST StRD, analysis of variance, SiRstv (lower difficulty)
SIRSTV = (
    (196.3052, 196.124, 196.189, 196.2569, 196.3403),
    (196.3042, 196.3825, 196.1669, 196.3257, 196.0422),
    (196.1303, 196.2005, 196.2889, 196.0343, 196.1811),
    (196.2795, 196.1748, 196.1494, 196.1485, 195.9885),
    (196.2119, 196.1051, 196.185, 196.0052, 196.209),
)  # fmt: skip

# NIST/SEMATECH e-Handbook 7.4.3
HANDBOOK_743 = (
    (6.9, 5.4, 5.8, 4.6, 4.0),
    (8.3, 6.8, 7.8, 9.2, 6.5),
    (8.0, 10.5, 8.1, 6.9, 9.3),
)  # fmt: skip

# GEAR.DAT, NIST/SEMATECH e-Handbook 1.3.5.10
GEAR = (
    (1.006, 0.996, 0.998, 1.0, 0.992, 0.993, 1.002, 0.999, 0.994, 1.0),
    (0.998, 1.006, 1.0, 1.002, 0.997, 0.998, 0.996, 1.0, 1.006, 0.988),
    (0.991, 0.987, 0.997, 0.999, 0.995, 0.994, 1.0, 0.999, 0.996, 0.996),
    (1.005, 1.002, 0.994, 1.0, 0.995, 0.994, 0.998, 0.996, 1.002, 0.996),
    (0.998, 0.998, 0.982, 0.99, 1.002, 0.984, 0.996, 0.993, 0.98, 0.996),
    (1.009, 1.013, 1.009, 0.997, 0.988, 1.002, 0.995, 0.998, 0.981, 0.996),
    (0.99, 1.004, 0.996, 1.001, 0.998, 1.0, 1.018, 1.01, 0.996, 1.002),
    (0.998, 1.0, 1.006, 1.0, 1.002, 0.996, 0.998, 0.996, 1.002, 1.006),
    (1.002, 0.998, 0.996, 0.995, 0.996, 1.004, 1.004, 0.998, 0.999, 0.991),
    (0.991, 0.995, 0.984, 0.994, 0.997, 0.997, 0.991, 0.998, 1.004, 0.997),
)  # fmt: skip

# VANGEL32.DAT, NIST Dataplot reference manual, Levene test
VANGEL32 = (
    (1349.8, 1196.7, 1457.1, 1368.6, 1310.3, 1069.6, 1074.7, 1084.2, 1009.7, 1079.7, 1145.7,
     1250.1, 1340.7, 1346.9, 1074.7),
    (863.6, 991.5, 991.5, 1254.9, 921.9, 968.9, 966.5, 975.7, 934.9, 944.7, 1046.8, 1145.7,
     1032.8, 1024.8, 1000.4),
    (846.0, 949.8, 845.5, 912.0, 903.6, 855.3, 856.0, 842.2, 806.5, 814.3, 872.9, 816.4,
     824.3, 898.5, 832.8),
)  # fmt: skip

# AUTO83B.DAT, NIST/SEMATECH e-Handbook 1.3.5.3: miles per gallon of two groups of cars
CARS_A = (
    18, 15, 18, 16, 17, 15, 14, 14, 14, 15, 15, 14, 15, 14, 22, 18, 21, 21, 10, 10, 11, 9, 28,
    25, 19, 16, 17, 19, 18, 14, 14, 14, 14, 12, 13, 13, 18, 22, 19, 18, 23, 26, 25, 20, 21,
    13, 14, 15, 14, 17, 11, 13, 12, 13, 15, 13, 13, 14, 22, 28, 13, 14, 13, 14, 15, 12, 13,
    13, 14, 13, 12, 13, 18, 16, 18, 18, 23, 11, 12, 13, 12, 18, 21, 19, 21, 15, 16, 15, 11,
    20, 21, 19, 15, 26, 25, 16, 16, 18, 16, 13, 14, 14, 14, 28, 19, 18, 15, 15, 16, 15, 16,
    14, 17, 16, 15, 18, 21, 20, 13, 23, 20, 23, 18, 19, 25, 26, 18, 16, 16, 15, 22, 22, 24,
    23, 29, 25, 20, 18, 19, 18, 27, 13, 17, 13, 13, 13, 30, 26, 18, 17, 16, 15, 18, 21, 19,
    19, 16, 16, 16, 16, 25, 26, 31, 34, 36, 20, 19, 20, 19, 21, 20, 25, 21, 19, 21, 21, 19,
    18, 19, 18, 18, 18, 30, 31, 23, 24, 22, 20, 22, 20, 21, 17, 18, 17, 18, 17, 16, 19, 19,
    36, 27, 23, 24, 34, 35, 28, 29, 27, 34, 32, 28, 26, 24, 19, 28, 24, 27, 27, 26, 24, 30,
    39, 35, 34, 30, 22, 27, 20, 18, 28, 27, 34, 31, 29, 27, 24, 23, 38, 36, 25, 38, 26, 22,
    36, 27, 27, 32, 28, 31,
)  # fmt: skip
CARS_B = (
    24, 27, 27, 25, 31, 35, 24, 19, 28, 23, 27, 20, 22, 18, 20, 31, 32, 31, 32, 24, 26, 29,
    24, 24, 33, 33, 32, 28, 19, 32, 34, 26, 30, 22, 22, 33, 39, 36, 28, 27, 21, 24, 30, 34,
    32, 38, 37, 30, 31, 37, 32, 47, 41, 45, 34, 33, 24, 32, 39, 35, 32, 37, 38, 34, 34, 32,
    33, 32, 25, 24, 37, 31, 36, 36, 34, 38, 32, 38, 32,
)  # fmt: skip

# NCSS manual, chapter 198, corn yield
CORN_A = (
    452, 874, 554, 447, 356, 754, 558, 574, 664, 682, 547, 435, 245.0,
)  # fmt: skip
CORN_B = (
    546, 547, 774, 465, 459, 665, 467, 365, 589, 534, 456, 651, 654, 665, 546, 537.0,
)  # fmt: skip

# NIST StRD, univariate summary statistics
MICHELSO = (
    299.85, 299.74, 299.9, 300.07, 299.93, 299.85, 299.95, 299.98, 299.98, 299.88, 300.0,
    299.98, 299.93, 299.65, 299.76, 299.81, 300.0, 300.0, 299.96, 299.96, 299.96, 299.94,
    299.96, 299.94, 299.88, 299.8, 299.85, 299.88, 299.9, 299.84, 299.83, 299.79, 299.81,
    299.88, 299.88, 299.83, 299.8, 299.79, 299.76, 299.8, 299.88, 299.88, 299.88, 299.86,
    299.72, 299.72, 299.62, 299.86, 299.97, 299.95, 299.88, 299.91, 299.85, 299.87, 299.84,
    299.84, 299.85, 299.84, 299.84, 299.84, 299.89, 299.81, 299.81, 299.82, 299.8, 299.77,
    299.76, 299.74, 299.75, 299.76, 299.91, 299.92, 299.89, 299.86, 299.88, 299.72, 299.84,
    299.85, 299.85, 299.78, 299.89, 299.84, 299.78, 299.81, 299.76, 299.81, 299.79, 299.81,
    299.82, 299.85, 299.87, 299.87, 299.81, 299.74, 299.81, 299.94, 299.95, 299.8, 299.81,
    299.87,
)  # fmt: skip
MAVRO = (
    2.0018, 2.0017, 2.0018, 2.0019, 2.0018, 2.0017, 2.0015, 2.0014, 2.0015, 2.0015, 2.0017,
    2.0018, 2.0018, 2.0019, 2.0019, 2.0021, 2.002, 2.0016, 2.0014, 2.0013, 2.0013, 2.0015,
    2.0015, 2.0016, 2.0015, 2.0014, 2.0013, 2.0014, 2.0015, 2.0014, 2.0015, 2.0016, 2.0015,
    2.0016, 2.0019, 2.002, 2.002, 2.0021, 2.0022, 2.0023, 2.0024, 2.0025, 2.0027, 2.0026,
    2.0026, 2.0026, 2.0027, 2.0026, 2.0025, 2.0024,
)  # fmt: skip

# the tables of Student's t in any textbook, to more digits: scipy's, held here to 1e-9
T_TABLE = {
    1: {0.9: 3.0776835372, 0.95: 6.3137515147, 0.975: 12.7062047362,
        0.99: 31.8205159538, 0.995: 63.6567411629},
    2: {0.9: 1.8856180832, 0.95: 2.9199855804, 0.975: 4.3026527297,
        0.99: 6.9645567343, 0.995: 9.9248432009},
    3: {0.9: 1.6377443537, 0.95: 2.3533634348, 0.975: 3.1824463053,
        0.99: 4.5407028586, 0.995: 5.8409093097},
    4: {0.9: 1.5332062741, 0.95: 2.1318467863, 0.975: 2.7764451052,
        0.99: 3.746947388, 0.995: 4.6040948713},
    5: {0.9: 1.4758840488, 0.95: 2.0150483733, 0.975: 2.5705818356,
        0.99: 3.3649299989, 0.995: 4.0321429836},
    10: {0.9: 1.3721836411, 0.95: 1.8124611228, 0.975: 2.228138852,
        0.99: 2.7637694581, 0.995: 3.1692726726},
    12: {0.9: 1.356217334, 0.95: 1.7822875556, 0.975: 2.1788128297,
        0.99: 2.6809979931, 0.995: 3.0545395894},
}  # fmt: skip


def small_offsets(base: float) -> tuple[tuple[float, ...], ...]:
    """NIST StRD SmLs01, 04 and 07: nine groups of 21 values about a base."""
    firsts = (1.4, 1.3, 1.5, 1.3, 1.5, 1.3, 1.5, 1.3, 1.5)
    return tuple(
        (base + first, *((base + first - 0.1, base + first + 0.1) * 10)) for first in firsts
    )


def test_variance_is_analysed_as_certified() -> None:
    found = analyse_variance(SIRSTV)
    assert found.between_squares == pytest.approx(5.11462616e-2, rel=1e-9)
    assert found.within_squares == pytest.approx(2.16636560e-1, rel=1e-9)
    assert found.f_ratio == pytest.approx(1.18046237440255, rel=1e-10)


# float64 cannot hold the values of SmLs07: four digits are the most that any code can give
@pytest.mark.parametrize(("base", "tolerance"), [(0.0, 1e-12), (1e6, 1e-9), (1e12, 1e-3)])
def test_variance_about_a_large_base_keeps_the_digits_there_are(
    base: float, tolerance: float
) -> None:
    found = analyse_variance(small_offsets(base))
    assert found.f_ratio == pytest.approx(21.0, rel=tolerance)
    assert (found.between_count, found.within_count) == (8, 180)


def test_the_handbooks_analysis_of_variance() -> None:
    found = analyse_variance(HANDBOOK_743)
    assert found.between_squares == pytest.approx(27.897, abs=6e-4)
    assert found.within_squares == pytest.approx(17.452, abs=6e-4)
    assert found.f_ratio == pytest.approx(9.59, abs=6e-3)
    assert (found.between_count, found.within_count) == (2, 12)
    assert f_ratio(0.95, 2, 12) == pytest.approx(3.89, abs=5e-3)  # printed beside it
    assert found.probability < 0.05


def test_levenes_test_on_gears() -> None:
    found = compare_scatter(GEAR)
    assert found.f_ratio == pytest.approx(1.705910, abs=1e-5)  # printed in single precision
    assert found.probability == pytest.approx(0.0991, abs=5e-5)
    assert f_ratio(0.95, 9, 90) == pytest.approx(1.9855, abs=1e-4)  # printed cut off


def test_levenes_test_on_specimens() -> None:
    assert compare_scatter(VANGEL32).f_ratio == pytest.approx(10.88619, abs=1e-5)
    assert f_ratio(0.95, 2, 42) == pytest.approx(3.219942, abs=1e-6)
    assert f_ratio(0.99, 2, 42) == pytest.approx(5.149141, rel=1e-6)  # single precision


def test_the_handbooks_two_sample_t() -> None:
    cars = tuple(map(float, CARS_A)), tuple(map(float, CARS_B))
    found = compare_means(*cars)
    assert found.standard_error_response is not None
    # the handbook subtracts the other way round
    ratio = found.change_response / found.standard_error_response
    assert ratio == pytest.approx(12.62059, abs=6e-6)
    assert found.freedom_count == 326
    assert found.verdict == "rose"
    pooled = pool(cars)
    assert math.sqrt(pooled.within_squares / 326) == pytest.approx(6.34260, abs=6e-6)
    assert student_t_ratio(0.975, 326) == pytest.approx(1.9673, abs=5e-5)


def test_a_difference_of_yields_and_its_interval() -> None:
    found = compare_means(CORN_B, CORN_A)
    assert found.change_response == pytest.approx(-8.1153846, abs=5e-8)
    assert found.standard_error_response == pytest.approx(51.114285, abs=5e-7)
    assert found.freedom_count == 27
    assert found.low_response == pytest.approx(-112.99323, abs=1e-5)
    assert found.high_response == pytest.approx(96.76246, abs=1e-5)
    assert found.verdict == "no_change_shown"


@pytest.mark.parametrize(
    ("values", "mean", "sd", "tolerance"),
    [
        (MICHELSO, 299.8524, 0.0790105478190518, 1e-11),
        (MAVRO, 2.001856, 0.000429123454003053, 1e-11),
        ((10000001.0, 10000003.0, 10000002.0), 10000002.0, 1.0, 1e-14),  # NumAcc1
        ((1.2, *((1.1, 1.3) * 500)), 1.2, 0.1, 1e-13),  # NumAcc2
    ],
    ids=["Michelso", "Mavro", "NumAcc1", "NumAcc2"],
)
def test_mean_and_scatter_as_certified(
    values: tuple[float, ...], mean: float, sd: float, tolerance: float
) -> None:
    pooled = pool([values])
    assert pooled.means[0] == pytest.approx(mean, rel=1e-13)
    found = math.sqrt(pooled.within_squares / pooled.freedom_count)
    assert found == pytest.approx(sd, rel=tolerance)


@pytest.mark.parametrize("freedom", T_TABLE)
def test_quantiles_of_t_are_those_of_the_tables(freedom: int) -> None:
    for probability, printed in T_TABLE[freedom].items():
        assert student_t_ratio(probability, freedom) == pytest.approx(printed, rel=1e-9)
        assert student_t_ratio(1 - probability, freedom) == pytest.approx(-printed, rel=1e-9)
