"""How much of the time a motor may run for ever without passing its temperature limit."""

from __future__ import annotations

import math

from .thermal import Thermal
from .thermal_cycle import steady_cycle
from .thermal_limits import highest_start_celsius

_BISECTIONS = 200  # until no double lies between the bounds


def sustained_rest_seconds(run_seconds: float, limit_celsius: float, thermal: Thermal) -> float:
    """Find the rest after each run with which runs of one length can go on for ever.

    ``R* = tau_c ln(L / x_s)``, x_s being the highest rise from which one run reaches L

    Parameters
    ----------
    run_seconds : float
        Length of each run in s, >= 0.
    limit_celsius : float
        The limit, T_amb + L, in degrees Celsius.
    thermal : Thermal
        Constants and the ambient temperature T_amb.

    Returns
    -------
    float
        Rest in s; 0 when it may run for ever, inf when one run from cold is too long.

    Raises
    ------
    ValueError
        The limit is not finite, or the length is negative or NaN.

    Valid
    -----
    The peak of the cycles is then exactly the limit; a longer rest stays below.

    Source
    ------
    Derived here from the exact step, see test.

    Examples
    --------
    >>> round(sustained_rest_seconds(300.0, 90.0, Thermal(120.0, 1200.0, 1200.0, 25.0)), 6)
    329.844115
    """
    start_celsius = highest_start_celsius(run_seconds, limit_celsius, thermal)
    start_kelvin = start_celsius - thermal.ambient_celsius
    if start_celsius == limit_celsius:
        return 0.0
    if start_kelvin <= 0:
        return math.inf
    return thermal.cooling_time_constant_seconds * math.log1p(
        (limit_celsius - start_celsius) / start_kelvin
    )


def sustained_duty_fraction(run_seconds: float, limit_celsius: float, thermal: Thermal) -> float:
    """Find the largest duty fraction that runs of one length can keep up within the limit.

    ``D* = run / (run + R*);  run -> 0: D_0 = r L / (X - L + r L), r = tau_h / tau_c``

    Parameters
    ----------
    run_seconds : float
        Length of each run in s, >= 0; 0 asks for the supremum D_0 of ever shorter runs.
    limit_celsius : float
        The limit, T_amb + L, in degrees Celsius.
    thermal : Thermal
        Steady rise X, time constants, ambient temperature T_amb.

    Returns
    -------
    float
        Fraction, 0 to 1; 1 when X <= L, 0 when one run from cold is too long.

    Raises
    ------
    ValueError
        The limit is not finite, or the length is negative or not finite.

    Valid
    -----
    Shorter runs allow more, up to D_0.

    Source
    ------
    Derived here from the exact step, see test.

    Examples
    --------
    >>> motor = Thermal(120.0, 1200.0, 3000.0, 25.0)
    >>> [round(sustained_duty_fraction(run, 90.0, motor), 6) for run in (300.0, 10.0, 0.0)]
    [0.266759, 0.319307, 0.320988]
    """
    if not 0 <= run_seconds < math.inf:
        raise ValueError(f"run_seconds must be finite and at least 0, not {run_seconds}")
    rest = sustained_rest_seconds(run_seconds, limit_celsius, thermal)
    limit_kelvin = limit_celsius - thermal.ambient_celsius
    if thermal.rise_kelvin <= limit_kelvin:
        return 1.0
    if limit_kelvin <= 0:
        return 0.0
    if run_seconds == 0 or rest == 0:
        ratio = thermal.heating_time_constant_seconds / thermal.cooling_time_constant_seconds
        return ratio * limit_kelvin / (thermal.rise_kelvin - limit_kelvin + ratio * limit_kelvin)
    return run_seconds / (run_seconds + rest)


def cycle_duty_fraction(cycle_seconds: float, limit_celsius: float, thermal: Thermal) -> float:
    """Find the largest duty fraction of a cycle of given length that stays within the limit.

    ``root of X (1 - a) / (1 - a b) = L, a = exp(-D T / tau_h), b = exp(-(1 - D) T / tau_c)``

    Parameters
    ----------
    cycle_seconds : float
        Length T of the cycle, run and rest together, in s, >= 0.001.
    limit_celsius : float
        The limit, T_amb + L, in degrees Celsius.
    thermal : Thermal
        Steady rise X, time constants, ambient temperature T_amb.

    Returns
    -------
    float
        Fraction D, 0 to 1; 1 when X <= L, 0 when L <= 0.

    Raises
    ------
    ValueError
        T is not finite or below a millisecond, or the limit is not finite.

    Valid
    -----
    The peak rises with D, so bisection finds the one root; it is rounded towards the cool side.

    Source
    ------
    Derived here from the periodic steady state, see test.

    Examples
    --------
    >>> round(cycle_duty_fraction(600.0, 90.0, Thermal(120.0, 1200.0, 3000.0, 25.0)), 6)
    0.290521
    """
    if not 0.001 <= cycle_seconds < math.inf:
        raise ValueError(f"cycle_seconds must be finite, at least 0.001, not {cycle_seconds}")
    if not math.isfinite(limit_celsius):
        raise ValueError(f"limit_celsius must be finite, not {limit_celsius}")
    limit_kelvin = limit_celsius - thermal.ambient_celsius
    if thermal.rise_kelvin <= limit_kelvin:
        return 1.0
    if limit_kelvin <= 0:
        return 0.0
    low, high = 0.0, 1.0
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        on_seconds = middle * cycle_seconds
        cycle = steady_cycle(on_seconds, cycle_seconds - on_seconds, thermal)
        if cycle.peak_celsius <= limit_celsius:
            low = middle
        else:
            high = middle
    return low
