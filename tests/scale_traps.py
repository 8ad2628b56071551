"""Small scenes of a scale, by hand: weight by line segments, read ten times a second."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import pairwise

from burrline.scale import DetectedRun, RunDetector

Sample = tuple[float, float]
RATE_HERTZ = 10


def drawn(
    points: Sequence[Sample], lag_seconds: float = 0.0, step_grams: float = 0.1
) -> list[Sample]:
    """What a scale with a lag shows of a weight that goes straight from point to point."""
    found, state = [], points[0][1]
    keep = math.exp(-1 / (100 * lag_seconds)) if lag_seconds else 0.0
    for tick in range(round(points[-1][0] * 100)):
        t = tick / 100
        a, b = next((a, b) for a, b in pairwise(points) if a[0] <= t < b[0] or b is points[-1])
        weight = a[1] + (b[1] - a[1]) * (t - a[0]) / (b[0] - a[0])
        state = keep * state + (1 - keep) * weight
        if tick % (100 // RATE_HERTZ) == 0:
            found.append((t, round(state / step_grams) * step_grams))
    return found


def runs_of(samples: Iterable[Sample]) -> list[DetectedRun]:
    detector = RunDetector()
    found = [run for t, grams in samples for run in detector.push(t, grams)]
    return found + detector.finish()
