"""Safe bounds on a motor's temperature when only its initial slope of heating is known.

They leave all cooling out: they may show that a run is safe, never that a motor is hot.
"""

from __future__ import annotations

import math


def safe_run_seconds(
    celsius: float,
    limit_celsius: float,
    slope_kelvin_per_second: float,
    ambient_celsius: float | None = None,
) -> float:
    """Bound from below how long a motor may run when only its initial slope of heating is known.

    ``t >= (L - max(T, T_amb)) / slope;  slope = X / tau_h, of which the true slope is a part``

    Parameters
    ----------
    celsius : float
        Temperature T now, in degrees Celsius.
    limit_celsius : float
        The limit L in degrees Celsius.
    slope_kelvin_per_second : float
        Heating from ambient, its high bound where it is uncertain, in K/s, >= 0.
    ambient_celsius : float, optional
        Ambient temperature; a motor colder than the room heats faster than the slope.

    Returns
    -------
    float
        A run of so many seconds is within the limit; longer ones may be or may not.

    Raises
    ------
    ValueError
        A temperature is not finite, or the slope negative or not finite.

    Valid
    -----
    Conservative: the heating of a warm motor is slower, and cooling is left out.

    Source
    ------
    Derived here: the rise of a first-order body is concave in time, see test.

    Examples
    --------
    >>> round(safe_run_seconds(25.0, 90.0, 0.1), 9)
    650.0
    """
    start_celsius = _warm_start(celsius, slope_kelvin_per_second, ambient_celsius)
    _check_finite(limit_celsius=limit_celsius)
    if start_celsius >= limit_celsius or celsius >= limit_celsius:
        return 0.0
    if slope_kelvin_per_second == 0:
        return math.inf
    return (limit_celsius - start_celsius) / slope_kelvin_per_second


def highest_celsius(
    celsius: float,
    on_seconds: float,
    slope_kelvin_per_second: float,
    ambient_celsius: float | None = None,
) -> float:
    """Bound from above a temperature after some running when only the initial slope is known.

    ``T' <= max(T, T_amb) + slope * (sum of on-time)``

    Parameters
    ----------
    celsius : float
        Temperature T at the beginning, in degrees Celsius.
    on_seconds : float
        On-time since then in s, in any number of runs, >= 0.
    slope_kelvin_per_second : float
        Heating from ambient, its high bound where it is uncertain, in K/s, >= 0.
    ambient_celsius : float, optional
        Ambient temperature; a motor colder than the room warms towards it at rest too.

    Returns
    -------
    float
        Upper bound in degrees Celsius.

    Raises
    ------
    ValueError
        A temperature is not finite, or the slope or the on-time negative or not finite.

    Valid
    -----
    Far above the truth after hours of short runs: it may show that a run is safe, never that
    a motor is hot, so it opens no alert.

    Source
    ------
    Derived here: the rise of a first-order body is concave in time, see test.

    Examples
    --------
    >>> round(highest_celsius(25.0, 300.0, 0.1), 9)
    55.0
    """
    start_celsius = _warm_start(celsius, slope_kelvin_per_second, ambient_celsius)
    if not 0 <= on_seconds < math.inf:
        raise ValueError(f"on_seconds must be finite and at least 0, not {on_seconds}")
    return start_celsius + slope_kelvin_per_second * on_seconds


def _warm_start(celsius: float, slope: float, ambient_celsius: float | None) -> float:
    _check_finite(celsius=celsius)
    if not 0 <= slope < math.inf:
        raise ValueError(f"slope_kelvin_per_second must be finite and at least 0, not {slope}")
    if ambient_celsius is None:
        return celsius
    _check_finite(ambient_celsius=ambient_celsius)
    return max(celsius, ambient_celsius)


def _check_finite(**values: float) -> None:
    for name, value in values.items():
        if not math.isfinite(value):
            raise ValueError(f"{name} must be finite, not {value}")
