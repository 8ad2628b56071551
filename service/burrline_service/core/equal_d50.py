"""Fines at an equal D50: what is left of a difference once the dial has made up for the size.

The setting that gives the wanted D50 is not known exactly; the fines there are bounded over all
settings that are believed, so that both uncertainties are in the limits.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from .fieller import Line, crossing_limits
from .setting_lines import bounded_response
from .settling_measures import Limits, significant
from .settling_profile import Floats

Flags = npt.NDArray[np.bool_]
WAYS_COUNT = 65
"""So many settings between the limits are tried for each tau."""


def fines_at_crossing(d50: Line, fines: Line, room_ratio: Floats, best_place: int) -> Limits:
    """Bound the fines where a line of ln D50 crosses zero.

    ``min, max over tau, x of fines(x) -+ sd(x) sqrt(room - d50(x)^2 / var(x))``

    Parameters
    ----------
    d50 : Line
        ln D50 less the one that is wanted, against the setting.
    fines : Line
        Fines, or their change, against the same setting.
    room_ratio : array of shape (K,)
        From ``room_ratio`` of both fits.
    best_place : int
        The tau that fits best.

    Returns
    -------
    Limits
        A fraction; no limits where the setting has none.

    Raises
    ------
    IndexError
        The place is not on the grid.

    Valid
    -----
    Errors of D50 and fines count as independent: a dose that came out coarse has fewer fines, which
    makes the true limits narrower.

    Source
    ------
    Derived here: the profile likelihood of both fits under the constraint that D50 is the wanted
    one, as a union of conditional intervals.

    Examples
    --------
    >>> one = np.ones(1)
    >>> size = Line(-0.05 * one, 0.05 * one, 0 * one, 0 * one, 1e-9 * one)
    >>> share = Line(0.10 * one, -0.01 * one, 0 * one, 0 * one, 1e-9 * one)
    >>> found = fines_at_crossing(size, share, 4 * one, 0)
    >>> round(found.best, 6), 0.089 < found.low < 0.09 < found.high < 0.091
    (0.09, True)
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        middle = -d50.start_response / d50.slope_response
    best_x = middle[best_place if len(middle) > 1 else 0]
    of_best = best_place if len(fines.start_response) > 1 else 0
    best = float(fines.start_response[of_best] + fines.slope_response[of_best] * best_x)
    low_x, high_x = crossing_limits(d50, room_ratio)
    inside = room_ratio >= 0
    if not (np.isfinite(low_x[inside]).all() and np.isfinite(high_x[inside]).all()):
        return Limits(None, significant(best), None)
    share = np.linspace(0.0, 1.0, WAYS_COUNT)[None, :]
    x = np.concatenate(
        [low_x[inside, None] * (1 - share) + high_x[inside, None] * share, middle[inside, None]],
        axis=1,
    )
    off = _at(d50, inside, x)
    spread = _variance(d50, inside, x)
    with np.errstate(invalid="ignore", divide="ignore"):
        # a line without any scatter crosses at one place alone, where it is nothing
        used = np.where(spread > 0, off**2 / spread, 0.0)
    left = room_ratio[inside, None] - used
    half = np.sqrt(np.maximum(left, 0.0) * np.maximum(_variance(fines, inside, x), 0.0))
    value = _at(fines, inside, x)
    return Limits(
        bounded_response(float((value - half).min())),
        significant(best),
        bounded_response(float((value + half).max())),
    )


def _at(line: Line, inside: Flags, x: Floats) -> Floats:
    value: Floats = _of(line.start_response, inside) + _of(line.slope_response, inside) * x
    return value


def _variance(line: Line, inside: Flags, x: Floats) -> Floats:
    start = _of(line.start_squares, inside)
    cross, slope = _of(line.cross_squares, inside), _of(line.slope_squares, inside)
    variance: Floats = start + 2 * x * cross + x**2 * slope
    return variance


def _of(values: Floats, inside: Flags) -> Floats:
    """The values of the tau that are believed; a fit of one age has the same at each."""
    every = np.broadcast_to(values, inside.shape)
    return every[inside, None]
