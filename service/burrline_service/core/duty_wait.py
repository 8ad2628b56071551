"""What the plate's duty rating allows from now on: how long a run, and when one of any length.

Every second of motor-on counts as loading, and the history given is taken as complete: ask once
with what is known to have run, and once with all that may have, to get both bounds.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from .answers import Allowance
from .duty import rating_limit
from .interval_arrays import Floats, arrays_until_now
from .intervals import TOLERANCE_SECONDS, wait_seconds
from .records import RatedDuty
from .thermal import Thermal, trajectory_celsius
from .thermal_limits import cooling_seconds

COLD_KELVIN = 2.0
"""A short-time rated machine is cold again within 2 K of the coolant (IEC 60034-1, 4.2.2)."""
COLD_REST_SECONDS = 8 * 3600.0
"""After so long a rest a motor whose cooling nobody measured is taken for cold (our choice, no
source): within 2 K from 150 K above the room, with a cooling time constant up to 1 h 51 min."""
WARMEST_ROOM_CELSIUS = 40.0
"""Coolant at most so warm (IEC 60034-1, 6.4, from memory): a motor warmer than that is not cold."""


def longest_run_seconds(
    starts_seconds: ArrayLike,
    ends_seconds: ArrayLike,
    now_seconds: float,
    limit_on_seconds: float,
    cycle_seconds: float,
) -> float:
    """Find how long a run that starts now keeps every trailing on-time within its limit.

    ``max t: length(U in [now + t - W, now)) + min(t, W) <= limit``

    Parameters
    ----------
    starts_seconds, ends_seconds : array_like, shape (n,)
        Past runs in s; what lies after now is cut off.
    now_seconds : float
        The present instant in s.
    limit_on_seconds, cycle_seconds : float
        Allowed on-time within one cycle, >= 0, and the cycle W, > 0, in s.

    Returns
    -------
    float
        Seconds, at most the limit; inf when the limit is the whole cycle, 0 when none is left.

    Raises
    ------
    ValueError
        A number is negative, zero or not finite where it cannot be, or malformed intervals.

    Valid
    -----
    Exact for times kept to the millisecond. Old runs leave the window while the new one lasts,
    so it may be longer than what is left of the limit now.

    Source
    ------
    Derived here from the rolling form of the S3 rating (IEC 60034-1), see the brute-force test.

    Examples
    --------
    >>> longest_run_seconds([0.0, 500.0], [100.0, 540.0], 590.0, 150.0, 600.0)
    110.0
    """
    if not 0 < cycle_seconds < math.inf:
        raise ValueError(f"cycle_seconds must be positive and finite, not {cycle_seconds}")
    if not 0 <= limit_on_seconds < math.inf:
        raise ValueError(f"limit_on_seconds must be finite, at least 0, not {limit_on_seconds}")
    starts, ends = arrays_until_now(starts_seconds, ends_seconds, now_seconds)
    if limit_on_seconds >= cycle_seconds - TOLERANCE_SECONDS:
        return math.inf
    is_recent = ends > -cycle_seconds
    starts, ends = starts[is_recent], ends[is_recent]
    knots = np.column_stack((starts, ends)).ravel() + cycle_seconds
    lengths = np.unique(np.concatenate(([0.0], knots[knots > 0])))
    lengths = lengths[lengths <= limit_on_seconds + TOLERANCE_SECONDS]
    # Runs end at or before 0, so the part of each in [t - W, 0) is what lies after t - W.
    left = np.maximum(ends - np.maximum(starts, lengths[:, None] - cycle_seconds), 0.0).sum(axis=1)
    on = left + lengths
    within = np.flatnonzero(on <= limit_on_seconds + TOLERANCE_SECONDS)
    if within.size == 0:
        return 0.0
    last = int(within[-1])
    return float(lengths[last] + max(limit_on_seconds - on[last], 0.0))


def allow_by_duty(
    starts_seconds: ArrayLike,
    ends_seconds: ArrayLike,
    *,
    now_seconds: float,
    run_seconds: float,
    rated: RatedDuty | None,
    thermal: Thermal | None = None,
    celsius: float | None = None,
) -> Allowance:
    """Say what the plate's duty rating allows for a run of a given length.

    ``S1: ready;  S3: rolling on-time <= t_on;  S2: on-time since cold <= t_on,
    else rest until within 2 K of ambient``

    Parameters
    ----------
    starts_seconds, ends_seconds : array_like, shape (n,)
        Past runs in s of any one clock, in any order; what lies after now is cut off.
    now_seconds : float
        The present instant in s.
    run_seconds : float
        Length of the run asked for in s, >= 0.
    rated : RatedDuty or None
        The plate's rating; None = unrated.
    thermal : Thermal, optional
        The motor's constants, for the rest of a short-time rating that names no cycle.
    celsius : float, optional
        Temperature it has at least now (the low bound of its interval): a motor that is warmer
        than its runs explain is no cold one.

    Returns
    -------
    answers.Allowance
        ``unknown`` without a rating and with one without numbers; also for a short-time rating
        without cycle where no thermal constants are given and the rated run was spent since the
        last rest of 8 h: its ``wait_seconds`` is then the rest until it is taken for cold.

    Raises
    ------
    ValueError
        A number is negative or not finite where it cannot be, or malformed intervals.

    Valid
    -----
    For a short-time rating without cycle the runs must reach back to a cold motor (some cooling
    time constants, 24 h where none are given). Several runs with rests between heat less than
    one run of their sum, so together they may last what the plate allows one run from cold.

    Source
    ------
    IEC 60034-1, duty types S1, S2, S3; waits derived here, see the tests.

    Examples
    --------
    >>> allow_by_duty([0.0, 100.0], [60.0, 160.0], now_seconds=160.0, run_seconds=60.0,
    ...     rated=RatedDuty("intermittent", duty_fraction=0.25))
    Allowance(state='wait', wait_seconds=410.0, longest_run_seconds=30.0)
    """
    if not 0 <= run_seconds < math.inf:
        raise ValueError(f"run_seconds must be finite and at least 0, not {run_seconds}")
    starts, ends = arrays_until_now(starts_seconds, ends_seconds, now_seconds)
    if rated is None:
        return Allowance("unknown", None, None)
    limit, cycle = rating_limit(rated)
    if rated.kind == "continuous":
        return Allowance("ready", 0.0, math.inf)
    if limit is None:
        return Allowance("unknown", None, None)
    if rated.kind == "short_time" and rated.cycle_seconds is None:
        return _allow_short_time(starts, ends, run_seconds, limit, thermal, celsius)
    wait = wait_seconds(starts.tolist(), ends.tolist(), 0.0, run_seconds, limit, cycle)
    longest = longest_run_seconds(starts, ends, 0.0, limit, cycle)
    return allowance_of(wait, longest)


def allowance_of(wait_seconds: float, longest_run_seconds: float | None) -> Allowance:
    """Put a wait and the longest run now into words.

    ``wait = 0: ready;  wait = inf: never;  else wait``

    Parameters
    ----------
    wait_seconds : float
        Wait in s, >= 0, inf = no wait suffices.
    longest_run_seconds : float or None
        Longest run that starts now in s, inf = any length, None = not known.

    Returns
    -------
    answers.Allowance
        Its ``wait_seconds`` is None for ``never``.

    Raises
    ------
    ValueError
        The wait is negative or NaN.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> allowance_of(math.inf, 60.0)
    Allowance(state='never', wait_seconds=None, longest_run_seconds=60.0)
    """
    if not wait_seconds >= 0:
        raise ValueError(f"wait_seconds must be at least 0, not {wait_seconds}")
    if wait_seconds == math.inf:
        return Allowance("never", None, longest_run_seconds)
    return Allowance("wait" if wait_seconds else "ready", wait_seconds, longest_run_seconds)


def _allow_short_time(
    starts: Floats,
    ends: Floats,
    run: float,
    rated_on: float,
    thermal: Thermal | None,
    celsius: float | None,
) -> Allowance:
    """One rated run from cold, in one piece or several, then rest until cold; now is 0."""
    if thermal is None:
        if run > rated_on + TOLERANCE_SECONDS:
            return allowance_of(math.inf, None)
        if celsius is not None and celsius > WARMEST_ROOM_CELSIUS:
            return Allowance("unknown", None, None)
        return _allow_since_long_rest(starts, ends, run, rated_on)
    cold_celsius = thermal.ambient_celsius + COLD_KELVIN
    traced = trajectory_celsius(starts, ends, np.append(starts, 0.0), thermal)
    now_celsius = float(traced[-1]) if celsius is None else max(float(traced[-1]), celsius)
    spent = 0.0
    if traced[-1] > cold_celsius:
        last_cold = int(np.flatnonzero(traced[:-1] <= cold_celsius)[-1])
        spent = float((ends - starts)[last_cold:].sum())
    elif now_celsius > cold_celsius:  # warmer than the runs explain: nothing is left
        spent = rated_on
    left = max(rated_on - spent, 0.0)
    if run > rated_on + TOLERANCE_SECONDS:
        return allowance_of(math.inf, left)
    is_within = spent + run <= rated_on + TOLERANCE_SECONDS
    return allowance_of(
        0.0 if is_within else cooling_seconds(now_celsius, cold_celsius, thermal), left
    )


def _allow_since_long_rest(starts: Floats, ends: Floats, run: float, rated_on: float) -> Allowance:
    """The same where nobody knows how it cools: cold is what rested for 8 h; now is 0."""
    rests = np.append(starts, 0.0) - np.append(-math.inf, ends)
    last = int(np.flatnonzero(rests >= COLD_REST_SECONDS - TOLERANCE_SECONDS)[-1])
    spent = float((ends - starts)[last:].sum())
    left = max(rated_on - spent, 0.0)
    if run <= left + TOLERANCE_SECONDS:
        return allowance_of(0.0, left)
    return Allowance("unknown", COLD_REST_SECONDS + float(ends[-1]), left)
