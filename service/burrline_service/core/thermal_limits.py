"""The thermal model asked backwards: how long may it run, how long must it rest.

Answers are inf where the wait never ends or the run may last for ever.
"""

from __future__ import annotations

import math

from .thermal import Thermal


def longest_run_seconds(celsius: float, limit_celsius: float, thermal: Thermal) -> float:
    """Find how long a motor may run from now until it reaches its limit.

    ``t = tau_h ln((X - x) / (X - L));  0 if x >= L;  inf if X <= L``

    Parameters
    ----------
    celsius : float
        Temperature now, T_amb + x, in degrees Celsius.
    limit_celsius : float
        The limit, T_amb + L, in degrees Celsius.
    thermal : Thermal
        Steady rise X, heating time constant tau_h, ambient temperature T_amb.

    Returns
    -------
    float
        Seconds until the limit; 0 when it is reached already, inf when it never is.

    Raises
    ------
    ValueError
        A temperature is not finite.

    Valid
    -----
    One continuous run at the load of the model.

    Source
    ------
    IEC 60255-149, operate time with prior load, where current squared is proportional to X.

    Examples
    --------
    >>> round(longest_run_seconds(25.0, 90.0, Thermal(120.0, 1200.0, 1200.0, 25.0)), 6)
    936.190269
    """
    _check_finite(celsius=celsius, limit_celsius=limit_celsius)
    if celsius >= limit_celsius:
        return 0.0
    short_kelvin = thermal.ambient_celsius + thermal.rise_kelvin - limit_celsius
    if short_kelvin <= 0:
        return math.inf
    # ln((X - x) / (X - L)) = ln(1 + (L - x) / (X - L)), which keeps its digits near the limit
    ratio = (limit_celsius - celsius) / short_kelvin
    return thermal.heating_time_constant_seconds * math.log1p(ratio)


def highest_start_celsius(run_seconds: float, limit_celsius: float, thermal: Thermal) -> float:
    """Find the highest temperature from which a run of a given length stays within the limit.

    ``x_s = min(L, X - (X - L) exp(run / tau_h))``

    Parameters
    ----------
    run_seconds : float
        Length of the run in s, >= 0; inf is allowed.
    limit_celsius : float
        The limit, T_amb + L, in degrees Celsius.
    thermal : Thermal
        Steady rise X, heating time constant tau_h, ambient temperature T_amb.

    Returns
    -------
    float
        T_amb + x_s in degrees Celsius; -inf when the run is too long from any start.

    Raises
    ------
    ValueError
        The limit is not finite, or the length is negative or NaN.

    Valid
    -----
    A result below ambient means never: rest alone does not lead there. The minimum matters when
    X <= L and the motor is hotter than L now.

    Source
    ------
    Derived here from the exact step, see test.

    Examples
    --------
    >>> round(highest_start_celsius(300.0, 90.0, Thermal(120.0, 1200.0, 1200.0, 25.0)), 6)
    74.378602
    """
    _check_finite(limit_celsius=limit_celsius)
    if not run_seconds >= 0:
        raise ValueError(f"run_seconds must be at least 0, not {run_seconds}")
    over_kelvin = thermal.ambient_celsius + thermal.rise_kelvin - limit_celsius
    if over_kelvin <= 0:
        return limit_celsius
    return limit_celsius - over_kelvin * _expm1(run_seconds / thermal.heating_time_constant_seconds)


def rest_seconds(
    celsius: float, run_seconds: float, limit_celsius: float, thermal: Thermal
) -> float:
    """Find the shortest rest before a run of a given length that keeps within the limit.

    ``R = tau_c ln(x / x_s);  0 if x <= x_s;  inf if x_s <= 0 < x``

    Parameters
    ----------
    celsius : float
        Temperature now, T_amb + x, in degrees Celsius.
    run_seconds : float
        Length of the run in s, >= 0.
    limit_celsius : float
        The limit in degrees Celsius.
    thermal : Thermal
        Constants and the ambient temperature T_amb.

    Returns
    -------
    float
        Rest in s; inf when no rest suffices.

    Raises
    ------
    ValueError
        A temperature is not finite, or the length is negative or NaN.

    Valid
    -----
    A motor at rest throughout. Once the rest is over it stays over until the motor runs again.

    Source
    ------
    Derived here from the exact step, see test.

    Examples
    --------
    >>> round(rest_seconds(90.0, 300.0, 90.0, Thermal(120.0, 1200.0, 3000.0, 25.0)), 6)
    824.610287
    """
    start_celsius = highest_start_celsius(run_seconds, limit_celsius, thermal)
    return cooling_seconds(celsius, start_celsius, thermal)


def cooling_seconds(celsius: float, to_celsius: float, thermal: Thermal) -> float:
    """Find how long a motor at rest takes to cool from one temperature to another.

    ``t = tau_c ln((T - T_amb) / (T_to - T_amb));  0 if T <= T_to;  inf if T_to <= T_amb < T``

    Parameters
    ----------
    celsius : float
        Temperature T at the beginning, in degrees Celsius.
    to_celsius : float
        Temperature T_to to be reached, in degrees Celsius; -inf is allowed.
    thermal : Thermal
        Cooling time constant tau_c and ambient temperature T_amb.

    Returns
    -------
    float
        Time in s; inf when it never cools so far.

    Raises
    ------
    ValueError
        T is not finite, or T_to is NaN or inf.

    Valid
    -----
    A motor at rest throughout. From the trip of a thermal cut-out to its reset temperature it
    gives the silence that a self-resetting trip leaves.

    Source
    ------
    IEC 60255-149, reset time of a thermal relay; derived here from the exact step, see test.

    Examples
    --------
    >>> round(cooling_seconds(120.0, 90.0, Thermal(120.0, 1200.0, 2400.0, 25.0)), 3)
    910.775
    """
    _check_finite(celsius=celsius)
    if not to_celsius < math.inf:
        raise ValueError(f"to_celsius must be below inf and no NaN, not {to_celsius}")
    if celsius <= to_celsius:
        return 0.0
    left_kelvin = to_celsius - thermal.ambient_celsius
    if left_kelvin <= 0:
        return math.inf
    return thermal.cooling_time_constant_seconds * math.log1p((celsius - to_celsius) / left_kelvin)


def _expm1(power: float) -> float:
    try:
        return math.expm1(power)
    except OverflowError:  # beyond 709 time constants
        return math.inf


def _check_finite(**values: float) -> None:
    for name, value in values.items():
        if not math.isfinite(value):
            raise ValueError(f"{name} must be finite, not {value}")
