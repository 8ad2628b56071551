"""Where a straight line crosses a level, with limits that know the slope may be nothing.

The set of all crossings that are not rejected is bounded only when the slope is told from 0;
else there is no lower or upper limit, and none is made up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .settling_profile import Floats


@dataclass(frozen=True, eq=False)
class Line:
    """``value(x) = start + slope x`` with its covariance, once or for each tau of a grid."""

    start_response: Floats
    slope_response: Floats
    start_squares: Floats
    cross_squares: Floats
    slope_squares: Floats


def crossing_limits(line: Line, room_ratio: Floats) -> tuple[Floats, Floats]:
    """Bound where each line crosses zero.

    ``(start + slope x)^2 <= room (V_00 + 2 x V_01 + x^2 V_11)``, solved for x

    Parameters
    ----------
    line : Line
        Arrays of shape (K,).
    room_ratio : array of shape (K,)
        What the squared distance in standard errors may be: t^2, or what a profile leaves of it;
        below 0 the line itself is not believed.

    Returns
    -------
    tuple of array
        Low and high ends, infinite both where the slope may be 0; not a number where a line is not
        believed.

    Raises
    ------
    ValueError
        Shapes that do not fit each other.

    Valid
    -----
    Where the slope may be 0 the set is all but an interval, or all; both count as unbounded.

    Source
    ------
    Fieller 1954, Journal of the Royal Statistical Society B 16 (from memory); the examples of
    Graybill and Iyer 1994, chapter 6, hold it in the tests.

    Examples
    --------
    >>> one = np.ones(1)
    >>> line = Line(-4 * one, 2 * one, 0 * one, 0 * one, 0.04 * one)
    >>> low, high = crossing_limits(line, 4 * one)
    >>> round(float(low[0]), 4), round(float(high[0]), 4)
    (1.6667, 2.5)
    """
    room = np.maximum(room_ratio, 0.0)
    square = line.slope_response**2 - room * line.slope_squares
    half = line.start_response * line.slope_response - room * line.cross_squares
    free = line.start_response**2 - room * line.start_squares
    with np.errstate(invalid="ignore", divide="ignore"):
        # at the best crossing the inequality holds, so rounding alone can make this negative
        root = np.sqrt(np.maximum(half**2 - square * free, 0.0))
        low, high = (-half - root) / square, (-half + root) / square
    is_bounded = square > 0
    low = np.where(is_bounded, low, -np.inf)
    high = np.where(is_bounded, high, np.inf)
    is_believed = room_ratio >= 0
    return np.where(is_believed, low, np.nan), np.where(is_believed, high, np.nan)


def ratio_limits(
    numerator_response: float,
    denominator_response: float,
    *,
    numerator_squares: float,
    denominator_squares: float,
    cross_squares: float = 0.0,
    t_ratio: float,
) -> tuple[float, float]:
    """Bound the ratio of two estimates.

    ``(a - r b)^2 <= t^2 (V_aa - 2 r V_ab + r^2 V_bb)``, solved for r

    Parameters
    ----------
    numerator_response, denominator_response : float
        The estimates a and b.
    numerator_squares, denominator_squares, cross_squares : float
        Their variances and covariance.
    t_ratio : float
        Quantile of Student's t.

    Returns
    -------
    tuple of float
        Low and high limit, infinite both when b may be 0.

    Raises
    ------
    ValueError
        A number is not finite, or a variance or t is negative.

    Valid
    -----
    Normal estimates with a common degree of freedom.

    Source
    ------
    ``crossing_limits``

    Examples
    --------
    >>> low, high = ratio_limits(
    ...     4.0, 2.0, numerator_squares=0.0, denominator_squares=0.04, t_ratio=2.0
    ... )
    >>> round(low, 4), round(high, 4)
    (1.6667, 2.5)
    """
    given = (numerator_response, denominator_response, numerator_squares, denominator_squares)
    if not all(map(math.isfinite, (*given, cross_squares, t_ratio))):
        raise ValueError("all numbers must be finite")
    if min(numerator_squares, denominator_squares, t_ratio) < 0:
        raise ValueError("variances and t must not be negative")
    numbers = (numerator_response, -denominator_response)
    squares = (numerator_squares, -cross_squares, denominator_squares)
    line = Line(*(np.array([number]) for number in (*numbers, *squares)))
    low, high = crossing_limits(line, np.array([t_ratio**2]))
    return float(low[0]), float(high[0])
