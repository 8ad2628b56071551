"""A motor's temperature now and to come, as all motors say that its readings allow.

Each member of a fit's ensemble is carried through the runs exactly; readings draw its drift to
themselves, which then fades. Intervals are those of the whole ensemble: 90 %, of the body that the
sensor measures, without the noise of a reading.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .interval_arrays import union_arrays
from .thermal_filter import Drawn, draw_to_readings
from .thermal_fit import ambient_then_celsius
from .thermal_motor import Bounds, MotorFit
from .thermal_response import responses
from .thermal_warm import NODES, WarmMotors, left_over_kelvin, weighted_quantiles

__all__ = ["MEMORY_SECONDS", "WarmMotors", "estimate_at", "motors_at", "temperatures_celsius"]

Floats = NDArray[np.float64]
Matrix = NDArray[np.float64]

MEMORY_SECONDS = 24 * 3600.0
"""Runs and readings longer ago no longer matter: pass at least so much, more changes nothing."""
FARTHEST_SECONDS = 6 * 3600.0
"""No run lasts longer, so no forecast looks farther."""


def motors_at(
    fit: MotorFit,
    on_starts_seconds: ArrayLike,
    on_ends_seconds: ArrayLike,
    reading_at_seconds: ArrayLike,
    readings_celsius: ArrayLike,
    at_seconds: ArrayLike,
    *,
    ambient_at_seconds: ArrayLike = (),
    ambient_readings_celsius: ArrayLike = (),
) -> WarmMotors:
    """Carry a fit's ensemble to some instants, through the runs and readings before each.

    ``T = ambient + rise (phi + share psi) + d``; d by a Kalman filter over the readings

    Parameters
    ----------
    fit : MotorFit
        With members.
    on_starts_seconds, on_ends_seconds : array_like, shape (m,)
        Motor-on stretches in s, of the last 24 h or more, in any order; one that goes on at an
        instant asked for counts up to there.
    reading_at_seconds : array_like, shape (n,)
        When was read, in s, in any order; later ones than an instant do not touch it.
    readings_celsius : array_like, shape (n,)
        What was read, in degrees Celsius.
    at_seconds : array_like, shape (q,)
        The instants, in s, ascending.
    ambient_at_seconds, ambient_readings_celsius : array_like, shape (r,)
        Measured ambient; needed where the fit's ambient is measured.

    Returns
    -------
    WarmMotors
        Arrays of shape (members, q).

    Raises
    ------
    ValueError
        The fit has no members, or measured ambient is missing.

    Valid
    -----
    A wild reading (1 in 20 may be off by 20 K) draws little. Readings after the fit's last one
    also weigh the members; those the fit has used do not count twice.

    Source
    ------
    Derived here; Kalman filter from memory. Coverage is measured by the simulation in the tests.

    Examples
    --------
    >>> from .thermal_fit import fit_motor
    >>> fit = fit_motor([], [], [], [], body="winding")
    >>> motors_at(fit, [], [], [], [], [0.0])
    Traceback (most recent call last):
    ValueError: an insufficient fit has no members
    """
    if not fit.members or fit.unrest is None or fit.fitted_seconds is None:
        raise ValueError(f"an {fit.status} fit has no members")
    instants = np.asarray(at_seconds, dtype=np.float64)
    at = np.asarray(reading_at_seconds, dtype=np.float64)
    read = np.asarray(readings_celsius, dtype=np.float64)
    order = np.lexsort((read, at))
    order = order[at[order] <= (instants[-1] if instants.size else -math.inf)]
    at, read = at[order], read[order]
    starts, ends = union_arrays(on_starts_seconds, on_ends_seconds)
    both = np.concatenate([at, instants])
    turn = np.argsort(both, kind="stable")  # a reading comes before a question of its instant
    both = both[turn]
    member = fit.motors()
    slow = responses(starts, ends, both, member.heating_seconds, member.cooling_seconds)
    fast = responses(starts, ends, both, member.fast_seconds, member.fast_seconds)
    room: Floats = np.zeros(both.size)
    if fit.ambient_source == "measured":
        if np.size(ambient_at_seconds) == 0:
            raise ValueError("the fit's ambient is measured: its readings are needed")
        by_time = np.lexsort(
            (
                np.asarray(ambient_readings_celsius, dtype=np.float64),
                np.asarray(ambient_at_seconds, dtype=np.float64),
            )
        )
        room = ambient_then_celsius(
            both,
            np.asarray(ambient_at_seconds, dtype=np.float64)[by_time],
            np.asarray(ambient_readings_celsius, dtype=np.float64)[by_time],
        )
    said = member.ambient_celsius[:, None] + room
    said = said + member.rise_kelvin[:, None] * (slow + member.fast_share_fraction[:, None] * fast)
    gaps = np.full(both.size, np.nan)
    is_reading = turn < at.size
    gaps[is_reading] = read[turn[is_reading]]
    part = member.rise_kelvin * member.fast_share_fraction * fast.T
    drawn = draw_to_readings(
        fit.unrest,
        both,
        gaps[:, None] - said.T,
        part,
        _load_kept(starts, both, fast, member.fast_seconds),
        weighed_after_seconds=fit.fitted_seconds,
    )
    asked = np.flatnonzero(~is_reading)
    return WarmMotors(
        member=member,
        slow_fraction=slow[:, asked],
        fast_fraction=fast[:, asked],
        ambient_celsius=member.ambient_celsius[:, None] + room[asked],
        drawn=Drawn(*(one[:, asked] for one in drawn)),
        unrest=fit.unrest,
    )


def temperatures_celsius(motors: WarmMotors) -> Matrix:
    """Give the 90 % interval of the temperature at each instant.

    ``quantiles 0.05, 0.5, 0.95 of all members' T``

    Parameters
    ----------
    motors : WarmMotors
        The ensemble at q instants.

    Returns
    -------
    ndarray, shape (q, 3)
        Low, best and high in degrees Celsius.

    Valid
    -----
    Of the body measured, without the noise of a reading.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> from .thermal_fit import fit_motor
    >>> read = [30.85, 55.18, 95.95, 60.0, 127.83, 92.0]
    >>> on = [0.0, 600.0, 2400.0, 9000.0], [60.0, 900.0, 3300.0, 10800.0]
    >>> at = [60.0, 900.0, 3300.0, 5000.0, 10800.0, 11900.0]
    >>> fit = fit_motor(*on, at, read, body="winding")
    >>> low, best, high = temperatures_celsius(motors_at(fit, *on, at, read, [11900.0]))[0]
    >>> bool(low < 92.0 < high)
    True
    """
    member = motors.member
    middle = motors.ambient_celsius + member.rise_kelvin[:, None] * (
        motors.slow_fraction + member.fast_share_fraction[:, None] * motors.fast_fraction
    )
    now = np.zeros(motors.fast_fraction.shape[1])
    mean, spread = left_over_kelvin(motors, motors.fast_fraction, now)
    values = (middle + mean)[:, None, :] + NODES[:, None] * spread[:, None, :]
    shares = np.broadcast_to(motors.drawn.shares[:, None, :] / NODES.size, values.shape)
    count = values.shape[2]
    found = np.empty((count, 3))
    for one in range(count):
        found[one] = weighted_quantiles(values[:, :, one].ravel(), shares[:, :, one].ravel())
    return found


def estimate_at(
    fit: MotorFit,
    on_starts_seconds: ArrayLike,
    on_ends_seconds: ArrayLike,
    reading_at_seconds: ArrayLike,
    readings_celsius: ArrayLike,
    at_seconds: float,
    *,
    ambient_at_seconds: ArrayLike = (),
    ambient_readings_celsius: ArrayLike = (),
) -> Bounds | None:
    """Estimate the temperature of the body measured, at one instant, from all that came before.

    ``temperatures_celsius(motors_at(fit, ...))``

    Parameters
    ----------
    fit : MotorFit
        The motor.
    on_starts_seconds, on_ends_seconds : array_like, shape (m,)
        Motor-on stretches in s, of the last 24 h or more, in any order.
    reading_at_seconds : array_like, shape (n,)
        When was read, in s, in any order.
    readings_celsius : array_like, shape (n,)
        What was read, in degrees Celsius.
    at_seconds : float
        The instant in s.
    ambient_at_seconds, ambient_readings_celsius : array_like, shape (r,)
        Measured ambient; needed where the fit's ambient is measured.

    Returns
    -------
    Bounds or None
        90 % interval in degrees Celsius; None where the fit is ``insufficient`` or
        ``level_only``.

    Valid
    -----
    As ``motors_at``.

    Source
    ------
    ``motors_at``

    Examples
    --------
    >>> from .thermal_fit import fit_motor
    >>> estimate_at(fit_motor([], [], [], [], body="winding"), [], [], [], [], 0.0) is None
    True
    """
    if fit.status in ("insufficient", "level_only"):
        return None
    motors = motors_at(
        fit, on_starts_seconds, on_ends_seconds, reading_at_seconds, readings_celsius,
        [at_seconds], ambient_at_seconds=ambient_at_seconds,
        ambient_readings_celsius=ambient_readings_celsius,
    )  # fmt: skip
    return Bounds(*(round(one, 2) for one in temperatures_celsius(motors)[0].tolist()))


def _load_kept(starts: Floats, at: Floats, fast: Matrix, fast_seconds: Floats) -> Matrix:
    """How much of the fast response at each instant stems from runs begun before the last one."""
    kept = np.ones((at.size, fast_seconds.size))
    is_new = np.diff(np.searchsorted(starts, at, side="left"), prepend=0) > 0
    for index in np.flatnonzero(is_new).tolist():
        if index == 0:
            kept[0] = 0.0
            continue
        old = fast[:, index - 1] * np.exp(-(at[index] - at[index - 1]) / fast_seconds)
        kept[index] = np.clip(old / np.maximum(fast[:, index], 1e-12), 0.0, 1.0)
    return kept
