"""What one response of the joined checkpoints says: means, scatter, weights and level steps."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal

import numpy as np

from .joining import Row
from .replicates import SessionSpread, pool
from .settling_profile import Floats

FEWEST_CHECKPOINTS_COUNT = 4
FEWEST_FREEDOM_COUNT = 4


@dataclass(frozen=True)
class Rule:
    """What counts as settled, and how far whole sittings scatter by default.

    The smallest changes that matter: 3 % of the current D50, since one measurement within the
    repeatability of ISO 13320-1:1999, 6.4 (CV below 3 % at x50) cannot show less, and 0.01 of fines
    (our choice: about two standard deviations of a replicate). Where a number is given in
    micrometres it holds instead of the share. Defaults of the sittings: our choice, no source.
    """

    d50_change_fraction: float = 0.03
    d50_change_micrometres: float | None = None
    fines_change_fraction: float = 0.01
    d50_session_fraction: float = 0.01
    d50_session_micrometres: float | None = None
    fines_session_fraction: float = 0.003
    session_basis: Literal["control", "settled_checkpoints", "default"] = "default"


@dataclass(frozen=True, eq=False)
class Series:
    """One response by checkpoint, from the first one on, with what its fit needs.

    ``levels_count`` are the columns of 0 and 1 beside the curve: a start, and a step for each other
    coffee lot or seating, so that the first column reads the level of the latest checkpoint.
    """

    name: Literal["d50", "fines"]
    checkpoint_ids: tuple[str, ...]
    origin_grams: float
    grams: Floats
    means_response: Floats
    replicates_count: Floats
    sd_response: Floats
    shift_sd_response: Floats
    levels_count: Floats
    within_squares: float
    freedom_count: int
    distinct_count: int
    session: SessionSpread
    change_response: float


def make_series(
    rows: Sequence[Row], name: Literal["d50", "fines"], rule: Rule, *, origin_grams: float
) -> Series | None:
    """Gather one response of the joined checkpoints for its fit.

    ``v_j = s_b^2 + s_w^2 / n_j + shift_j^2``

    Parameters
    ----------
    rows : sequence of Row
        Joined checkpoints, in the order of their kilograms.
    name : str
        ``d50`` (micrometres) or ``fines`` (fraction).
    rule : Rule
        Smallest change that matters and scatter of sittings.
    origin_grams : float
        Grams through the burrs at the first joined checkpoint.

    Returns
    -------
    Series or None
        None when no row has a value of this response.

    Raises
    ------
    ValueError
        A replicate is not finite.

    Valid
    -----
    The scatter s_w is pooled over all checkpoints. A variance of nothing at all is lifted to
    1e-9 of the level, so that weights stay finite.

    Source
    ------
    Derived here; the pooled scatter as in the NIST/SEMATECH e-Handbook, 7.4.3.

    Examples
    --------
    >>> make_series([], "d50", Rule(), origin_grams=0.0) is None
    True
    """
    if name == "d50":
        told = [(row, row.d50_micrometres, row.d50_shift_sd_micrometres) for row in rows]
    else:
        told = [(row, row.fines_fraction, row.fines_shift_sd_fraction) for row in rows]
    told = [item for item in told if item[1]]
    if not told:
        return None
    pooled = pool([values for _, values, _ in told])
    means, counts = np.array(pooled.means), np.array(pooled.counts, dtype=np.float64)
    if name == "d50":
        change = rule.d50_change_micrometres
        change = rule.d50_change_fraction * abs(pooled.means[-1]) if change is None else change
        session = rule.d50_session_micrometres
        session = rule.d50_session_fraction * abs(pooled.means[0]) if session is None else session
    else:
        change, session = rule.fines_change_fraction, rule.fines_session_fraction
    within = pooled.within_squares / pooled.freedom_count if pooled.freedom_count else 0.0
    shift = np.array([sd for _, _, sd in told])
    floor = 1e-9 * max(float(np.abs(means).max()), 1e-6)
    sd = np.sqrt(np.maximum(session**2 + within / counts + shift**2, floor**2))
    kept = [row for row, _, _ in told]
    return Series(
        name=name,
        checkpoint_ids=tuple(row.checkpoint_id for row in kept),
        origin_grams=origin_grams,
        grams=np.array([row.burr_grams - origin_grams for row in kept]),
        means_response=means,
        replicates_count=counts,
        sd_response=sd,
        shift_sd_response=shift,
        levels_count=_levels(kept),
        within_squares=pooled.within_squares,
        freedom_count=pooled.freedom_count,
        distinct_count=len({round(row.burr_grams) for row in kept}),
        session=SessionSpread(session, rule.session_basis),
        change_response=change,
    )


def lacking(series: Series) -> str | None:
    """Say what a response lacks for a verdict, if anything.

    ``J - steps >= 4 distinct kilograms;  nu >= 4``

    Parameters
    ----------
    series : Series
        One response.

    Returns
    -------
    str or None
        ``too_few_checkpoints``, ``no_replicates`` or None.

    Raises
    ------
    AttributeError
        It is no series.

    Valid
    -----
    Kilograms count as distinct to a gram; each level step beside the start takes one of them.

    Source
    ------
    Our choice: below these the interval of any forecast covers nearly everything.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> row = Row("a", datetime(2026, 5, 4, tzinfo=UTC), 0.0, (300.0,), (), None, 0)
    >>> lacking(make_series([row], "d50", Rule(), origin_grams=0.0))
    'too_few_checkpoints'
    """
    steps = series.levels_count.shape[1] - 1
    if series.distinct_count - steps < FEWEST_CHECKPOINTS_COUNT:
        return "too_few_checkpoints"
    return "no_replicates" if series.freedom_count < FEWEST_FREEDOM_COUNT else None


def within_variance(series: Series) -> tuple[float, float]:
    """Give the variance inside one checkpoint, and that of a mean of a usual checkpoint.

    ``s_w^2 = SSW / nu;  s_b^2 + s_w^2 / n,  n = the harmonic mean of the replicates``

    Parameters
    ----------
    series : Series
        One response.

    Returns
    -------
    tuple of float
        Squares of the response's unit; 0 inside while nothing tells it.

    Raises
    ------
    AttributeError
        It is no series.

    Valid
    -----
    Equal scatter at all checkpoints.

    Source
    ------
    Derived here from the definition of both scatters.

    Examples
    --------
    >>> within, of_mean = within_variance(example_series())
    >>> round(within, 2), round(of_mean - within / 3, 9) == 9.0
    (8.02, True)
    """
    within = series.within_squares / series.freedom_count if series.freedom_count else 0.0
    share = math.fsum(1 / count for count in series.replicates_count) / len(series.replicates_count)
    return within, series.session.sd_response**2 + within * share


def _levels(rows: Sequence[Row]) -> Floats:
    """A start and the steps of other lots and seatings than the latest's, each only where it
    says something new."""
    columns = [np.ones(len(rows))]
    latest = rows[-1]
    for seating in sorted({row.seating_count for row in rows} - {latest.seating_count}):
        columns.append(np.array([float(row.seating_count == seating) for row in rows]))
    lots = sorted({row.coffee_lot for row in rows} - {latest.coffee_lot}, key=str)
    for lot in lots:
        columns.append(np.array([float(row.coffee_lot == lot) for row in rows]))
    kept: list[Floats] = []
    basis: list[Floats] = []
    for column in columns:
        rest = column
        for _ in range(2):
            for direction in basis:
                rest = rest - (rest @ direction) * direction
        length = math.sqrt(float(rest @ rest))
        if length > 1e-9:
            kept.append(column)
            basis.append(rest / length)
    return np.column_stack(kept)


def example_series() -> Series:
    """Give a made-up series for examples: five checkpoints of three replicates.

    ``0, 5, 10, 15, 20 kg;  s_b = 3 micrometres, delta = 9 micrometres``

    Returns
    -------
    Series
        D50, from 300 to 335 micrometres.

    Source
    ------
    Made here.

    Examples
    --------
    >>> example_series().grams.tolist()
    [0.0, 5000.0, 10000.0, 15000.0, 20000.0]
    """
    at = datetime(2026, 5, 4, tzinfo=UTC)
    told = (
        (300.0, 304.1, 297.2),
        (318.9, 323.0, 321.4),
        (329.8, 326.1, 331.5),
        (333.0, 329.4, 335.2),
        (334.9, 331.8, 337.3),
    )
    rows = [
        Row(str(place), at, 5000.0 * place, values, (), None, 0)
        for place, values in enumerate(told)
    ]
    rule = Rule(d50_change_micrometres=9.0, d50_session_micrometres=3.0)
    made = make_series(rows, "d50", rule, origin_grams=0.0)
    assert made is not None
    return made
