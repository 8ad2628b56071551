"""The curve ``a + c exp(-u / lag)`` by which a scale closes in on a weight, by least squares."""

from __future__ import annotations

import math
from collections.abc import Sequence


def best_lag(
    us: Sequence[float], ys: Sequence[float], shortest: float, longest: float
) -> tuple[float, float, float, float]:
    """The lag of least squares, the squares, level and height of ``a + c exp(-u / lag)``."""

    def cost(lag: float) -> float:
        return line_of([math.exp(-u / lag) for u in us], ys)[0]

    lags = [shortest]
    while lags[-1] < longest:
        lags.append(lags[-1] * 1.12)
    lag = min(lags, key=cost)
    low, high = lag / 1.12, lag * 1.12
    for _ in range(14):
        a, b = low + 0.382 * (high - low), low + 0.618 * (high - low)
        if cost(a) < cost(b):
            high = b
        else:
            low = a
    lag = (low + high) / 2
    squares, a, c = line_of([math.exp(-u / lag) for u in us], ys)
    return lag, squares, a, c


def fewest_squares(us: Sequence[float], ys: Sequence[float], lag: float) -> float:
    """The squares under the best of a few lags, enough to tell whether to look closer."""
    lags = (lag * factor for factor in (0.75, 0.85, 0.95, 1.05, 1.15, 1.3))
    return min(line_of([math.exp(-u / one) for u in us], ys)[0] for one in lags)


def line_of(es: Sequence[float], ys: Sequence[float]) -> tuple[float, float, float]:
    """Squares, level and height of ``a + c e``."""
    n, zero = len(es), ys[-1]
    se = see = sy = sey = syy = 0.0
    for e, y in zip(es, ys, strict=True):
        y -= zero
        se, see, sy, sey, syy = se + e, see + e * e, sy + y, sey + e * y, syy + y * y
    free = see - se * se / n
    if free <= 1e-12:
        return syy - sy * sy / n, zero + sy / n, 0.0
    c = (sey - se * sy / n) / free
    return max(0.0, syy - sy * sy / n - c * c * free), zero + (sy - c * se) / n, c
