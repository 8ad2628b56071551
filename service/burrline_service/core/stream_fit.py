"""The fit of the flow over kilograms, with a random level of each day.

``u = level + steps + beta (s - s_ref) - A exp(-m / tau) + day + noise``. The barista sets the
grinder by what the day is like, so the setting follows the day's own level; only with that level in
the model does the effect of the setting come out right.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from .settling_profile import Floats
from .stream_moments import Moments, example_sessions, sum_moments
from .stream_variance import MOST_ROUNDS, NEAR_FRACTION, between_squares

FEWEST_FREEDOM_COUNT = 4
_DEPENDENT = 1e-9
_MOST_TURNS = 8
_ALL = slice(None)
_LARGEST_PRODUCT = 2**18  # a larger one would start threads, and take longer


@dataclass(frozen=True, eq=False)
class StreamFit:
    """The fit to the first days, given each tau of the grid (last axis).

    ``kept`` are the columns that do not depend on those before; ``solved_`` arrays are what is
    needed to read any value off: see ``read_value``. ``sd`` are of the logarithm of the flow.
    """

    sessions_count: int
    kept: tuple[int, ...]
    freedom_count: int
    grind_sd_ratio: float
    session_sd_ratio: float
    birge_ratio: float
    misfit_ratio: Floats
    change_ratio: Floats
    change_sd_ratio: Floats
    column_inverse_squares: Floats
    solved_u_ratio: Floats
    solved_decay_ratio: Floats


def fit_stream(
    moments: Moments,
    sessions_count: int,
    *,
    start_squares: float = 0.0,
    near_fraction: float = NEAR_FRACTION,
) -> StreamFit | None:
    """Fit the first days by generalised least squares, with the variance between days.

    ``V = s_w^2 / n on the diagonal + s_b^2 within a day;  s_w^2 = sum SS / sum (n - 1);  s_b^2 by
    between_squares at the best tau with nu = G - p - 1, again until it stands``

    Parameters
    ----------
    moments : Moments
        Of all days.
    sessions_count : int
        G, how many of them are looked at, from the first on.
    start_squares : float
        Where the variance between days is sought from.
    near_fraction : float
        How much of itself it may still move by when it stands.

    Returns
    -------
    StreamFit or None
        None where no repeated grind tells the noise, or fewer than 4 degrees of freedom are left.

    Raises
    ------
    IndexError
        There are not so many days.

    Valid
    -----
    The same as with the whole covariance matrix (see the test); partial demeaning by days without
    ever forming the demeaned cells.

    Source
    ------
    Derived here from the inverse of a covariance with one random level per group; the limits are
    unions of intervals conditional on tau, ``union_limits``.

    Examples
    --------
    >>> from burrline_service.core.stream_sessions import SessionCell
    >>> from burrline_service.core.stream_moments import sum_moments
    >>> cell = SessionCell(1, 0, 4800, 0, 2, None, None, None, 2, 10, 52, 2_000_000)
    >>> fit_stream(sum_moments([cell], origin_mg=0, reference_milli=4800), 1) is None
    True
    """
    last = sessions_count - 1
    if moments.within_count[last] < 1 or moments.within_squares[last] <= 0:
        return None
    by_day = moments.day_columns_ratio[:sessions_count]
    means = (by_day / moments.grinds_count[:sessions_count, None]).T
    kept = _independent(moments.columns_squares[last] + _product(means, by_day))
    columns_count = len(kept) + 1  # and the decay
    freedom = sessions_count - columns_count - 1
    if freedom < FEWEST_FREEDOM_COUNT:
        return None
    within = float(moments.within_squares[last]) / moments.within_count[last]
    days = _Days.of(moments, sessions_count, kept)
    try:
        found, between = _stood(days, within, freedom, start_squares, near_fraction)
    except np.linalg.LinAlgError:  # days differ so much more than grinds that nothing is left
        return None
    misfit = found.misfit_squares / within
    least = float(misfit.min())
    left = moments.cells_count[last] - columns_count - 1
    birge = max(1.0, least / left) if left > 0 else 1.0
    with np.errstate(divide="ignore"):
        change_sd = np.sqrt(within / found.decay_squares)
    return StreamFit(
        sessions_count=sessions_count,
        kept=kept,
        freedom_count=freedom,
        grind_sd_ratio=math.sqrt(within),
        session_sd_ratio=math.sqrt(between),
        birge_ratio=birge,
        misfit_ratio=misfit,
        change_ratio=-found.slope_ratio,
        change_sd_ratio=change_sd,
        column_inverse_squares=found.inverse_ratio * within,
        solved_u_ratio=found.solved_u_ratio,
        solved_decay_ratio=found.solved_decay_ratio,
    )


def example_fit() -> StreamFit:
    """Fit made-up days, for examples.

    ``fit_stream`` of ``example_sessions``

    Returns
    -------
    StreamFit
        Twelve days of 1 kg.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> example_fit().sessions_count
    12
    """
    cells = example_sessions().cells
    fit = fit_stream(sum_moments(cells, origin_mg=0, reference_milli=4_800), 12)
    assert fit is not None
    return fit


class _Solved(NamedTuple):
    """Least squares given tau: the columns apart, then the decay on what they leave."""

    inverse_ratio: Floats
    solved_u_ratio: Floats
    solved_decay_ratio: Floats
    decay_squares: Floats
    slope_ratio: Floats
    misfit_squares: Floats


class _Days(NamedTuple):
    """The moments of the first days, and of the columns kept."""

    grinds_count: Floats
    columns_ratio: Floats
    u_ratio: Floats
    decay_ratio: Floats
    decay_squared_ratio: Floats
    cc_squares: Floats
    cu_squares: Floats
    ce_squares: Floats
    ee_squares: Floats
    eu_squares: Floats
    uu_squares: Floats

    @classmethod
    def of(cls, moments: Moments, sessions_count: int, kept: tuple[int, ...]) -> _Days:
        last, first, columns = sessions_count - 1, slice(sessions_count), list(kept)
        return cls(
            moments.grinds_count[first],
            np.ascontiguousarray(moments.day_columns_ratio[first][:, columns]),
            moments.day_u_ratio[first],
            moments.day_decay_ratio[first],
            moments.day_decay_squared_ratio[first],
            moments.columns_squares[last][np.ix_(columns, columns)],
            moments.columns_u_squares[last][columns],
            moments.columns_decay_squares[last][columns],
            moments.decay_squares[last],
            moments.decay_u_squares[last],
            moments.u_squares[last],
        )

    def solve(self, between_ratio: float, taus: slice = _ALL) -> _Solved:
        """Within days as it is, between them by how little a day's own level leaves to tell."""
        share = 1.0 / (self.grinds_count * (1.0 + between_ratio * self.grinds_count))
        shared = (self.columns_ratio * share[:, None]).T
        decay = self.decay_ratio[:, taus]
        cu = self.cu_squares + shared @ self.u_ratio
        ce = self.ce_squares[:, taus] + _product(shared, decay)
        ee = self.ee_squares[taus] + share @ self.decay_squared_ratio[:, taus]
        eu = self.eu_squares[taus] + (share * self.u_ratio) @ decay
        uu = self.uu_squares + share @ (self.u_ratio * self.u_ratio)
        inverse = np.linalg.inv(self.cc_squares + _product(shared, self.columns_ratio))
        inverse = (inverse + inverse.T) / 2
        solved_u, solved_decay = inverse @ cu, _product(inverse, ce)
        left = ee - (ce * solved_decay).sum(axis=0)
        left = np.where(left > _DEPENDENT * ee, left, 0.0)
        over = eu - ce.T @ solved_u
        slope = np.divide(over, left, out=np.zeros_like(over), where=left > 0)
        squares = np.maximum(uu - cu @ solved_u - slope * over, 0.0)
        return _Solved(inverse, solved_u, solved_decay, left, slope, squares)

    def residuals_response(self, solved: _Solved, tau: slice) -> Floats:
        """Mean residual of each day at one tau."""
        columns = solved.solved_u_ratio - solved.solved_decay_ratio[:, 0] * solved.slope_ratio[0]
        rest = self.u_ratio - self.columns_ratio @ columns
        rest = rest - self.decay_ratio[:, tau][:, 0] * solved.slope_ratio[0]
        mean: Floats = rest / self.grinds_count
        return mean


def _stood(
    days: _Days, within: float, freedom: int, start: float, near_fraction: float
) -> tuple[_Solved, float]:
    """The fit with a variance between days that stands, and that variance."""
    variance = within / days.grinds_count
    between, best = start, -1
    found = days.solve(between / within)
    for _ in range(_MOST_TURNS):
        if best == int(found.misfit_squares.argmin()):
            break
        best = int(found.misfit_squares.argmin())
        alone = slice(best, best + 1)
        for _ in range(MOST_ROUNDS):
            residual = days.residuals_response(days.solve(between / within, alone), alone)
            before, between = between, between_squares(residual, variance, freedom)
            if abs(between - before) <= near_fraction * max(between, within * 1e-6):
                break
        found = days.solve(between / within)
    return found, between


def _product(left: Floats, right: Floats) -> Floats:
    """``left @ right``, in pieces where it is large."""
    count = left.shape[1]
    step = max(1, _LARGEST_PRODUCT // (left.shape[0] * right.shape[1]))
    found: Floats = left[:, :step] @ right[:step]
    for start in range(step, count, step):
        found += left[:, start : start + step] @ right[start : start + step]
    return found


def _independent(gram: Floats) -> tuple[int, ...]:
    """Which columns do not depend on those before them, by elimination."""
    rest = gram.copy()
    kept = []
    for place in range(len(gram)):
        pivot = rest[place, place]
        if pivot > _DEPENDENT * gram[place, place]:
            kept.append(place)
            row = rest[place] / pivot
            rest = rest - np.outer(rest[:, place], row)
    return tuple(kept)
