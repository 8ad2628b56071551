"""Rosin-Rammler and log-normal laws laid through a cumulative curve, each by two named methods.

The two methods are different estimators: on published sieve tables their exponents differ by 2 to
26 %, so a result without its method says little.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from statistics import NormalDist

import numpy as np

from .particles_records import Curve, Floats, LogNormalFit, Missing, RosinRammlerFit

FEWEST_POINTS_COUNT = 3
OUTERMOST_FRACTION = 1e-6
"""Undersizes closer to 0 or 1 than this weigh nothing and are not fitted (our choice)."""
MOST_POINTS_COUNT = 200
FARTHEST_LOG_RATIO = math.log(1e6)
"""A line whose law is centred further than this from the sizes is level: no fit."""
_NORMAL = NormalDist()
_STEPS = 200


def fit_rosin_rammler(curve: Curve) -> tuple[RosinRammlerFit, ...]:
    """Fit the Rosin-Rammler law, by a straight line and by least squares of the undersize.

    ``ln(-ln R) = n ln x - n ln x';  and  min sum((Q_i - 1 + exp(-(x_i / x')**n))**2)``

    Parameters
    ----------
    curve : Curve
        A sample's curve; points with 0 < Q < 1 are used, the pan and the ends are not.

    Returns
    -------
    tuple of RosinRammlerFit
        The two fits; none with fewer than 3 usable points or where no line rises through them.

    Valid
    -----
    ``r_squared`` is of what the method fits: of ln(-ln R), or of Q. For n <= 1 there is no D[3,2].

    Source
    ------
    DIN 66145 / ISO 9276-3 (from memory); held to a published regression sheet and to scipy.

    Examples
    --------
    >>> import numpy as np
    >>> from .particles_curve import fit_curve
    >>> x = np.array([50.0, 100.0, 200.0, 400.0])
    >>> line, _ = fit_rosin_rammler(fit_curve(x, 1 - np.exp(-((x / 150.0) ** 1.2))))
    >>> round(line.exponent, 9), round(line.scale_micrometres, 6)
    (1.2, 150.0)
    """
    x, q = _points(curve)
    line = _line(x, np.log(-np.log1p(-q)))
    if line is None:
        return ()
    n, at_zero, r_squared = line
    scale = -at_zero / n

    def _model(place: float, log_exponent: float) -> tuple[Floats, Floats]:
        exponent = math.exp(log_exponent)
        power = np.exp(np.minimum(exponent * (x - place), 700.0))
        slope = np.exp(-power) * power
        by_both = np.column_stack((-exponent * slope, exponent * (x - place) * slope))
        return -np.expm1(-power), by_both

    best, r_squared_undersize = _least_squares(_model, q, (scale, math.log(n)))
    return (
        RosinRammlerFit("loglog_least_squares", n, math.exp(scale), r_squared, x.size),
        RosinRammlerFit(
            "undersize_least_squares",
            math.exp(best[1]),
            math.exp(best[0]),
            r_squared_undersize,
            x.size,
        ),
    )


def fit_log_normal(curve: Curve) -> tuple[LogNormalFit, ...]:
    """Fit the log-normal law, by a straight line and by least squares of the undersize.

    ``z(Q) = (ln x - ln x50) / s;  and  min sum((Q_i - Phi((ln x_i - ln x50) / s))**2)``

    Parameters
    ----------
    curve : Curve
        A sample's curve; points with 0 < Q < 1 are used, the pan and the ends are not.

    Returns
    -------
    tuple of LogNormalFit
        The two fits; none with fewer than 3 usable points or where no line rises through them.

    Valid
    -----
    ``r_squared`` is of what the method fits: of the probit z, or of Q.

    Source
    ------
    ISO 9276-5 (from memory); held to scipy.

    Examples
    --------
    >>> from statistics import NormalDist
    >>> from .particles_curve import fit_curve
    >>> q = [NormalDist().cdf(z) for z in (-1.0, 0.0, 2.0)]
    >>> line, _ = fit_log_normal(fit_curve([200.0, 400.0, 1600.0], q))
    >>> round(line.median_micrometres, 6), round(line.log_sd, 6)
    (400.0, 0.693147)
    """
    x, q = _points(curve)
    line = _line(x, np.array([_NORMAL.inv_cdf(value) for value in q]))
    if line is None:
        return ()
    slope, at_zero, r_squared = line
    middle, log_sd = -at_zero / slope, 1 / slope

    def _model(place: float, log_width: float) -> tuple[Floats, Floats]:
        z = (x - place) / math.exp(log_width)
        density = np.exp(-0.5 * np.minimum(z * z, 1400.0)) / math.sqrt(2 * math.pi)
        values = np.array([0.5 * math.erfc(-value / math.sqrt(2)) for value in z])
        by_both = np.column_stack((-density / math.exp(log_width), -density * z))
        return values, by_both

    best, r_squared_undersize = _least_squares(_model, q, (middle, math.log(log_sd)))
    return (
        LogNormalFit("probit_least_squares", log_sd, math.exp(middle), r_squared, x.size),
        LogNormalFit(
            "undersize_least_squares",
            math.exp(best[1]),
            math.exp(best[0]),
            r_squared_undersize,
            x.size,
        ),
    )


def missing_fits(curve: Curve) -> tuple[Missing, ...]:
    """Say why a law could not be laid through a curve.

    ``fewer than 3 points with 0 < Q < 1, or all at one level``

    Parameters
    ----------
    curve : Curve
        A curve through which not every law could be laid.

    Returns
    -------
    tuple of Missing
        One for each law, fitted or not.

    Source
    ------
    Defined here.

    Examples
    --------
    >>> from .particles_curve import fit_curve
    >>> [why.code for why in missing_fits(fit_curve([50.0, 200.0], [0.0, 1.0]))]
    ['too_few_points', 'too_few_points']
    """
    found = _points(curve)[0].size
    few = found < FEWEST_POINTS_COUNT
    code = "too_few_points" if few else "no_rising_line"
    detail = (
        f"{found} sizes have an undersize between 0 and 1; a fit takes {FEWEST_POINTS_COUNT}."
        if few
        else "The undersize is too level: the law through it would be centred far from the sizes."
    )
    return tuple(Missing(name, code, detail) for name in ("rosin_rammler", "log_normal"))


def _points(curve: Curve) -> tuple[Floats, Floats]:
    """ln x and Q of the points to fit: strictly between 0 and 1, a long list thinned evenly."""
    inside = np.flatnonzero(
        (curve.undersize_fraction > OUTERMOST_FRACTION)
        & (curve.undersize_fraction < 1 - OUTERMOST_FRACTION)
    )
    x = np.log(curve.size_micrometres[inside])
    q = curve.undersize_fraction[inside]
    if curve.is_stepped and x.size > MOST_POINTS_COUNT:
        wanted = (np.arange(MOST_POINTS_COUNT) + 0.5) / MOST_POINTS_COUNT
        at = np.unique(np.minimum(np.searchsorted(q, wanted), x.size - 1))
        x, q = x[at], q[at]
    return x, q


def _line(x: Floats, y: Floats) -> tuple[float, float, float] | None:
    """Slope, value at 0 and r squared of the least-squares line; None where none rises."""
    if x.size < FEWEST_POINTS_COUNT:
        return None
    middle = float(x.mean())
    dx, dy = x - middle, y - y.mean()
    slope = float(dx @ dy) / float(dx @ dx)
    at_zero = float(y.mean()) - slope * middle
    if not (slope > 0 and abs(at_zero / slope + middle) <= FARTHEST_LOG_RATIO):
        return None
    return slope, at_zero, float(dx @ dy) ** 2 / float(dx @ dx) / float(dy @ dy)


def _least_squares(
    model: Callable[[float, float], tuple[Floats, Floats]],
    q: Floats,
    start: tuple[float, float],
) -> tuple[tuple[float, float], float]:
    """Levenberg-Marquardt in two parameters; the best found and r squared of Q."""
    best = np.array(start)
    values, slopes = model(*best)
    misfit = float((q - values) @ (q - values))
    damping = 1e-3
    for _ in range(_STEPS):
        normal = slopes.T @ slopes
        towards = slopes.T @ (q - values)
        scale = np.diag(normal) + 1e-30
        step = np.linalg.solve(normal + damping * np.diag(scale), towards)
        step = np.clip(step, -2.0, 2.0)
        if float(np.abs(step).max()) < 1e-13:
            break
        tried = best + step
        if float(np.abs(tried - start).max()) > FARTHEST_LOG_RATIO:
            damping *= 10
            if damping > 1e12:
                break
            continue
        tried_values, tried_slopes = model(*tried)
        tried_misfit = float((q - tried_values) @ (q - tried_values))
        if tried_misfit <= misfit:
            best, values, slopes, misfit = tried, tried_values, tried_slopes, tried_misfit
            damping = max(damping / 10, 1e-15)
        else:
            damping *= 10
            if damping > 1e12:
                break
    spread = float((q - q.mean()) @ (q - q.mean()))
    return (float(best[0]), float(best[1])), 1 - misfit / spread
