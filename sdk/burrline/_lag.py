"""How far a scale lags behind, learned from its own steps.

Cups put down and taken away are steps, and after each a lagging scale closes in as
``exp(-t / lag)``. The right lag is the one under which the seconds around a step fall into the
fewest and best pieces (``_pieces.cut``). The last estimates are kept; their middle, weighted by
how sharply each was told, is the lag.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from itertools import pairwise

from burrline._cells import CELL_SECONDS, Cell
from burrline._pieces import cut

LAGS = (0.0, *(0.08 * 1.1**i for i in range(27)))  # to 0.95 s
BEND_NOISES = 8.0
BEFORE_SECONDS, AFTER_SECONDS = 0.6, 2.6
MOST_STEPS = 9
LEAST_WEIGHT, MOST_WEIGHT = 0.4, 100.0
NO_LAG_COST, CLEAR_COST = 8.0, 30.0
NO_LAG_WEIGHT = 4.0
STEP_GRAMS = 2.5
SHARP_WEIGHT = 8.0


class Lag:
    """The lag as known so far, in seconds."""

    def __init__(self) -> None:
        self.seconds = 0.0
        self._told: deque[tuple[float, float]] = deque(maxlen=MOST_STEPS)  # lag, weight

    def learn(self, cells: Sequence[Cell], noise: float) -> float:
        """Look at the steps of an episode; the lag to take for this one."""
        sharpest = (0.0, SHARP_WEIGHT)
        for first, last in _steps(cells, noise):
            told = _best(cells[first:last], noise, self.seconds)
            if told[1] >= LEAST_WEIGHT:
                self._told.append(told)
            if told[1] > sharpest[1]:
                sharpest = told
        ranked, so_far = sorted(self._told), 0.0
        half = sum(weight for _, weight in ranked) / 2
        for lag, weight in ranked:
            so_far += weight
            if so_far >= half:
                self.seconds = lag
                break
        own = sharpest[0]
        return own if abs(own - self.seconds) < 0.1 * self.seconds else self.seconds


def _steps(cells: Sequence[Cell], noise: float) -> list[tuple[int, int]]:
    """The surroundings of the two sharpest bends of an episode, as places in its cells."""
    slopes = [cell.ws / cell.w for cell in cells]
    bends = [abs(b - a) for a, b in pairwise(slopes)]
    found: list[tuple[int, int]] = []
    for place in sorted(range(len(bends)), key=lambda i: -bends[i])[:16]:
        if bends[place] * CELL_SECONDS < BEND_NOISES * noise or len(found) == 2:
            break
        start = cells[place].start
        first = next(i for i, c in enumerate(cells) if c.end > start - BEFORE_SECONDS)
        last = next((i for i, c in enumerate(cells) if c.start > start + AFTER_SECONDS), len(cells))
        if last - first >= 8 and all(last <= a or first >= b for a, b in found):
            found.append((first, last))
    return sorted(found)


def _best(part: Sequence[Cell], noise: float, known: float) -> tuple[float, float]:
    """The lag that one step tells, and its weight: by how much others are worse."""
    size = max(abs(cell.ws) for cell in part)
    floor = (0.3 * noise) ** 2 + (0.0001 * size) ** 2

    def cost(lag: float) -> float:
        return cut(part, lag, floor, is_even=True)[1]

    costs = {lag: cost(lag) for lag in {*LAGS, known}}
    best = min(costs, key=costs.__getitem__)
    if costs[0.0] < costs[best] + NO_LAG_COST:
        # nothing closes in after a step that is large enough to show it
        return 0.0, NO_LAG_WEIGHT if size > max(STEP_GRAMS, 60 * noise) else 0.0
    for factor in (1.05, 1.025, 1.012, 1.006, 1.003):
        for lag in (best / factor, best * factor):
            costs[lag] = cost(lag)
        best = min(costs, key=costs.__getitem__)
    alike = sorted(lag for lag in costs if costs[lag] < costs[best] + 1.0)
    best = alike[len(alike) // 2]
    others = [cost(best * factor) for factor in (0.93, 1.07)]
    weight = min(min(others), costs[0.0]) - costs[best]
    if size <= STEP_GRAMS:
        return best, min(weight, NO_LAG_WEIGHT)
    if costs[0.0] - costs[best] > CLEAR_COST:
        weight = max(weight, 1.0)
    return best, min(weight, MOST_WEIGHT)
