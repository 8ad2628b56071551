"""What a temperature limit allows from now on, by how much is known of the motor."""

from __future__ import annotations

from collections.abc import Sequence

from .answers import Allowance
from .duty_wait import allowance_of
from .thermal import Thermal
from .thermal_limits import longest_run_seconds, rest_seconds
from .thermal_slope import safe_run_seconds


def allow_by_temperature(
    celsius: float, run_seconds: float, limit_celsius: float, thermals: Sequence[Thermal]
) -> Allowance:
    """Say what a temperature limit allows when the motor's thermal constants are known.

    ``wait = max over models of tau_c ln(x / x_s);  longest = min of tau_h ln((X - x)/(X - L))``

    Parameters
    ----------
    celsius : float
        Temperature now in degrees Celsius: the high bound of its interval.
    run_seconds : float
        Length of the run in s, >= 0.
    limit_celsius : float
        Limit of the body that was measured, in degrees Celsius.
    thermals : sequence of Thermal
        One or more sets of constants that the readings allow; the least favourable decides.

    Returns
    -------
    answers.Allowance
        ``never`` where no rest suffices.

    Raises
    ------
    ValueError
        No set of constants, or a number out of range.

    Valid
    -----
    As the model: one load, one ambient temperature, a motor at rest while it waits.

    Source
    ------
    Derived here from ``rest_seconds`` and ``longest_run_seconds``, see their tests.

    Examples
    --------
    >>> allow_by_temperature(40.0, 60.0, 90.0, [Thermal(120.0, 1200.0, 1200.0, 25.0)]).state
    'ready'
    """
    if not thermals:
        raise ValueError("at least one set of thermal constants is needed")
    waits = [rest_seconds(celsius, run_seconds, limit_celsius, thermal) for thermal in thermals]
    longest = [longest_run_seconds(celsius, limit_celsius, thermal) for thermal in thermals]
    return allowance_of(max(waits), min(longest))


def allow_by_slope(
    celsius: float,
    run_seconds: float,
    limit_celsius: float,
    slope_kelvin_per_second: float,
    ambient_celsius: float | None = None,
) -> Allowance:
    """Say what a temperature limit allows when only the initial slope of heating is known.

    ``ready: run <= (L - T) / slope;  T >= L: wait, nobody knows how long;  else unknown``

    Parameters
    ----------
    celsius : float
        Temperature T now in degrees Celsius: the high bound of its interval.
    run_seconds : float
        Length of the run in s, >= 0.
    limit_celsius : float
        Limit L of the body that was measured, in degrees Celsius.
    slope_kelvin_per_second : float
        Heating from ambient, its high bound, in K/s, >= 0.
    ambient_celsius : float, optional
        Ambient temperature, for a motor that may be colder than the room.

    Returns
    -------
    answers.Allowance
        Its longest run is the one that is safe for certain.

    Raises
    ------
    ValueError
        A number out of range.

    Valid
    -----
    A run longer than the safe bound may be safe all the same: hence ``unknown``, not ``wait``.

    Source
    ------
    ``safe_run_seconds``; derived here.

    Examples
    --------
    >>> allow_by_slope(25.0, 700.0, 90.0, 0.125)
    Allowance(state='unknown', wait_seconds=None, longest_run_seconds=520.0)
    """
    if not run_seconds >= 0:
        raise ValueError(f"run_seconds must be at least 0, not {run_seconds}")
    safe = safe_run_seconds(celsius, limit_celsius, slope_kelvin_per_second, ambient_celsius)
    if celsius >= limit_celsius:
        return Allowance("wait", None, 0.0)
    if run_seconds <= safe:
        return allowance_of(0.0, safe)
    return Allowance("unknown", None, safe)


def allow_by_reading(celsius: float, limit_celsius: float) -> Allowance:
    """Say what a temperature limit allows when a reading is all that is known.

    ``T >= L: wait, nobody knows how long;  else unknown``

    Parameters
    ----------
    celsius : float
        A reading fresh enough to stand for now, in degrees Celsius.
    limit_celsius : float
        Limit of the body that was measured, in degrees Celsius.

    Returns
    -------
    answers.Allowance
        Never ``ready``: how fast it heats is not known.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> allow_by_reading(95.0, 90.0).state, allow_by_reading(60.0, 90.0).state
    ('wait', 'unknown')
    """
    if celsius >= limit_celsius:
        return Allowance("wait", None, 0.0)
    return Allowance("unknown", None, None)
