"""When a display changed while the weight moved, by what was read and how often it changes.

A value first read at ``t`` was made after the reading before it, for that one showed an older
value, and at most one period before ``t``; and it was made a whole number of periods after the
value before it. Each reading narrows what the others leave, forward and back again.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

SLACK_SECONDS = 0.002
"""How far off the instant of a reading may be."""


def tracked(
    ts: Sequence[float], ys: Sequence[float], least: float, most: float
) -> tuple[list[int], list[float]]:
    """The readings that told something new, by place, and the middle of when each was made."""
    places, lows, highs, counts = [0], [ts[0] - most], [ts[0]], [0]
    for i in range(1, len(ts)):
        t, is_same = ts[i], ys[i] == ys[places[-1]]
        if is_same and t - ts[places[-1]] < (least + most) / 2:
            continue
        since = t - most if is_same else max(ts[i - 1], t - most)
        low, high, count = _narrowed(
            (lows[-1], highs[-1]), (since - SLACK_SECONDS, t + SLACK_SECONDS), least, most
        )
        places.append(i)
        lows.append(low)
        highs.append(high)
        counts.append(count)
    for i in range(len(places) - 2, -1, -1):
        if not counts[i + 1]:
            continue
        low = max(lows[i], lows[i + 1] - counts[i + 1] * most)
        high = min(highs[i], highs[i + 1] - counts[i + 1] * least)
        if low <= high:
            lows[i], highs[i] = low, high
    return places, [(low + high) / 2 for low, high in zip(lows, highs, strict=True)]


def _narrowed(
    old: tuple[float, float], seen: tuple[float, float], least: float, most: float
) -> tuple[float, float, int]:
    """Where the instants seen meet those whole periods later; count 0 where they do not."""
    best = (0.0, *seen, 0)
    first = max(1, math.ceil((seen[0] - old[1]) / most - 1e-9))
    for count in range(first, math.floor((seen[1] - old[0]) / least + 1e-9) + 1):
        low, high = max(seen[0], old[0] + count * least), min(seen[1], old[1] + count * most)
        if high >= low and (not best[3] or high - low > best[0]):
            best = (high - low, low, high, count)
        if count > first + 2:
            break
    return best[1:]
