"""Whether groups of replicates differ, in level or in scatter: the classical tests.

They describe the measurements. No verdict on a break-in rests on them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from .quantiles import f_probability
from .replicates import pool


@dataclass(frozen=True)
class Anova:
    """A one-way analysis of variance."""

    between_squares: float
    between_count: int
    within_squares: float
    within_count: int
    f_ratio: float
    probability: float


def analyse_variance(groups: Sequence[tuple[float, ...]]) -> Anova:
    """Split the scatter of grouped values into that between and that within the groups.

    ``F = (SSB / (k - 1)) / (SSW / (N - k))``

    Parameters
    ----------
    groups : sequence of tuples of float
        At least two groups, one of them with two values.

    Returns
    -------
    Anova
        Sums of squares, degrees of freedom, F and the probability of a larger F by chance.

    Raises
    ------
    ValueError
        Fewer than two groups, no freedom within them, or a value that is not finite.

    Valid
    -----
    A large probability never shows that groups are equal. F is infinite when groups differ and
    nothing scatters within them, and 0 when nothing differs at all.

    Source
    ------
    NIST/SEMATECH e-Handbook of Statistical Methods, 7.4.3.

    Examples
    --------
    >>> analyse_variance([(1.0, 2.0), (3.0, 4.0)]).f_ratio
    8.0
    """
    pooled = pool(groups)
    between_count = len(groups) - 1
    if between_count < 1 or pooled.freedom_count < 1:
        raise ValueError("an analysis of variance needs two groups and a replicate in one of them")
    # a common origin keeps the digits of values that share most of theirs
    origin = groups[0][0]
    shifted = pool([tuple(value - origin for value in group) for group in groups])
    total = sum(shifted.counts)
    pairs = list(zip(shifted.means, shifted.counts, strict=True))
    grand = math.fsum(mean * count for mean, count in pairs) / total
    between = math.fsum(count * (mean - grand) ** 2 for mean, count in pairs)
    within = shifted.within_squares
    if within > 0:
        ratio = (between / between_count) / (within / shifted.freedom_count)
    else:
        ratio = math.inf if between > 0 else 0.0
    return Anova(
        between_squares=between,
        between_count=between_count,
        within_squares=within,
        within_count=shifted.freedom_count,
        f_ratio=ratio,
        probability=1.0 - f_probability(ratio, between_count, shifted.freedom_count),
    )


def compare_scatter(groups: Sequence[tuple[float, ...]]) -> Anova:
    """Test whether groups scatter alike, by the distances of their values from the median.

    ``z_ij = |y_ij - median_j|``, then the analysis of variance of z

    Parameters
    ----------
    groups : sequence of tuples of float
        At least two groups, one of them with two values.

    Returns
    -------
    Anova
        Its F is Levene's W in the form of Brown and Forsythe.

    Raises
    ------
    ValueError
        Fewer than two groups, no freedom within them, or a value that is not finite.

    Valid
    -----
    With three replicates a group it shows gross differences only.

    Source
    ------
    NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.10 (median form).

    Examples
    --------
    >>> compare_scatter([(1.0, 2.0, 3.0), (1.0, 2.0, 3.0)]).f_ratio
    0.0
    """
    distances = []
    for group in groups:
        if not group or not all(map(math.isfinite, group)):
            raise ValueError(f"a group must hold finite values, at least one: {group}")
        middle = median(group)
        distances.append(tuple(abs(value - middle) for value in group))
    return analyse_variance(distances)
