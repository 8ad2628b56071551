"""What a table that shakes while it grinds makes of levels, of cups, and of a run's ends.

The rate of the weight is all noise, yet that it shakes tells as much as that it rises: at
rest, then a ramp that shakes, then at rest again. The instants under which the readings are
likeliest are taken.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable

from burrline._breaks import Break
from burrline._curve import Curve
from burrline._edges import Level
from burrline._shapes import SPREAD, likelihood, shaking

SHAKEN_SECONDS = 0.35
"""From so much shaking on, over the rate of the run, are its edges told by likelihood."""
BEFORE_SECONDS, AFTER_SECONDS = 1.2, 2.0
SEARCH_SECONDS, COARSE_SECONDS, SHIFT_SECONDS = 1.6, 0.08, 0.04
LEAST_REST_SECONDS, LEAST_READINGS = 0.6, 12
ROUNDS = 2
BESIDE_SECONDS, NOISES, FLOW, FLOW_FACTOR = (0.7, 1.5), 5.0, 9.0, 2.0
LONG_SECONDS, MOST_SHAKEN = 1.0, 0.5


def spread_grams(curve: Curve, start: float, end: float) -> float:
    """How far the true weight of one reading seems to be off while it shakes."""
    shaken = shaking(curve, start, end, curve.noise**2)
    a = math.exp(-curve.step / curve.lag) if curve.lag else 0.0
    return math.sqrt(shaken) / (1 - a)


def is_of_shaking(curve: Curve, cut: Break) -> bool:
    """Whether a sudden rise may be the noise of a table that shakes, on top of a flow."""
    before = max(spread_grams(curve, cut.start - span, cut.start) for span in BESIDE_SECONDS)
    after = spread_grams(curve, cut.end, cut.end + max(BESIDE_SECONDS))
    unsure = math.hypot(before, after) * math.sqrt(curve.step / curve.width)
    net = min(cut.net, curve.mean(cut.end, cut.end + curve.width) - cut.before)
    half = max(BESIDE_SECONDS) / 2
    beside = max(curve.rate(cut.start - half, half), curve.rate(cut.end + half, half))
    flow = min(FLOW, FLOW_FACTOR * max(beside, 0.0))
    return cut.net > 0 and net - flow * (cut.end - cut.start) < NOISES * unsure


def may_flow(curve: Curve, level: Level, usual: float, shaken: float) -> bool:
    """Whether a weight that seems to stand may flow unseen, as it is ``shaken`` in the run."""
    half = (level.end - level.start) / 2
    if half > LONG_SECONDS / 2:
        shaken = spread_grams(curve, level.start, level.end)
    return shaken * math.sqrt(2 * curve.step / half) / half > MOST_SHAKEN * usual


def shaken_edges(
    curve: Curve, low: Level, high: Level, start: float, stop: float
) -> tuple[float, float]:
    """The edges of a run between two levels, those of its rate being given."""
    grams = high.first - low.last
    shaken = shaking(curve, low.end, high.start, curve.noise**2)
    a = math.exp(-curve.step / curve.lag) if curve.lag else 0.0
    rate = grams / max(stop - start, 0.3)
    if math.sqrt(shaken) / (1 - a) < SHAKEN_SECONDS * rate:
        return start, stop
    if high.start - low.end < LEAST_READINGS * curve.step:
        return start, stop  # the corners of the ramp would pass for shaking
    first, last = start, stop
    for _ in range(ROUNDS):
        rate = grams / max(stop - start, 0.3)
        if low.end - low.start > LEAST_REST_SECONDS:
            start = _begun(curve, low, first, stop, rate, shaken)
        if high.end - high.start > LEAST_REST_SECONDS:
            stop = _ended(curve, high, start, last, rate, shaken)
    return start, stop


def _begun(curve: Curve, low: Level, near: float, stop: float, rate: float, shaken: float) -> float:
    since = max(low.start + 0.1, min(low.end, near) - BEFORE_SECONDS)
    until = min(max(low.end, near) + AFTER_SECONDS, stop)
    return _likeliest(
        curve,
        (since, until),
        near,
        (_rest_square(curve, low.start, low.end - 0.2, low.last), shaken),
        lambda at, t: low.last + rate * _ramp(t - at, curve.lag),
        is_after=True,
    )


def _ended(
    curve: Curve, high: Level, start: float, near: float, rate: float, shaken: float
) -> float:
    since = max(min(high.start, near) - AFTER_SECONDS, start)
    until = min(high.end, max(high.start, near) + BEFORE_SECONDS + curve.lag)
    lag = curve.lag
    return _likeliest(
        curve,
        (since, until),
        near,
        (_rest_square(curve, high.start + 0.2, high.end, high.first), shaken),
        lambda at, t: high.first + rate * (t - at - lag) - rate * _ramp(t - at, lag),
        is_after=False,
    )


def _rest_square(curve: Curve, start: float, end: float, level: float) -> float:
    """The square by which readings at rest are off their level."""
    first, last = bisect_left(curve.ts, start), bisect_left(curve.ts, end)
    offs = sorted(abs(y - level) for y in curve.ys[first:last])
    usual = offs[len(offs) // 2] / SPREAD if offs else 0.0
    return max(curve.noise, usual) ** 2


def _likeliest(
    curve: Curve,
    span: tuple[float, float],
    near: float,
    squares: tuple[float, float],
    shown: Callable[[float, float], float],
    *,
    is_after: bool,
) -> float:
    """The instant from which on, or until which, it shook, under which a stretch is likeliest."""
    ts, ys = curve.ts, curve.ys
    first, last = bisect_left(ts, span[0]), bisect_left(ts, span[1])
    if last - first < 6:
        return near
    square, shaken = squares

    def told(at: float) -> float:
        offs = [ys[i] - shown(at, ts[i]) for i in range(first, last)]
        if is_after:
            return likelihood(curve, first, offs, square, shaken, at, math.inf)
        unsure = 10 * shaken + square
        return likelihood(curve, first, offs, square, shaken, -math.inf, at, unsure)

    least, most = max(near - SEARCH_SECONDS, span[0]), min(near + SEARCH_SECONDS, span[1])
    if least >= most:
        return near
    count = int((most - least) / COARSE_SECONDS) + 1
    best = max((told(at), at) for at in (least + i * COARSE_SECONDS for i in range(count)))
    near_by = (best[1] - SHIFT_SECONDS, best[1] + SHIFT_SECONDS)
    return max([best, *((told(at), at) for at in near_by if least <= at < most)])[1]


def _ramp(t: float, lag: float) -> float:
    """What a lagging scale shows of a gram each second that began to flow ``t`` ago."""
    if t <= 0:
        return 0.0
    return t - lag * (1 - math.exp(-t / lag)) if lag else t
