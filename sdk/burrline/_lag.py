"""How far a scale lags behind, learned from its own steps.

Cups put down and taken away are steps. Once the cup has landed, a lagging scale closes in on the
new weight as ``a + c exp(-t / lag)``, until something else happens. For each step the longest
stretch is taken over which one such curve fits as well as the noise lets it, and the lag of least
squares over it is one estimate, weighted by how much worse a lag a tenth off would be. The middle
of the last estimates by weight is the lag.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence

from burrline._plateaus import cost_of_rests

LAGS = tuple(0.08 * 1.08**i for i in range(34))  # to 1.01 s
LANDED_SECONDS = 0.35
LONGEST_SECONDS = 2.6
REST_SECONDS, LONG_REST_SECONDS = 0.6, 1.5
MOST_STEPS = 9
LEAST_NOISES = 18.0
LEAST_STEP_GRAMS, SMALL_STEP_GRAMS = 1.5, 0.6
LEAST_STEEP = 5.0  # g/s
LEAST_WEIGHT, MOST_WEIGHT = 2.0, 400.0
MOST_REST_WEIGHT, KNOWN_WEIGHT = 10.0, 30.0
UNRESTED, SEEN_WEIGHT = 0.1, 12.0
ROUGH_FRACTION, ROUGH_WEIGHT, LEAST_ROUGH_WEIGHT = 0.03, 3.0, 0.15
"""Of a step, that the readings of a display of its own pace may lie off the curve."""
MOST_CLEAR_GRAMS, LEAST_SLOW, LONGEST_STEP_SECONDS = 200.0, 2, 1.3
MOST_REST_COST = 2.4
OWN_SHARE = 0.03
FIT_COST = 2.5
"""Squares per reading, over the noise's, that still count as a fit."""


class Lag:
    """The lag as known so far, in seconds."""

    def __init__(self) -> None:
        self.seconds = 0.0
        self._told: list[tuple[float, float]] = []  # lag, weight
        self._lasted: list[tuple[float, float, bool]] = []  # seconds, grams, at once

    @property
    def is_known(self) -> bool:
        """Whether any step told it yet."""
        return bool(self._told)

    @property
    def step_seconds(self) -> float:
        """How long a step lasts on a scale that shows no lag: it may well be a moving average.

        Large ones count more, as what hands add hides in them. Tares are steps within one reading:
        where two others were seen, these count alone.
        """
        slow = [one for one in self._lasted if not one[2]]
        ranked = sorted(slow if len(slow) >= LEAST_SLOW else self._lasted)
        half, so_far = sum(one[1] for one in ranked) / 2, 0.0
        for seconds, grams, _ in ranked:
            so_far += grams
            if so_far >= half:
                return seconds
        return 0.0

    def learn(
        self,
        ts: Sequence[float],
        ys: Sequence[float],
        noise: float,
        lags: Sequence[float] = (),
        *,
        keeps: bool = True,
    ) -> float:
        """Look at the steps of an episode, and ``lags`` seen in it; the lag to take for it."""
        sharpest = (0.0, 0.0)
        every = self._told[:]
        is_known = sum(weight for _, weight in every) >= LEAST_WEIGHT
        if not is_known:
            every += [(lag, SEEN_WEIGHT) for lag in lags]
        for place in steps(ts, ys, noise, LEAST_STEP_GRAMS if is_known else SMALL_STEP_GRAMS):
            told = _told_by(ts, ys, place, noise)
            if told is None and sum(weight for _, weight in every) < KNOWN_WEIGHT:
                told = _told_by_rests(ts, ys, place, noise)
                if told is None and sum(weight for _, weight in every) < ROUGH_WEIGHT:
                    told = _told_by(ts, ys, place, noise, ROUGH_FRACTION)
                    told = None if told is None else (told[0], min(told[1], ROUGH_WEIGHT))
            if told is not None:
                lasted = _lasts(ts, ys, place)
                if keeps and not told[0] and lasted[0] < LONGEST_STEP_SECONDS:
                    self._lasted = [*self._lasted[1 - MOST_STEPS :], lasted]
                if not rests_before(ts, ys, place, noise):
                    told = (told[0], UNRESTED * told[1])
                every.append(told)
                if told[1] > sharpest[1]:
                    sharpest = told
        every = every[-MOST_STEPS:]
        ranked, so_far, middle = sorted(every), 0.0, self.seconds
        half = sum(weight for _, weight in ranked) / 2
        for lag, weight in ranked:
            so_far += weight
            if so_far >= half:
                middle = lag
                break
        if keeps:
            self._told, self.seconds = every, middle
        own, weight = sharpest
        # what hardly tells a lag is no better than what all steps before told
        is_clear = weight >= OWN_SHARE * 2 * half
        return own if is_clear and abs(own - middle) < 0.06 * middle else middle


def rests_before(
    ts: Sequence[float],
    ys: Sequence[float],
    place: int,
    noise: float,
    since_seconds: float = REST_SECONDS,
    until_seconds: float = 0.0,
) -> bool:
    """Whether the weight stood still before a reading, as before a cup and not within a press."""
    near = ys[
        bisect_left(ts, ts[place] - since_seconds) : bisect_left(ts, ts[place] - until_seconds)
    ]
    return len(near) > 1 and max(near) - min(near) < 8 * noise


def _lasts(ts: Sequence[float], ys: Sequence[float], place: int) -> tuple[float, float, bool]:
    """How long a step may have taken: its middle eight tenths between readings, and its ends.

    Also its grams, as far as they count, and whether it was over from one reading to the next.
    """
    last = min(bisect_left(ts, ts[place] + 1.2, place), len(ts) - 1)
    first = bisect_left(ts, ts[place] - 0.3)
    change = ys[last] - ys[first]
    if not change:
        return 0.0, 0.0, True
    shares = [(ys[i] - ys[first]) / change for i in range(first, last + 1)]
    begun = next((i for i, share in enumerate(shares) if share > 0.1), 0)
    ended = next((i for i in range(len(shares) - 1, -1, -1) if abs(shares[i] - 1) > 0.1), begun)
    seconds = 1.25 * (ts[min(first + ended + 1, last)] - ts[max(first + begun - 1, first)])
    return seconds, min(abs(change), MOST_CLEAR_GRAMS), ended < begun


def steps(ts: Sequence[float], ys: Sequence[float], noise: float, least_grams: float) -> list[int]:
    """The readings at which the largest steps of an episode begin, four at the most.

    Where it rested before none of them, as on a table that shakes, one more that it rested before.
    """
    found: list[int] = []
    least = max(least_grams, LEAST_NOISES * noise)
    changes: list[tuple[float, int]] = []
    for i in range(1, len(ts)):
        j = bisect_left(ts, ts[i - 1] + 0.3, i)
        change = abs(ys[min(j, len(ys) - 1)] - ys[i - 1])
        if change >= least:
            changes.append((change, i - 1))
    changes.sort(reverse=True)
    for _, place in changes:
        if len(found) == 4:
            break
        if all(abs(ts[place] - ts[other]) > 1.2 for other in found):
            found.append(place)
    if len(found) == 4 and not any(rests_before(ts, ys, place, noise) for place in found):
        least = 0.5 * min(change for change, place in changes if place in found)
        near = [p for change, p in changes if change > least]
        apart = [p for p in near if all(abs(ts[p] - ts[other]) > 1.2 for other in found)]
        found += [p for p in apart if rests_before(ts, ys, p, noise, LONG_REST_SECONDS)][:1]
    return sorted(found)


def _told_by(
    ts: Sequence[float], ys: Sequence[float], place: int, noise: float, fraction: float = 0.0001
) -> tuple[float, float] | None:
    # the steepest reading is the middle of the step
    last = bisect_left(ts, ts[place] + 0.45, place)
    steep = max(
        range(place + 1, min(last + 1, len(ts))), key=lambda i: abs(ys[i] - ys[i - 1]), default=0
    )
    if not steep:
        return None
    steepest = abs(ys[steep] - ys[steep - 1]) / (ts[steep] - ts[steep - 1])
    change = ys[min(last, len(ys) - 1)] - ys[place]
    first = bisect_left(ts, ts[steep - 1] + LANDED_SECONDS, steep)
    best: tuple[float, float] | None = None
    for seconds in (0.9, 1.2, 1.6, 2.1, LONGEST_SECONDS):
        end = bisect_left(ts, ts[steep] + seconds, steep)
        if end - first < 5:
            continue
        costs = {lag: _squares(ts, ys, first, end, lag)[0] for lag in LAGS}
        lag = min(costs, key=costs.__getitem__)
        for factor in (1.04, 1.02, 1.01, 1.005, 1.0025, 1.00125):
            for other in (lag / factor, lag * factor):
                costs[other] = _squares(ts, ys, first, end, other)[0]
            lag = min(costs, key=costs.__getitem__)
        freedom = end - first - 3
        floor = noise * noise + (fraction * change) ** 2
        if costs[lag] > FIT_COST * floor * (freedom + 3):
            break
        shown = _squares(ts, ys, first, end, lag)[1]
        if abs(shown) < 4 * noise:
            # nothing closes in: no lag, if the step is large enough to show one
            is_clear = abs(change) > 60 * noise and abs(ys[end - 1] - ys[first]) < 6 * noise
            best = (0.0, 20.0) if is_clear and steepest > LEAST_STEEP else None
            continue
        if shown * change > 0 or steepest < max(1.3 * abs(shown) / lag, LEAST_STEEP):
            continue  # a flow, or something else that does not close in
        worse = min(_squares(ts, ys, first, end, lag * factor)[0] for factor in (0.9, 1.1))
        weight = min((worse - costs[lag]) / floor, MOST_WEIGHT) * (seconds / LONGEST_SECONDS) ** 2
        least = LEAST_WEIGHT if fraction < ROUGH_FRACTION else LEAST_ROUGH_WEIGHT
        if weight >= least and LAGS[0] < lag < LAGS[-1]:
            best = (lag, weight)
    return best


def _told_by_rests(
    ts: Sequence[float], ys: Sequence[float], place: int, noise: float
) -> tuple[float, float] | None:
    """Where no curve fits for long: the lag under which most readings near a step rest."""
    first = bisect_left(ts, ts[place] - 0.8)
    last = bisect_left(ts, ts[place] + 3.0)
    near_ts, near_ys = ts[first:last], ys[first:last]
    if len(near_ts) < 8:
        return None
    floor = math.hypot(noise, 0.0002 * (max(near_ys) - min(near_ys)))
    costs = {lag: cost_of_rests(near_ts, near_ys, lag, floor) for lag in (0.0, *LAGS[::3])}
    best = min(costs, key=costs.__getitem__)
    if best == 0.0:
        others = min(cost for lag, cost in costs.items() if lag > 0.15)
        return (0.0, min(others - costs[best], MOST_REST_WEIGHT)) if others > 6 + costs[0] else None
    if costs[best] > MOST_REST_COST * len(near_ts):
        return None
    for factor in (1.12, 1.06, 1.03, 1.015, 1.008, 1.004):
        for lag in (best / factor, best * factor):
            costs[lag] = cost_of_rests(near_ts, near_ys, lag, floor)
        best = min(costs, key=costs.__getitem__)
    worse = min(cost_of_rests(near_ts, near_ys, best * factor, floor) for factor in (0.9, 1.1))
    weight = min(worse - costs[best], costs[0.0] - costs[best], MOST_REST_WEIGHT)
    return (best, weight) if weight >= LEAST_WEIGHT and best < LAGS[-1] else None


def _squares(
    ts: Sequence[float], ys: Sequence[float], first: int, end: int, lag: float
) -> tuple[float, float]:
    """The squares left by ``a + c exp(-t / lag)``, and c."""
    n, sy, se, see, sey, syy = end - first, 0.0, 0.0, 0.0, 0.0, 0.0
    zero, level = ts[first], ys[end - 1]
    for i in range(first, end):
        e, y = math.exp((zero - ts[i]) / lag), ys[i] - level
        sy, se, see, sey, syy = sy + y, se + e, see + e * e, sey + e * y, syy + y * y
    free = see - se * se / n
    off = syy - sy * sy / n
    if free <= 1e-12:
        return off, 0.0
    left = sey - se * sy / n
    return max(0.0, off - left * left / free), left / free
