"""What comes: when a limit is reached if the motor runs on, how long to rest before a run."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .thermal_forecast import FARTHEST_SECONDS
from .thermal_motor import Bounds
from .thermal_warm import NODES, WarmMotors, left_over_kelvin, weighted_quantiles

Floats = NDArray[np.float64]
Matrix = NDArray[np.float64]

_RUN_ON = np.concatenate([np.arange(0.0, 60.0, 3.0), 60.0 * np.geomspace(1.0, 360.0, 140)])
_RESTS = np.concatenate([np.arange(0.0, 60.0, 6.0), 60.0 * np.geomspace(1.0, 720.0, 110)])
_AFTER_SECONDS = (45.0, 120.0, 240.0)
"""A housing goes on warming for some minutes after the motor has stopped."""


def seconds_to_limit(motors: WarmMotors, limit_celsius: float) -> Bounds:
    """Say when the body measured reaches a limit if the motor runs on from now.

    ``min t: ambient + rise (1 - (1 - phi) exp(-t / tau_h) + share (..)) + d >= L``, per member

    Parameters
    ----------
    motors : WarmMotors
        The ensemble now (one instant).
    limit_celsius : float
        Limit L in degrees Celsius.

    Returns
    -------
    Bounds
        90 % interval in s; ``low`` is the careful one. 0 = reached already, inf = not within 6 h.

    Valid
    -----
    At the load of the past. Beyond ``valid_run_seconds`` of the fit nobody has seen the motor.

    Source
    ------
    Derived here; the simulation in the tests measures it.

    Examples
    --------
    >>> from .thermal_fit import fit_motor
    >>> from .thermal_forecast import motors_at
    >>> read = [30.85, 55.18, 95.95, 60.0, 127.83, 92.0]
    >>> on = [0.0, 600.0, 2400.0, 9000.0], [60.0, 900.0, 3300.0, 10800.0]
    >>> at = [60.0, 900.0, 3300.0, 5000.0, 10800.0, 11900.0]
    >>> now = motors_at(fit_motor(*on, at, read, body="winding"), *on, at, read, [11900.0])
    >>> seconds_to_limit(now, 80.0)
    Bounds(low=0.0, best=0.0, high=0.0)
    """
    warm = _celsius_over(motors, _RUN_ON, is_on=True)
    times = _first_seconds(warm - limit_celsius, _RUN_ON)
    return _bounds(times, motors)


def rest_before_run(motors: WarmMotors, run_seconds: float, limit_celsius: float) -> Bounds:
    """Say how long to rest before a run of given length that shall stay below a limit.

    ``min R: max over the run (and the minutes after it) of T < L``, per member

    Parameters
    ----------
    motors : WarmMotors
        The ensemble now (one instant), the motor at rest from now on.
    run_seconds : float
        Length of the run in s.
    limit_celsius : float
        Limit L in degrees Celsius.

    Returns
    -------
    Bounds
        90 % interval in s; ``high`` is the careful one. inf = not even after 12 h.

    Valid
    -----
    As ``seconds_to_limit``.

    Source
    ------
    Derived here; the simulation in the tests measures it.

    Examples
    --------
    >>> from .thermal_fit import fit_motor
    >>> from .thermal_forecast import motors_at
    >>> read = [30.85, 55.18, 95.95, 60.0, 127.83, 92.0]
    >>> on = [0.0, 600.0, 2400.0, 9000.0], [60.0, 900.0, 3300.0, 10800.0]
    >>> at = [60.0, 900.0, 3300.0, 5000.0, 10800.0, 11900.0]
    >>> now = motors_at(fit_motor(*on, at, read, body="winding"), *on, at, read, [11900.0])
    >>> rest_before_run(now, 10.0, 300.0)
    Bounds(low=0.0, best=0.0, high=0.0)
    """
    if bool((_worst_celsius(motors, run_seconds, _RESTS[:1]) <= limit_celsius).all()):
        return Bounds(0.0, 0.0, 0.0)  # at once, by all members
    worst = _worst_celsius(motors, run_seconds, _RESTS)
    return _bounds(_first_seconds(limit_celsius - worst, _RESTS), motors)


def reach_probability(
    motors: WarmMotors,
    on_starts_seconds: ArrayLike,
    on_ends_seconds: ArrayLike,
    horizon_seconds: float,
    limit_celsius: float,
) -> tuple[float, float]:
    """Say how probably a limit is reached within a horizon at a given usage, and when.

    ``P(max over [0, H] of T >= L)`` over all members

    Parameters
    ----------
    motors : WarmMotors
        The ensemble now (one instant).
    on_starts_seconds, on_ends_seconds : array_like, shape (m,)
        Motor-on stretches to come, in s from now, parted and ascending.
    horizon_seconds : float
        How far to look, in s.
    limit_celsius : float
        Limit L in degrees Celsius.

    Returns
    -------
    tuple of float and float
        The probability, and the median of the seconds until then among the members that reach
        it, inf where none does.

    Valid
    -----
    Looked at the borders of each stretch and every 30 s.

    Source
    ------
    Derived here; the simulation in the tests measures it.

    Examples
    --------
    >>> from .thermal_fit import fit_motor
    >>> from .thermal_forecast import motors_at
    >>> read = [30.85, 55.18, 95.95, 60.0, 127.83, 92.0]
    >>> on = [0.0, 600.0, 2400.0, 9000.0], [60.0, 900.0, 3300.0, 10800.0]
    >>> at = [60.0, 900.0, 3300.0, 5000.0, 10800.0, 11900.0]
    >>> now = motors_at(fit_motor(*on, at, read, body="winding"), *on, at, read, [11900.0])
    >>> reach_probability(now, [], [], 600.0, 300.0)
    (0.0, inf)
    """
    starts = np.asarray(on_starts_seconds, dtype=np.float64)
    ends = np.asarray(on_ends_seconds, dtype=np.float64)
    steps = np.arange(0.0, horizon_seconds + 15.0, 30.0)
    looks = np.unique(np.clip(np.concatenate([steps, starts, ends]), 0.0, horizon_seconds))
    run = np.searchsorted(starts, looks[:-1], side="right") - 1
    is_on = np.zeros(run.size, dtype=bool)
    if starts.size:
        is_on = (run >= 0) & (looks[:-1] < ends[np.maximum(run, 0)])
    state = (motors.slow_fraction, motors.fast_fraction)
    slow, fast = [state[0]], [state[1]]
    for lasting, on in zip(np.diff(looks).tolist(), is_on.tolist(), strict=True):
        state = _stepped(motors, *state, lasting, is_on=on)
        slow.append(state[0])
        fast.append(state[1])
    warm = _celsius(motors, np.concatenate(slow, axis=1), np.concatenate(fast, axis=1), looks)
    times = _first_seconds(warm - limit_celsius, looks)
    shares = motors.drawn.shares / NODES.size * np.isfinite(times)
    probability = float(shares.sum())
    if probability <= 0:
        return 0.0, math.inf
    return probability, float(weighted_quantiles(times.ravel(), shares.ravel())[1])


def _worst_celsius(motors: WarmMotors, run_seconds: float, rests: Floats) -> Matrix:
    """The hottest of a run, and of the minutes after it, that begins after each of some rests."""
    worst = np.full((motors.member.rise_kelvin.size, NODES.size, rests.size), -np.inf)
    states = _shares_over(motors, rests, is_on=False)
    for into in np.linspace(0.0, run_seconds, 7).tolist():
        run = _stepped(motors, *states, into, is_on=True)
        worst = np.maximum(worst, _celsius(motors, *run, rests + into))
    ended = _stepped(motors, *states, run_seconds, is_on=True)
    for after in _AFTER_SECONDS:
        cooled = _stepped(motors, *ended, after, is_on=False)
        worst = np.maximum(worst, _celsius(motors, *cooled, rests + run_seconds + after))
    return worst


def _shares_over(motors: WarmMotors, seconds: Floats, *, is_on: bool) -> tuple[Matrix, Matrix]:
    return _stepped(motors, motors.slow_fraction, motors.fast_fraction, seconds, is_on=is_on)


def _stepped(
    motors: WarmMotors, slow: Matrix, fast: Matrix, seconds: float | Floats, *, is_on: bool
) -> tuple[Matrix, Matrix]:
    member = motors.member
    constant = member.heating_seconds if is_on else member.cooling_seconds
    goal = 1.0 if is_on else 0.0
    kept = np.exp(-np.asarray(seconds) / constant[:, None])
    kept_fast = np.exp(-np.asarray(seconds) / member.fast_seconds[:, None])
    return goal + (slow - goal) * kept, goal + (fast - goal) * kept_fast


def _celsius(motors: WarmMotors, slow: Matrix, fast: Matrix, ahead_seconds: Floats) -> Matrix:
    """Temperatures of all members with their drift, shape (members, nodes, instants)."""
    member = motors.member
    middle = motors.ambient_celsius + member.rise_kelvin[:, None] * (
        slow + member.fast_share_fraction[:, None] * fast
    )
    mean, spread = left_over_kelvin(motors, fast, ahead_seconds)
    return (middle + mean)[:, None, :] + NODES[:, None] * spread[:, None, :]


def _celsius_over(motors: WarmMotors, seconds: Floats, *, is_on: bool) -> Matrix:
    return _celsius(motors, *_shares_over(motors, seconds, is_on=is_on), seconds)


def _first_seconds(excess: Matrix, seconds: Floats) -> Matrix:
    """When an excess first is at least 0, by straight lines between; inf where it never is."""
    is_over = excess >= 0
    first = np.argmax(is_over, axis=-1)
    before = np.maximum(first - 1, 0)
    after = np.take_along_axis(excess, first[..., None], axis=-1)[..., 0]
    ahead = np.take_along_axis(excess, before[..., None], axis=-1)[..., 0]
    part = np.where(first > 0, ahead / np.where(ahead == after, 1.0, ahead - after), 0.0)
    found = seconds[before] + (seconds[first] - seconds[before]) * part
    return np.where(is_over.any(axis=-1), found, np.inf)


def _bounds(times: Matrix, motors: WarmMotors) -> Bounds:
    shares = np.broadcast_to(motors.drawn.shares / NODES.size, times.shape)
    low, best, high = weighted_quantiles(times.ravel(), shares.ravel()).tolist()
    return Bounds(*(one if one < FARTHEST_SECONDS * 2 else math.inf for one in (low, best, high)))
