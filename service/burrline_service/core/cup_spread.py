"""How far shot times scatter, with limits that heavy tails widen, and two scatters compared."""

from __future__ import annotations

import math
from collections.abc import Sequence

from .calibration import scaled
from .calibration_answers import SpreadAnswer
from .cups import NORMAL_KURTOSIS_RATIO, Spread
from .grind_answers import UNKNOWN
from .quantiles import f_ratio
from .settling_measures import TWO_SIDED_PROBABILITY, Limits, significant

ENDLESS_COUNT = 1e8
"""Degrees of freedom at which F is chi-square divided by its own."""


def common_kurtosis_ratio(spreads: Sequence[Spread]) -> float:
    """Give the kurtosis of several spreads together, never below that of a normal scatter.

    ``max(3, sum N_i k_i / sum N_i)``

    Parameters
    ----------
    spreads : sequence of Spread
        At least one.

    Returns
    -------
    float
        Kurtosis.

    Raises
    ------
    ZeroDivisionError
        No spread.

    Valid
    -----
    Small samples show less of it than there is.

    Source
    ------
    Our choice: limits may be wider than the normal ones, never narrower.

    Examples
    --------
    >>> common_kurtosis_ratio([Spread(10, 1, 9, 27.0, 1.0, 1.8)])
    3.0
    """
    count = sum(spread.cup_count for spread in spreads)
    mean = math.fsum(spread.cup_count * spread.kurtosis_ratio for spread in spreads) / count
    return max(NORMAL_KURTOSIS_RATIO, mean)


def robust_freedom_count(freedom_count: int, kurtosis_ratio: float) -> float:
    """Give the degrees of freedom that a variance has where tails are heavy.

    ``nu' = 2 nu / (kurtosis - 1)``

    Parameters
    ----------
    freedom_count : int
        Degrees of freedom nu of a normal scatter.
    kurtosis_ratio : float
        Kurtosis, 3 for a normal scatter.

    Returns
    -------
    float
        Degrees of freedom, nu where the kurtosis is 3.

    Raises
    ------
    ZeroDivisionError
        A kurtosis of 1.

    Valid
    -----
    From a kurtosis of 3 on.

    Source
    ------
    Shoemaker 2003, The American Statistician 57, with Box 1953 (from memory): a variance's own
    variance is (kurtosis - 1) / 2 times the normal one.

    Examples
    --------
    >>> robust_freedom_count(20, 3.0), robust_freedom_count(20, 5.0)
    (20.0, 10.0)
    """
    return 2 * freedom_count / (kurtosis_ratio - 1)


def sd_limits(spread: Spread, kurtosis_ratio: float) -> Limits:
    """Bound a standard deviation.

    ``s sqrt(nu / chi2(1 - p; nu)) .. s sqrt(nu / chi2(p; nu))``

    Parameters
    ----------
    spread : Spread
        The scatter.
    kurtosis_ratio : float
        From ``common_kurtosis_ratio``.

    Returns
    -------
    Limits
        Seconds, two-sided 95 %.

    Raises
    ------
    ValueError
        No degrees of freedom.

    Valid
    -----
    Chi-square is taken as F with 1e8 degrees of freedom below; relative error under 1e-6.

    Source
    ------
    NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.8.

    Examples
    --------
    >>> found = sd_limits(Spread(11, 1, 10, 27.0, 1.0, 3.0), 3.0)
    >>> round(found.low, 4), round(found.high, 4)
    (0.6987, 1.7549)
    """
    freedom = robust_freedom_count(spread.freedom_count, kurtosis_ratio)
    ends = [
        1 / math.sqrt(f_ratio(p, freedom, ENDLESS_COUNT))
        for p in (TWO_SIDED_PROBABILITY, 1 - TWO_SIDED_PROBABILITY)
    ]
    return scaled(Limits(ends[0], 1.0, ends[1]), spread.sd_seconds)


def compare_spreads(before: Spread, after: Spread) -> tuple[Limits, Limits]:
    """Bound the ratio and the difference of two standard deviations, after against before.

    ``ratio: (s_2 / s_1) / sqrt(F(1 - p)) .. ;  difference: d -+ sqrt(of both own limits)``

    Parameters
    ----------
    before, after : Spread
        Both scatters.

    Returns
    -------
    tuple of Limits
        The ratio, and the difference in seconds; two-sided 95 %.

    Raises
    ------
    ValueError
        No degrees of freedom.

    Valid
    -----
    Heavy tails widen both. Where nothing scattered before there is no ratio.

    Source
    ------
    NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.9 (F), turned into limits; the
    difference recovers the variances from each own limits, Zou and Donner 2008 (from memory).

    Examples
    --------
    >>> one = Spread(11, 1, 10, 27.0, 2.0, 3.0)
    >>> ratio, difference = compare_spreads(one, Spread(11, 1, 10, 27.0, 1.0, 3.0))
    >>> round(ratio.low, 4), ratio.best, round(ratio.high, 4)
    (0.2593, 0.5, 0.9639)
    """
    kurtosis = common_kurtosis_ratio([before, after])
    own = sd_limits(before, kurtosis), sd_limits(after, kurtosis)
    difference = difference_limits(own[1], own[0])
    if before.sd_seconds == 0:
        return UNKNOWN, difference
    counts = [robust_freedom_count(one.freedom_count, kurtosis) for one in (after, before)]
    best = after.sd_seconds / before.sd_seconds
    low = best / math.sqrt(f_ratio(TWO_SIDED_PROBABILITY, *counts))
    high = best * math.sqrt(f_ratio(TWO_SIDED_PROBABILITY, *reversed(counts)))
    return Limits(significant(low), significant(best), significant(high)), difference


def difference_limits(one: Limits, other: Limits) -> Limits:
    """Bound the difference of two independent numbers that have limits of their own.

    ``d - sqrt((b_1 - l_1)^2 + (u_2 - b_2)^2) .. d + sqrt((u_1 - b_1)^2 + (b_2 - l_2)^2)``

    Parameters
    ----------
    one, other : Limits
        Both at one level of confidence.

    Returns
    -------
    Limits
        Of one less the other, each end None where an end it needs is.

    Raises
    ------
    TypeError
        A limit is no number.

    Valid
    -----
    The two must not share what made them.

    Source
    ------
    Zou and Donner 2008, Statistics in Medicine 27 (from memory): the variances recovered from the
    limits.

    Examples
    --------
    >>> difference_limits(Limits(1.0, 4.0, 8.0), Limits(-3.0, 0.0, 4.0))
    Limits(low=-1.0, best=4.0, high=9.0)
    """
    if one.best is None or other.best is None:
        return UNKNOWN
    best = one.best - other.best
    low = high = None
    if one.low is not None and other.high is not None:
        low = best - math.hypot(one.best - one.low, other.high - other.best)
    if one.high is not None and other.low is not None:
        high = best + math.hypot(one.high - one.best, other.best - other.low)
    return Limits(significant(low), significant(best), significant(high))


def spread_answer(spread: Spread | None, kurtosis_ratio: float) -> SpreadAnswer | None:
    """Write a spread down with its limits.

    ``sd_limits``

    Parameters
    ----------
    spread : Spread or None
        The scatter.
    kurtosis_ratio : float
        From ``common_kurtosis_ratio``.

    Returns
    -------
    SpreadAnswer or None
        None without a spread.

    Raises
    ------
    ValueError
        No degrees of freedom.

    Valid
    -----
    As ``sd_limits``.

    Source
    ------
    ``sd_limits``

    Examples
    --------
    >>> spread_answer(None, 3.0) is None
    True
    """
    if spread is None:
        return None
    return SpreadAnswer(
        cup_count=spread.cup_count,
        group_count=spread.group_count,
        freedom_count=spread.freedom_count,
        mean_seconds=significant(spread.mean_seconds),
        sd_seconds=sd_limits(spread, kurtosis_ratio),
    )
