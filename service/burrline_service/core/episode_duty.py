"""Episodes in which the motor ran longer within a cycle than its plate allows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from .episode_facts import (
    DatedLimits,
    Episode,
    Stretch,
    judged_rating_ms,
    spans_in_force,
)
from .episode_folds import Milliseconds, held_since, motor_on


class _Peak(NamedTuple):
    """The on-time furthest over its limit, all in ms."""

    on_ms: int
    limit_ms: int
    cycle_ms: int

    def or_worse(self, other: _Peak | None) -> _Peak:
        if other is None or self.on_ms * other.limit_ms > other.on_ms * self.limit_ms:
            return self
        return other


def duty_episodes(
    stretches: Sequence[Stretch], limits: Sequence[DatedLimits], *, until_ms: int
) -> tuple[Episode, ...]:
    """Fold motor-on stretches into the episodes in which a cycle's on-time was over its limit.

    ``on(t) = length(U in [t - T, t));  opens: on > limit;  closes: on <= r limit``,
    r = 0.9 unless set

    Parameters
    ----------
    stretches : sequence of Stretch
        Measured motor-on time, in any order; overlaps count once.
    limits : sequence of DatedLimits
        ``rated`` and ``release_fraction`` are read of each; see ``spans_in_force``.
    until_ms : int
        The instant of the answer, POSIX ms; later motor time does not exist yet.

    Returns
    -------
    tuple of Episode
        Ascending, severity ``caution``. Facts: ``peak_on_seconds`` with the ``rated_on_seconds``
        and ``cycle_seconds`` it was held to; with several ratings, those it was furthest over.

    Raises
    ------
    ValueError
        A malformed stretch, rating or sequence of limits.

    Valid
    -----
    Exact: the first whole millisecond at which the condition holds. A changed rating judges the
    same on-time from its instant on: an open episode closes there if it is released by the new
    numbers, and none is parted by a change that does not release it.

    Source
    ------
    IEC 60034-1, cyclic duration factor of duty type S3, in its rolling form; hysteresis defined
    here.

    Examples
    --------
    >>> from burrline_service.core.records import RatedDuty
    >>> plate = DatedLimits(0, rated=RatedDuty("intermittent", duty_fraction=0.25))
    >>> duty_episodes([Stretch(480_000, 720_000)], [plate], until_ms=3_600_000)
    (Episode(kind='duty_exceeded', severity='caution', opened_at_ms=630001,
    closed_at_ms=1185000, facts={'peak_on_seconds': 240.0, 'rated_on_seconds': 150.0,
    'cycle_seconds': 600.0}),)
    """
    starts, ends = motor_on(stretches, until_ms=until_ms)
    spans = spans_in_force(limits, until_ms=until_ms)
    if starts.size == 0:
        return ()
    episodes: list[Episode] = []
    opened_ms: int | None = None
    peak: _Peak | None = None
    for span in spans:
        first_ms = max(span.first_ms, int(starts[0]))
        if first_ms > span.last_ms:
            continue
        rating = judged_rating_ms(span.limits.rated)
        if rating is None:
            if opened_ms is not None and peak is not None:
                episodes.append(_episode(opened_ms, first_ms, peak))
            opened_ms = peak = None
            continue
        limit_ms, cycle_ms = rating
        release_ms = math.floor(span.limits.release_fraction * limit_ms)
        knots, on = _trailing_on(starts, ends, cycle_ms, first_ms, span.last_ms)
        state = held_since(on > limit_ms, on <= release_ms, is_set_before=opened_ms is not None)
        flips = np.flatnonzero(np.diff(state, prepend=opened_ms is not None))
        pieces = np.append(flips, knots.size)
        if opened_ms is not None and pieces[0] > 0:
            here = _Peak(int(on[: pieces[0]].max()), limit_ms, cycle_ms)
            peak = here.or_worse(peak)
        for flip, next_flip in zip(flips, pieces[1:], strict=True):
            # between knots the on-time moves by one ms per ms, so the crossing is exact
            if state[flip]:
                back_ms = int(on[flip]) - limit_ms - 1 if flip > 0 else 0
                opened_ms = int(knots[flip]) - back_ms
                peak = _Peak(int(on[flip:next_flip].max()), limit_ms, cycle_ms)
            elif opened_ms is not None and peak is not None:
                back_ms = release_ms - int(on[flip]) if flip > 0 else 0
                episodes.append(_episode(opened_ms, int(knots[flip]) - back_ms, peak))
                opened_ms = peak = None
    if opened_ms is not None and peak is not None:
        episodes.append(_episode(opened_ms, None, peak))
    return tuple(episodes)


def _trailing_on(
    starts: Milliseconds, ends: Milliseconds, cycle_ms: int, first_ms: int, last_ms: int
) -> tuple[Milliseconds, Milliseconds]:
    """Where the trailing on-time bends within [first, last], both included, and its values."""
    low = int(np.searchsorted(ends, first_ms - cycle_ms, side="right"))
    high = int(np.searchsorted(starts, last_ms, side="left"))
    starts, ends = starts[low:high], ends[low:high]
    bends = np.concatenate((starts, ends, starts + cycle_ms, ends + cycle_ms))
    bends = bends[(bends > first_ms) & (bends < last_ms)]
    knots = np.unique(np.append(bends, [first_ms, last_ms]))
    before = np.append(0, np.cumsum(ends - starts))

    def on_until(instants: Milliseconds) -> Milliseconds:
        index = np.searchsorted(starts, instants, side="right") - 1
        if starts.size == 0:
            return np.zeros_like(instants)
        inside = np.minimum(instants, ends[index]) - starts[index]
        return np.where(index >= 0, before[index] + inside, 0)

    return knots, on_until(knots) - on_until(knots - cycle_ms)


def _episode(opened_ms: int, closed_ms: int | None, peak: _Peak) -> Episode:
    return Episode(
        kind="duty_exceeded",
        severity="caution",
        opened_at_ms=opened_ms,
        closed_at_ms=closed_ms,
        facts={
            "peak_on_seconds": peak.on_ms / 1000,
            "rated_on_seconds": peak.limit_ms / 1000,
            "cycle_seconds": peak.cycle_ms / 1000,
        },
    )
