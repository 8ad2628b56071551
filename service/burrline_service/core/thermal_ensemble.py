"""All motors that the readings allow: two coupled bodies, drawn by how plausible they are.

One warm body never fits a motor: the winding runs hot within a minute, the housing lags behind.
Intervals of one body's constants alone are far too narrow, so forecasts come from an ensemble
in which a second, fast body has the size and speed that the readings and a weak prior allow:
``T = ambient + rise (phi(tau_h, tau_c) + share phi(tau_fast, tau_fast))``, the share positive for
a sensor in the winding, negative (a lag) for one on the housing.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache
from statistics import NormalDist
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .thermal_descent import (
    Descended,
    Matrix,
    Model,
    Point,
    Prior,
    between_responses,
    descend,
    robust_kelvin,
)
from .thermal_drift import Unrest, find_unrest, whitened
from .thermal_one_body import AMBIENT_PRIOR, MEASURED_AMBIENT_KELVIN
from .thermal_response import responses

Floats = NDArray[np.float64]
Body = Literal["winding", "housing", "unknown"]

MEMBERS_COUNT = 64
_DRAWN_COUNT = 192
_FAST_SECONDS = tuple(15.0 * math.exp(0.4 * step) for step in range(9))  # 15 to 368 s
_SLOW_PRIOR = ((math.log(70.0), math.log(1000.0), 0.5), (1.0, 1.0, 0.6))
# ln of the fast constant in s; ln share (winding) or logit of the lag (housing): from small
# motors' published winding constants of 46 to 85 s, else our choice
_FAST_PRIOR: dict[Body, tuple[tuple[float, float], tuple[float, float]]] = {
    "winding": ((math.log(70.0), math.log(0.6)), (0.5, 1.0)),
    "housing": ((math.log(85.0), 1.5), (0.5, 1.5)),
    "unknown": ((math.log(75.0), math.log(0.2)), (0.5, 1.5)),
}
LOWEST_NOISE_KELVIN = 0.2
LOWEST_DRIFT_KELVIN = {False: 1.2, True: 0.4}
"""By whether the ambient is measured: a room moves by a kelvin or two over a day (our choice)."""


class Member(NamedTuple):
    """One motor that the readings allow, as arrays over all members."""

    rise_kelvin: Floats
    heating_seconds: Floats
    cooling_seconds: Floats
    ambient_celsius: Floats
    fast_seconds: Floats
    fast_share_fraction: Floats


def members_of(points: Matrix, body: Body) -> Member:
    """Turn coordinates into motors.

    ``share = exp(z) in the winding, -lag tau_fast / tau_h on the housing``

    Parameters
    ----------
    points : ndarray, shape (k, 6)
        ln rise, ln heating, ln(cooling / heating), ambient or its offset, ln fast, share.
    body : str
        What the sensor measures.

    Returns
    -------
    Member
        Arrays of shape (k,).

    Valid
    -----
    With a lag of 1 the housing begins to warm with slope 0, as behind a winding it must.

    Source
    ------
    Derived here from two coupled bodies, see test.

    Examples
    --------
    >>> import numpy as np
    >>> z = np.array([[np.log(120.0), np.log(2125.0), 0.0, 25.0, np.log(85.0), 99.0]])
    >>> members_of(z, "housing").fast_share_fraction.round(4)
    array([-0.04])
    """
    heating = np.exp(points[:, 1])
    fast = np.exp(points[:, 4])
    if body == "housing":
        lag = 1.0 / (1.0 + np.exp(-np.clip(points[:, 5], -40.0, 40.0)))
        share = -lag * fast / np.maximum(heating, fast)
    else:
        share = np.exp(np.clip(points[:, 5], -12.0, 3.0))
    rise, cooling = np.exp(points[:, 0]), heating * np.exp(points[:, 2])
    return Member(rise, heating, cooling, points[:, 3], fast, share)


def draw_members(
    on_starts_seconds: ArrayLike,
    on_ends_seconds: ArrayLike,
    reading_at_seconds: ArrayLike,
    readings_celsius: ArrayLike,
    *,
    ambient_celsius: ArrayLike | None,
    body: Body,
    one_body: Point,
    table: Matrix,
) -> tuple[Matrix, Unrest]:
    """Draw the motors that readings allow, with the drift and noise left over.

    ``p(motor | readings)`` by importance sampling on fixed points, from its Gauss approximation

    Parameters
    ----------
    on_starts_seconds, on_ends_seconds : array_like, shape (m,)
        Motor-on stretches in s, parted and ascending.
    reading_at_seconds : array_like, shape (n,)
        When was read, in s, ascending.
    readings_celsius : array_like, shape (n,)
        What was read, in degrees Celsius.
    ambient_celsius : array_like, shape (n,), or None
        Measured ambient at each reading.
    body : str
        What the sensor measures.
    one_body : ndarray, shape (4,)
        Where one body fits best: one of the starts of the search.
    table : ndarray, shape (20, 11, n)
        ``response_table`` of the same stretches and instants.

    Returns
    -------
    tuple of ndarray, shape (64, 6), and Unrest
        Coordinates for ``members_of``, equally plausible; what is left over.

    Valid
    -----
    n >= 4. Deterministic: the points are a fixed sequence of even spread, there are no dice.

    Source
    ------
    Importance sampling and systematic resampling, from memory; coverage is measured by the
    simulation in the tests. Definition made here.

    Examples
    --------
    >>> from .thermal_response import response_table
    >>> on = [0.0, 3000.0, 9000.0], [600.0, 4800.0, 9300.0]
    >>> at = [600.0, 2000.0, 4800.0, 6000.0, 9300.0]
    >>> read = 25.0 + 80.0 * responses(*on, at, [1200.0], [2400.0])[0]
    >>> draw_members(*on, at, read, ambient_celsius=None, body="housing",
    ...     one_body=np.array([4.4, 7.1, 0.7, 25.0]), table=response_table(*on, at))[0].shape
    (64, 6)
    """
    at = np.asarray(reading_at_seconds, dtype=np.float64)
    readings = np.asarray(readings_celsius, dtype=np.float64)
    known = 0.0 if ambient_celsius is None else np.asarray(ambient_celsius, dtype=np.float64)
    sought = readings - known
    ambient = (0.0, MEASURED_AMBIENT_KELVIN) if ambient_celsius is not None else AMBIENT_PRIOR
    fast_means, fast_spreads = _FAST_PRIOR[body]
    prior = Prior(
        np.array([*_SLOW_PRIOR[0], ambient[0], *fast_means]),
        np.array([*_SLOW_PRIOR[1], ambient[1], *fast_spreads]),
    )
    fast_table = responses(on_starts_seconds, on_ends_seconds, at, _FAST_SECONDS, _FAST_SECONDS)

    def _model(points: Matrix) -> Matrix:
        member = members_of(points, body)
        pairs, place = np.unique(points[:, 1:3], axis=0, return_inverse=True)
        shares = between_responses(table, pairs[:, 0], pairs[:, 1])[place.reshape(-1)]
        shares += member.fast_share_fraction[:, None] * _fast(fast_table, points[:, 4])
        return points[:, 3:4] + np.exp(points[:, :1]) * shares

    found, sigma = _most_plausible(_model, sought, prior, one_body)
    weights = np.minimum(1.0, (3.5 * sigma / np.maximum(np.abs(found.residuals_kelvin), 1e-9)) ** 4)
    weights = np.maximum(weights, 1e-4)
    centre = members_of(found.point[None], body)
    fast = (
        float((centre.rise_kelvin * centre.fast_share_fraction)[0])
        * _fast(fast_table, found.point[4:5])[0]
    )
    unrest = find_unrest(
        at,
        found.residuals_kelvin,
        fast,
        weights,
        LOWEST_NOISE_KELVIN,
        LOWEST_DRIFT_KELVIN[ambient_celsius is not None],
    )
    variances = unrest.noise_kelvin**2 / weights + (unrest.load_fraction * fast) ** 2

    def _log_plausibility(points: Matrix) -> Point:
        gaps = whitened(at, sought - _model(points), unrest, variances)
        far = (points - prior.means) / prior.spreads
        total: Point = (gaps * gaps).sum(1) + (far * far).sum(1)
        return -total / 2

    slopes = whitened(at, found.slopes.T, unrest, variances).T
    spread: Matrix = np.linalg.inv(slopes.T @ slopes + np.diag(prior.spreads**-2.0)).astype(
        np.float64
    )
    return _sampled(_log_plausibility, found.point, spread), unrest


def _most_plausible(
    model: Model, sought: Floats, prior: Prior, one_body: Point
) -> tuple[Descended, float]:
    starts = [prior.means.copy() for _ in range(3)]
    starts[0][:4] = one_body
    starts[1][3] = one_body[3]
    starts[2][:4] = one_body + np.array([0.0, 1.2, 0.0, 0.0])
    low, high = prior.means - 3 * prior.spreads, prior.means + 3 * prior.spreads
    sigma = max(1.0, min(robust_kelvin(sought - model(np.clip(s, low, high)[None])[0], 0)
                         for s in starts))  # fmt: skip
    best: Descended | None = None
    for start in starts:
        one = descend(model, np.clip(start, low, high), sought, sigma, prior, most_count=10)
        if best is None or one.cost < best.cost:
            best = one
    assert best is not None
    for _ in range(3):
        sigma = max(robust_kelvin(best.residuals_kelvin, min(6, sought.size // 3)), 0.3)
        best = descend(model, best.point, sought, sigma, prior, most_count=8)
    return best, sigma


def _sampled(log_plausibility: Callable[[Matrix], Point], centre: Point, spread: Matrix) -> Matrix:
    """Draw by importance, letting the proposal adapt twice; then resample evenly."""
    normal = _normal_points()
    widening = 1.3
    points = centre[None] + normal
    share = np.full(len(normal), 1.0 / len(normal))
    for _ in range(3):
        root = np.linalg.cholesky(spread + 1e-12 * np.eye(centre.size)) * widening
        points = centre + normal @ root.T
        log_share = log_plausibility(points) + (normal * normal).sum(1) / 2
        share = _tempered(log_share)
        centre = share @ points
        away = points - centre
        spread = (away * share[:, None]).T @ away
        widening = 1.15
    steps = (np.arange(MEMBERS_COUNT) + 0.5) / MEMBERS_COUNT
    order = np.lexsort((points[:, 1], points[:, 0]))
    chosen = np.searchsorted(np.cumsum(share[order]), steps * (1 - 1e-9))
    return points[order[np.minimum(chosen, len(order) - 1)]]


def _tempered(log_share: Point) -> Point:
    """Shares of the points; flattened where a few would have everything."""
    log_share = log_share - log_share.max()
    power = 1.0
    while True:
        share = np.exp(power * log_share)
        share /= share.sum()
        if 1.0 / float((share * share).sum()) >= len(share) / 6:
            return share
        power *= 0.8


def _fast(fast_table: Matrix, log_fast: Point) -> Matrix:
    index = np.clip((log_fast - math.log(_FAST_SECONDS[0])) / 0.4, 0.0, len(_FAST_SECONDS) - 1.001)
    first = np.floor(index).astype(np.int64)
    part = (index - first)[:, None]
    return (1 - part) * fast_table[first] + part * fast_table[first + 1]


@lru_cache(maxsize=1)
def _normal_points() -> Matrix:
    """A fixed sequence of even spread in six dimensions, as independent normal coordinates."""
    base = 1.0
    for _ in range(60):
        base = (1.0 + base) ** (1.0 / 7.0)
    turns = base ** -np.arange(1.0, 7.0)
    even = (0.5 + np.arange(1, _DRAWN_COUNT + 1)[:, None] * turns) % 1.0
    quantile = NormalDist().inv_cdf
    return np.array([[quantile(float(one)) for one in row] for row in even])
