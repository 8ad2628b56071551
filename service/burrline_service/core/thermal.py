"""A motor as one warm body: exact steps and trajectories of its temperature.

Switched on, the body approaches a steady rise above its surroundings; switched off, it cools back
towards them, more slowly where a fan on the shaft stands still. Every step is the exact solution,
of any length: Euler steps are wrong by half the rise at one time constant and by all of it at two.
Celsius for temperatures, kelvin for rises above ambient.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .interval_arrays import union_arrays

Floats = NDArray[np.float64]

_FORGOTTEN_FRACTION = 1e-18
"""What is left of an earlier temperature once it is below the last bit of a double."""


@dataclass(frozen=True)
class Thermal:
    """A motor's thermal constants at one load, and the temperature around it.

    ``rise_kelvin`` is the rise it would settle at if it never stopped.
    """

    rise_kelvin: float
    heating_time_constant_seconds: float
    cooling_time_constant_seconds: float
    ambient_celsius: float

    def __post_init__(self) -> None:
        if not 0 <= self.rise_kelvin < math.inf:
            raise ValueError(f"rise_kelvin must be finite and at least 0, not {self.rise_kelvin}")
        for name in ("heating_time_constant_seconds", "cooling_time_constant_seconds"):
            if not 0 < getattr(self, name) < math.inf:
                raise ValueError(f"{name} must be positive and finite, not {getattr(self, name)}")
        if not math.isfinite(self.ambient_celsius):
            raise ValueError(f"ambient_celsius must be finite, not {self.ambient_celsius}")


def step_rise_kelvin(rise_kelvin: float, seconds: float, is_on: bool, thermal: Thermal) -> float:
    """Carry a rise above ambient over one stretch of running or rest, exactly.

    ``on: x' = X + (x - X) exp(-t / tau_h);  off: x' = x exp(-t / tau_c)``

    Parameters
    ----------
    rise_kelvin : float
        Rise above ambient x at the beginning, in K; negative when colder than the room.
    seconds : float
        Length t of the stretch in s, >= 0; inf gives the steady state.
    is_on : bool
        Whether the motor runs.
    thermal : Thermal
        Steady rise X in K, heating and cooling time constants tau_h and tau_c in s.

    Returns
    -------
    float
        Rise at the end in K.

    Raises
    ------
    ValueError
        The rise is not finite, or the time is negative or NaN.

    Valid
    -----
    One body at one load in surroundings of one temperature. Two steps equal one of their sum.

    Source
    ------
    First-order body, as in IEC 60255-149 (thermal electrical relays); derived here, see test.

    Examples
    --------
    >>> motor = Thermal(120.0, 1200.0, 2400.0, 25.0)
    >>> round(step_rise_kelvin(0.0, 1200.0, True, motor), 4)
    75.8545
    """
    if not math.isfinite(rise_kelvin):
        raise ValueError(f"rise_kelvin must be finite, not {rise_kelvin}")
    if not seconds >= 0:
        raise ValueError(f"seconds must be at least 0, not {seconds}")
    if is_on:
        gained_fraction = -math.expm1(-seconds / thermal.heating_time_constant_seconds)
        return rise_kelvin + (thermal.rise_kelvin - rise_kelvin) * gained_fraction
    return rise_kelvin * math.exp(-seconds / thermal.cooling_time_constant_seconds)


def step_celsius(celsius: float, seconds: float, is_on: bool, thermal: Thermal) -> float:
    """Carry a temperature over one stretch of running or rest, exactly.

    ``T' = T_amb + step(T - T_amb)``, the step being that of ``step_rise_kelvin``

    Parameters
    ----------
    celsius : float
        Temperature at the beginning, in degrees Celsius.
    seconds : float
        Length of the stretch in s, >= 0.
    is_on : bool
        Whether the motor runs.
    thermal : Thermal
        Constants and the ambient temperature T_amb.

    Returns
    -------
    float
        Temperature at the end, in degrees Celsius.

    Raises
    ------
    ValueError
        The temperature is not finite, or the time is negative or NaN.

    Valid
    -----
    As ``step_rise_kelvin``.

    Source
    ------
    First-order body, as in IEC 60255-149; derived here, see test.

    Examples
    --------
    >>> round(step_celsius(145.0, 2400.0, False, Thermal(120.0, 1200.0, 2400.0, 25.0)), 4)
    69.1455
    """
    rise_kelvin = step_rise_kelvin(celsius - thermal.ambient_celsius, seconds, is_on, thermal)
    return thermal.ambient_celsius + rise_kelvin


def trajectory_celsius(
    starts_seconds: ArrayLike,
    ends_seconds: ArrayLike,
    at_seconds: ArrayLike,
    thermal: Thermal,
    *,
    start_seconds: float | None = None,
    start_celsius: float | None = None,
) -> Floats:
    """Give a motor's temperature at any instants of a history of runs, exactly.

    ``x(end) = X (1 - a) + a x(start);  x(next start) = b x(end);  a = exp(-on / tau_h),
    b = exp(-off / tau_c)``, and one exact step from the last border to each instant

    Parameters
    ----------
    starts_seconds, ends_seconds : array_like, shape (n,)
        Runs in s of any one clock (POSIX is fine), in any order; overlaps count once.
    at_seconds : array_like, any shape
        Instants asked for, in s of the same clock, in any order.
    thermal : Thermal
        Constants and the ambient temperature.
    start_seconds : float, optional
        Instant at which ``start_celsius`` held; runs before it are left out.
    start_celsius : float, optional
        Temperature then, in degrees Celsius; default ambient. Needs ``start_seconds``.

    Returns
    -------
    ndarray, shape of ``at_seconds``
        Temperatures in degrees Celsius; without a start, ambient up to the first run.

    Raises
    ------
    ValueError
        Malformed intervals, a number not finite, an instant before the start, or a start
        temperature without its instant.

    Valid
    -----
    Any n, none included. At a border the temperature is continuous, so either side gives it.
    Exact to about 1e-12 of the rise for any number of runs, for every factor is in [0, 1].
    With ``Thermal(1, tau_h, tau_c, 0)`` it gives the fraction of the steady rise.

    Source
    ------
    Derived here (prefix sums of a linear recurrence), see the test against scipy.

    Examples
    --------
    >>> motor = Thermal(120.0, 1200.0, 2400.0, 25.0)
    >>> trajectory_celsius([0.0, 600.0], [60.0, 900.0], [60.0, 900.0], motor).round(6)
    array([30.852469, 55.183469])
    """
    at = np.asarray(at_seconds, dtype=np.float64)
    starts, ends = union_arrays(starts_seconds, ends_seconds)
    if not np.isfinite(at).all():
        raise ValueError("the instants asked for must be finite")
    if start_seconds is None:
        if start_celsius is not None:
            raise ValueError("start_celsius needs start_seconds")
        origin = float(starts[0]) if starts.size else 0.0
        rise = 0.0
    else:
        origin = float(start_seconds)
        rise = 0.0 if start_celsius is None else start_celsius - thermal.ambient_celsius
        if not (math.isfinite(origin) and math.isfinite(rise)):
            raise ValueError(f"the start must be finite, not {start_celsius} at {start_seconds} s")
        if at.size and float(at.min()) < origin:
            raise ValueError(f"asked for {float(at.min())} s, before the start at {origin} s")
        is_later = ends > origin
        starts, ends = np.maximum(starts[is_later], origin), ends[is_later]
    knots, rises = _rises_at_borders(starts - origin, ends - origin, rise, thermal)
    elapsed = at - origin
    # Border 0 is the start itself, odd ones are starts of runs, even ones their ends.
    border = np.maximum(np.searchsorted(knots, elapsed, side="right") - 1, 0)
    since = np.maximum(elapsed - knots[border], 0.0)
    before = rises[border]
    heated = before - (thermal.rise_kelvin - before) * np.expm1(
        -since / thermal.heating_time_constant_seconds
    )
    cooled = before * np.exp(-since / thermal.cooling_time_constant_seconds)
    return thermal.ambient_celsius + np.where(border % 2 == 1, heated, cooled)


def _rises_at_borders(
    starts: Floats, ends: Floats, rise: float, thermal: Thermal
) -> tuple[Floats, Floats]:
    """The start at 0 and every border of disjoint runs after it, with the rises there."""
    knots = np.concatenate(([0.0], np.column_stack((starts, ends)).ravel()))
    rises = np.empty_like(knots)
    rises[0] = rise
    off = np.diff(np.concatenate(([0.0], ends)))  # from end to end: rest, then run
    on = ends - starts
    off -= on
    kept_on = np.exp(-on / thermal.heating_time_constant_seconds)
    kept_off = np.exp(-np.maximum(off, 0.0) / thermal.cooling_time_constant_seconds)
    gained = -thermal.rise_kelvin * np.expm1(-on / thermal.heating_time_constant_seconds)
    at_ends = _recurrence(kept_off * kept_on, gained, rise)
    rises[2::2] = at_ends
    rises[1::2] = np.concatenate(([rise], at_ends))[:-1] * kept_off
    return knots, rises


def _recurrence(kept: Floats, gained: Floats, before: float) -> Floats:
    """All x_i of x_i = kept_i x_(i-1) + gained_i, by doubling the stretch each sum spans."""
    kept, sums = kept.copy(), gained.copy()
    if kept.size == 0:
        return sums
    sums[0] += kept[0] * before
    kept[0] = 0.0
    span = 1
    while span < kept.size and kept[span:].max() > _FORGOTTEN_FRACTION:
        sums[span:] += kept[span:] * sums[:-span]
        kept[span:] = kept[span:] * kept[:-span]
        span *= 2
    return sums
