"""Motor duty: what the plate's rating makes of the on-time of the trailing cycle.

Every second of motor-on counts as loading, an empty hopper included: that is the cautious
reading of IEC 60034-1. The arithmetic of intervals is in ``intervals``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Literal

from .answers import Duty
from .intervals import (
    TOLERANCE_SECONDS,
    on_time_seconds,
    rolling_maximum_on_seconds,
    union_of_intervals,
    until_now,
    wait_seconds,
)
from .records import RatedDuty

__all__ = [
    "duty_bounds",
    "judge_duty",
    "on_time_seconds",
    "rating_limit",
    "rolling_maximum_on_seconds",
    "union_of_intervals",
    "wait_seconds",
]

DEFAULT_CYCLE_SECONDS = 600.0
"""Cycle of an intermittent rating that names none: 10 min (IEC 60034-1, duty type S3)."""
NEAR_FRACTION = 0.8
"""Share of the rated on-time from which a grinder is called ``near`` (our choice, no source)."""
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def duty_bounds(
    on_seconds: float, covered_seconds: float, cycle_seconds: float
) -> tuple[float, float, float]:
    """Bound the duty fraction of a window whose history is only partly known.

    ``low = on / T;  high = (on + T - covered) / T;  coverage = covered / T``

    Parameters
    ----------
    on_seconds : float
        Known on-time within the covered part, in s.
    covered_seconds : float
        Length of the part of the window whose history is known, in s.
    cycle_seconds : float
        Window length T in s, > 0.

    Returns
    -------
    tuple of float
        Low and high duty fraction and the coverage fraction, each 0 to 1.

    Raises
    ------
    ValueError
        Not 0 <= on <= covered <= T (beyond half a millisecond), or T not positive and finite.

    Valid
    -----
    Unknown time counts as off in the low bound and as on in the high one.

    Source
    ------
    IEC 60034-1, cyclic duration factor = loading / cycle; bounds derived here.

    Examples
    --------
    >>> duty_bounds(90.0, 180.0, 600.0)
    (0.15, 0.85, 0.3)
    """
    _check_positive("cycle_seconds", cycle_seconds)
    slack = TOLERANCE_SECONDS
    if not (-slack <= on_seconds <= covered_seconds + slack <= cycle_seconds + 2 * slack):
        raise ValueError(
            f"need 0 <= on <= covered <= cycle, "
            f"not {on_seconds}, {covered_seconds}, {cycle_seconds} s"
        )
    covered = min(max(covered_seconds, 0.0), cycle_seconds)
    on = min(max(on_seconds, 0.0), covered)
    return (
        on / cycle_seconds,
        (on + cycle_seconds - covered) / cycle_seconds,
        covered / cycle_seconds,
    )


def rating_limit(rated: RatedDuty) -> tuple[float | None, float]:
    """Read the allowed on-time and the window it holds for out of a plate's duty rating.

    ``S1: limit = T;  S3: limit = t_on, else CDF * T;  S2: limit = t_on in max(600, 2 t_on)``

    Parameters
    ----------
    rated : RatedDuty
        The rating; S3 without a cycle takes 600 s.

    Returns
    -------
    tuple
        Allowed on-time in s (None when the rating leaves it open) and the window in s.

    Raises
    ------
    ValueError
        A number of the rating is not positive and finite, or a duty fraction is above 1.

    Valid
    -----
    A short-time rating without a cycle names no rest: twice the rated run is our window, so
    "over" means that the rests in it were together shorter than one rated run.

    Source
    ------
    IEC 60034-1, duty types S1, S2, S3 and the 10 min cycle; S2 window: derived here.

    Examples
    --------
    >>> rating_limit(RatedDuty("intermittent", duty_fraction=0.25))
    (150.0, 600.0)
    """
    on, cycle, fraction = rated.on_seconds, rated.cycle_seconds, rated.duty_fraction
    for name, value in (("on_seconds", on), ("cycle_seconds", cycle), ("duty_fraction", fraction)):
        if value is not None:
            _check_positive(name, value)
    if fraction is not None and fraction > 1:
        raise ValueError(f"duty_fraction must be at most 1, not {fraction}")
    if rated.kind == "continuous":
        window = cycle or DEFAULT_CYCLE_SECONDS
        return window, window
    if rated.kind == "short_time":
        window = cycle or max(DEFAULT_CYCLE_SECONDS, 2 * (on or 0.0))
        return (None if on is None else min(on, window)), window
    window = cycle or DEFAULT_CYCLE_SECONDS
    limit = on if on is not None else None if fraction is None else fraction * window
    return (None if limit is None else min(limit, window)), window


def judge_duty(
    *,
    starts_seconds: Sequence[float],
    ends_seconds: Sequence[float],
    now_seconds: float,
    first_known_seconds: float | None,
    possible_on_seconds: float | None,
    rated: RatedDuty | None,
    covered_seconds: float | None = None,
) -> Duty:
    """Compare the on-time of the trailing cycle with the plate's rating.

    ``low = on / T;  high = (on + uncovered + possible) / T, at most 1``

    Parameters
    ----------
    starts_seconds, ends_seconds : sequence of float, n each
        Timed runs in POSIX s that touch the trailing window or older; cut off at now.
    now_seconds : float
        The instant judged, POSIX s.
    first_known_seconds : float or None
        Where known history begins (start of the first run), POSIX s; None = no run at all.
    possible_on_seconds : float or None
        Estimated motor time in s, within the window, of runs that have grams but no time: enters
        the high bound only. None = there are such runs and their time cannot be estimated.
    rated : RatedDuty or None
        The plate's rating; None = unrated, judged over 600 s.
    covered_seconds : float or None
        How much of the trailing window is known, in s; None = all from first_known_seconds on.

    Returns
    -------
    answers.Duty
        ``exceeded`` only when the low bound is over the limit; else ``near`` from 0.8 of it;
        else ``unknown`` when the high bound is over. ``ready_at``: when the known on-time is
        within the rating again; None when that cannot be said.

    Raises
    ------
    ValueError
        A number is not finite or negative where it cannot be, or the intervals are malformed.

    Valid
    -----
    Times exact to the millisecond. A continuous rating is never exceeded nor near.

    Source
    ------
    IEC 60034-1, duty types and cyclic duration factor; the rest after S2 (to within 2 K of the
    coolant) is no time on the plate, so ``ready_at`` stays None there unless a cycle is given.

    Examples
    --------
    >>> judge_duty(starts_seconds=[0.0], ends_seconds=[200.0], now_seconds=600.0,
    ...     first_known_seconds=0.0, possible_on_seconds=0.0,
    ...     rated=RatedDuty("intermittent", duty_fraction=0.25)).state
    'exceeded'
    """
    if possible_on_seconds is not None and not possible_on_seconds >= 0:
        raise ValueError(f"possible_on_seconds must not be negative, not {possible_on_seconds}")
    limit, cycle = (None, DEFAULT_CYCLE_SECONDS) if rated is None else rating_limit(rated)
    starts, ends = until_now(starts_seconds, ends_seconds, now_seconds)
    on = on_time_seconds(starts, ends, -cycle, 0.0)
    covered = 0.0 if first_known_seconds is None else now_seconds - first_known_seconds
    if covered_seconds is not None:
        covered = covered_seconds
    covered = min(max(covered, on), cycle)
    low, high, coverage = duty_bounds(on, covered, cycle)
    high = 1.0 if possible_on_seconds is None else min(1.0, high + possible_on_seconds / cycle)
    is_possibly_over = limit is not None and high * cycle > limit + TOLERANCE_SECONDS
    state: Literal["ok", "near", "exceeded", "unrated", "unknown"] = "ok"
    ready_seconds = 0.0
    if rated is None or limit is None:
        state, ready_seconds = "unrated", math.inf
    elif first_known_seconds is None:
        state, ready_seconds = "unknown", math.inf
    elif on > limit + TOLERANCE_SECONDS:
        is_rest_known = rated.kind != "short_time" or rated.cycle_seconds is not None
        wait = wait_seconds(starts, ends, 0.0, 0.0, limit, cycle)
        state, ready_seconds = "exceeded", wait if is_rest_known else math.inf
    elif rated.kind != "continuous" and on >= NEAR_FRACTION * limit - TOLERANCE_SECONDS:
        state, ready_seconds = "near", math.inf if is_possibly_over else 0.0
    elif is_possibly_over:
        state, ready_seconds = "unknown", math.inf
    return Duty(
        state=state,
        on_seconds=round(on, 3),
        cycle_seconds=cycle,
        rated_on_seconds=limit,
        low_fraction=round(low, 6),
        high_fraction=round(high, 6),
        coverage_fraction=round(coverage, 6),
        ready_at=_instant(now_seconds, ready_seconds),
    )


def _instant(now_seconds: float, later_seconds: float) -> datetime | None:
    """An instant some seconds after now, rounded up to the millisecond; None when never."""
    if math.isinf(later_seconds):
        return None
    return _EPOCH + timedelta(
        milliseconds=round(now_seconds * 1000) + math.ceil(round(later_seconds * 1000, 3))
    )


def _check_positive(name: str, value: float) -> None:
    if not 0 < value < math.inf:
        raise ValueError(f"{name} must be positive and finite, not {value}")
