"""What replicate doses tell: pooled scatter, differences with their interval, session scatter.

Replicates of one sitting share its beans, its weather and its sampling, so their scatter never
tells how far a whole sitting may be off. That second scatter is kept apart throughout.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from .quantiles import student_t_ratio

FEWEST_SESSIONS_COUNT = 4
"""Sittings from which on their own scatter is estimated instead of taken as configured."""


@dataclass(frozen=True)
class Pooled:
    """Groups of replicates, summed up: means, counts, squares within groups, freedom."""

    means: tuple[float, ...]
    counts: tuple[int, ...]
    within_squares: float
    freedom_count: int


@dataclass(frozen=True)
class Difference:
    """A change between two groups; the limits are None while nothing tells the scatter."""

    change_response: float
    low_response: float | None
    high_response: float | None
    standard_error_response: float | None
    freedom_count: int
    verdict: Literal["rose", "fell", "no_change_shown", "scatter_unknown"]


@dataclass(frozen=True)
class SessionSpread:
    """How far whole sittings scatter, and what told it."""

    sd_response: float
    basis: Literal["control", "settled_checkpoints", "default"]


def pool(groups: Sequence[tuple[float, ...]]) -> Pooled:
    """Pool the scatter of replicates over groups with means of their own.

    ``SSW = sum_j sum_i (y_ij - mean_j)^2,  nu = sum_j (n_j - 1)``

    Parameters
    ----------
    groups : sequence of tuples of float
        The replicates of each group, all in one unit.

    Returns
    -------
    Pooled
        Means and counts in the order of the groups; nu = 0 when no group has two replicates.

    Raises
    ------
    ValueError
        A group is empty or holds a value that is not finite.

    Valid
    -----
    Sums are exactly rounded, so the order within a group changes no digit.

    Source
    ------
    NIST/SEMATECH e-Handbook of Statistical Methods, 7.4.3.

    Examples
    --------
    >>> pool([(1.0, 3.0), (10.0,)])
    Pooled(means=(2.0, 10.0), counts=(2, 1), within_squares=2.0, freedom_count=1)
    """
    means, squares = [], []
    for group in groups:
        if not group or not all(map(math.isfinite, group)):
            raise ValueError(f"a group must hold finite values, at least one: {group}")
        mean = math.fsum(group) / len(group)
        rests = [value - mean for value in group]
        off = math.fsum(rests)
        means.append(mean)
        squares.append(math.fsum(rest * rest for rest in rests) - off * off / len(group))
    return Pooled(
        means=tuple(means),
        counts=tuple(map(len, groups)),
        within_squares=max(0.0, math.fsum(squares)),
        freedom_count=sum(len(group) - 1 for group in groups),
    )


def compare_means(
    before: tuple[float, ...],
    after: tuple[float, ...],
    *,
    pooled: Pooled | None = None,
    session_sd_response: float = 0.0,
    confidence_probability: float = 0.95,
) -> Difference:
    """Give the change from one group of replicates to another, with its interval.

    ``d = mean_2 - mean_1,  se^2 = 2 s_b^2 + s_w^2 (1 / n_1 + 1 / n_2),  d +- t_nu se``

    Parameters
    ----------
    before, after : tuple of float
        The replicates, in one unit.
    pooled : Pooled or None
        Where s_w and nu come from, say all checkpoints of a set; None = these two groups.
    session_sd_response : float
        Scatter s_b of whole sittings, in the unit of the replicates, >= 0.
    confidence_probability : float
        Of the two-sided interval.

    Returns
    -------
    Difference
        ``rose`` or ``fell`` when the interval leaves zero out. ``no_change_shown`` says that
        the interval holds zero: nothing about the change still to come.

    Raises
    ------
    ValueError
        A group is empty, a value is not finite, or the session scatter is negative.

    Valid
    -----
    Equal scatter in both groups, normal errors.

    Source
    ------
    NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.3 (s_b = 0); the term of the sittings
    is derived here.

    Examples
    --------
    >>> change = compare_means((300.0, 302.0, 301.0), (320.0, 321.0, 322.0))
    >>> change.change_response, change.verdict
    (20.0, 'rose')
    """
    if not (math.isfinite(session_sd_response) and session_sd_response >= 0):
        raise ValueError(f"session_sd_response must not be negative, not {session_sd_response}")
    two = pool([before, after])
    source = two if pooled is None else pooled
    change = two.means[1] - two.means[0]
    if source.freedom_count < 1:
        return Difference(change, None, None, None, 0, "scatter_unknown")
    variance = source.within_squares / source.freedom_count
    error = math.sqrt(
        2 * session_sd_response**2 + variance * (1 / two.counts[0] + 1 / two.counts[1])
    )
    half = student_t_ratio((1 + confidence_probability) / 2, source.freedom_count) * error
    low, high = change - half, change + half
    verdict: Literal["rose", "fell", "no_change_shown"] = "no_change_shown"
    if low > 0:
        verdict = "rose"
    elif high < 0:
        verdict = "fell"
    return Difference(change, low, high, error, source.freedom_count, verdict)


def session_spread(
    *,
    control: Sequence[tuple[float, ...]] = (),
    settled: Sequence[tuple[float, ...]] = (),
    default_response: float,
) -> SessionSpread:
    """Estimate how far whole sittings scatter, from the best thing at hand.

    ``control: s_b^2 = var(means) - s_w^2 / n;  settled: sum_j (mean_j - mean)^2 / (s_b^2 +
    s_w^2 / n_j) = J - 1``

    Parameters
    ----------
    control : sequence of tuples of float
        Doses of a retained lot, or of a settled grinder, by sitting.
    settled : sequence of tuples of float
        Replicates of checkpoints taken after the set was called settled.
    default_response : float
        What holds without four sittings of either, >= 0.

    Returns
    -------
    SessionSpread
        The scatter in the unit of the replicates and its basis; 0 when the replicates alone
        explain all of it.

    Raises
    ------
    ValueError
        The default is negative or not finite, or a replicate is not finite.

    Valid
    -----
    From four sittings with at least one replicate pair; few of them tell little.

    Source
    ------
    Paule and Mandel 1982 (from memory); the order of what is used is our choice.

    Examples
    --------
    >>> session_spread(default_response=3.0)
    SessionSpread(sd_response=3.0, basis='default')
    """
    if not (math.isfinite(default_response) and default_response >= 0):
        raise ValueError(f"default_response must not be negative, not {default_response}")
    basis: Literal["control", "settled_checkpoints"]
    for basis, groups in (("control", control), ("settled_checkpoints", settled)):
        pooled = pool(groups)
        if len(groups) < FEWEST_SESSIONS_COUNT or pooled.freedom_count < 1:
            continue
        return SessionSpread(_paule_mandel(pooled), basis)
    return SessionSpread(default_response, "default")


def _paule_mandel(pooled: Pooled) -> float:
    """The scatter between groups at which the weighted squares equal their expectation; for
    groups of one size it is the variance of the means less s_w^2 / n."""
    within = pooled.within_squares / pooled.freedom_count
    wanted = len(pooled.means) - 1

    def _excess(between: float) -> float:
        weights = [1 / max(between + within / count, 1e-300) for count in pooled.counts]
        pairs = list(zip(weights, pooled.means, strict=True))
        centre = math.fsum(w * mean for w, mean in pairs) / math.fsum(weights)
        return math.fsum(w * (mean - centre) ** 2 for w, mean in pairs) - wanted

    low, high = 0.0, (max(pooled.means) - min(pooled.means)) ** 2
    if high == 0.0 or _excess(0.0) <= 0:
        return 0.0
    for _ in range(200):
        middle = (low + high) / 2
        if not low < middle < high:
            break
        if _excess(middle) > 0:
            low = middle
        else:
            high = middle
    return math.sqrt((low + high) / 2)
