"""Limits of a setting that gives a wanted response, held to published worked examples.

Graybill and Iyer, Regression Analysis: Concepts and Applications, 1994, chapter 6, as repeated with
their data in the public tests of the R package investr (inst/tinytest/test_calibrate.R, read).
"""

from __future__ import annotations

import numpy as np
import pytest

from burrline_service.core.fieller import Line, crossing_limits
from burrline_service.core.quantiles import student_t_ratio

THERMOSTAT = (
    np.arange(96.0, 111.0, 2.0),
    np.array([95.71, 98.16, 99.52, 102.09, 103.79, 106.18, 108.14, 110.21]),
)
CHAMBER = (
    np.arange(0.0, 101.0, 10.0),
    np.array([206.36, 225.52, 252.18, 289.33, 318.11, 349.49, 383.03, 410.70, 444.40, 469.14,
              501.16]),
)  # fmt: skip


@pytest.mark.parametrize(
    ("data", "wanted", "level", "is_new", "published", "digits"),
    [
        pytest.param(THERMOSTAT, 104.0, 0.95, True, (103.4, 103.995, 104.6), (1, 3, 1), id="p431"),
        pytest.param(THERMOSTAT, 100.0, 0.90, True, (99.63, 100.1, 100.59), (2, 1, 2), id="p431b"),
        pytest.param(CHAMBER, 400.0, 0.99, False, (65.07, 66.5, 68.03), (2, 1, 2), id="p433"),
    ],
)
def test_the_crossing_of_a_line_has_the_published_limits(
    data: tuple[np.ndarray, np.ndarray],
    wanted: float,
    level: float,
    is_new: bool,
    published: tuple[float, float, float],
    digits: tuple[int, int, int],
) -> None:
    """``is_new``: the wanted response is one more observation, with a scatter of its own."""
    x, y = data
    count, centre = len(x), x.mean()
    squares = float(((x - centre) ** 2).sum())
    slope = float(((x - centre) * y).sum()) / squares
    level_y = float(y.mean())
    rest = y - level_y - slope * (x - centre)
    variance = float((rest**2).sum()) / (count - 2)
    one = np.ones(1)
    line = Line(
        start_response=(level_y - wanted) * one,
        slope_response=slope * one,
        start_squares=variance * (1 / count + is_new) * one,
        cross_squares=0 * one,
        slope_squares=variance / squares * one,
    )
    t = student_t_ratio((1 + level) / 2, count - 2)
    low, high = crossing_limits(line, t**2 * one)
    found = (float(low[0]) + centre, centre + (wanted - level_y) / slope, float(high[0]) + centre)
    for number, told, digit in zip(found, published, digits, strict=True):
        assert round(float(number), digit) == told
