"""A motor that runs and rests in turn: where its temperature settles."""

from __future__ import annotations

import math
from dataclasses import dataclass

from .thermal import Thermal


@dataclass(frozen=True)
class SteadyCycle:
    """What endless identical cycles lead to: extremes and mean of one cycle.

    ``kept_fraction`` of a deviation is left after one cycle, 1 % after ``settling_count`` cycles.
    """

    peak_celsius: float
    trough_celsius: float
    mean_celsius: float
    kept_fraction: float
    settling_count: int


def steady_cycle(on_seconds: float, off_seconds: float, thermal: Thermal) -> SteadyCycle:
    """Find the periodic steady state of identical cycles of running and rest.

    ``peak = X (1 - a) / (1 - a b);  trough = b * peak;
    mean = (X t_on + (tau_c - tau_h)(peak - trough)) / (t_on + t_off);
    a = exp(-t_on / tau_h), b = exp(-t_off / tau_c);  n = ceil(ln 0.01 / ln(a b))``

    Parameters
    ----------
    on_seconds, off_seconds : float
        Running and rest of each cycle in s, >= 0, together at least a millisecond.
    thermal : Thermal
        Steady rise X, time constants tau_h and tau_c, ambient temperature.

    Returns
    -------
    SteadyCycle
        Peak, trough and mean in degrees Celsius, the kept fraction a b, cycles to 99 %.

    Raises
    ------
    ValueError
        A time is negative or not finite, or the cycle is shorter than a millisecond.

    Valid
    -----
    Equal duty fractions with longer cycles have higher peaks: the fraction alone is not enough.

    Source
    ------
    Derived here from the exact step; duty type S3 of IEC 60034-1, see test against scipy.

    Examples
    --------
    >>> cycle = steady_cycle(60.0, 240.0, Thermal(80.0, 1200.0, 1200.0, 25.0))
    >>> round(cycle.peak_celsius, 6), round(cycle.mean_celsius, 6), cycle.settling_count
    (42.638607, 41.0, 19)
    """
    on, off = _powers(on_seconds, off_seconds, thermal)
    peak = thermal.rise_kelvin * math.expm1(-on) / math.expm1(-(on + off))
    trough = peak * math.exp(-off)
    swing_seconds = thermal.cooling_time_constant_seconds - thermal.heating_time_constant_seconds
    # peak - trough = -peak * expm1(-off), without the loss of digits of a difference
    mean = (thermal.rise_kelvin * on_seconds - swing_seconds * peak * math.expm1(-off)) / (
        on_seconds + off_seconds
    )
    return SteadyCycle(
        peak_celsius=thermal.ambient_celsius + peak,
        trough_celsius=thermal.ambient_celsius + trough,
        mean_celsius=thermal.ambient_celsius + mean,
        kept_fraction=math.exp(-(on + off)),
        settling_count=max(1, math.ceil(math.log(100) / (on + off))),
    )


def cycle_celsius(
    cycle_count: int,
    on_seconds: float,
    off_seconds: float,
    thermal: Thermal,
    start_celsius: float | None = None,
) -> tuple[float, float]:
    """Give the peak and the trough of the n-th of identical cycles.

    ``trough_n = trough + (a b)^n (x_0 - trough);  peak_n = X (1 - a) + a trough_(n-1)``

    Parameters
    ----------
    cycle_count : int
        Which cycle n, the first being 1.
    on_seconds, off_seconds : float
        Running and rest of each cycle in s, >= 0; each cycle begins with the run.
    thermal : Thermal
        Steady rise X, time constants, ambient temperature.
    start_celsius : float, optional
        Temperature T_amb + x_0 at the start of the first run; default ambient.

    Returns
    -------
    tuple of float
        Temperature at the end of the n-th run, and at the end of the rest after it.

    Raises
    ------
    ValueError
        n < 1, the start is not finite, or a time is out of range.

    Valid
    -----
    Any n, at the cost of one.

    Source
    ------
    Derived here from the exact step, see test.

    Examples
    --------
    >>> peak, trough = cycle_celsius(2, 60.0, 240.0, Thermal(80.0, 1200.0, 1200.0, 25.0))
    >>> round(peak, 6), round(trough, 6)
    (31.940251, 30.682197)
    """
    if cycle_count < 1:
        raise ValueError(f"cycle_count must be at least 1, not {cycle_count}")
    on, off = _powers(on_seconds, off_seconds, thermal)
    start = 0.0 if start_celsius is None else start_celsius - thermal.ambient_celsius
    if not math.isfinite(start):
        raise ValueError(f"start_celsius must be finite, not {start_celsius}")
    settled = steady_cycle(on_seconds, off_seconds, thermal).trough_celsius
    settled -= thermal.ambient_celsius
    before = settled + math.exp(-(on + off) * (cycle_count - 1)) * (start - settled)
    peak = before - (thermal.rise_kelvin - before) * math.expm1(-on)
    return thermal.ambient_celsius + peak, thermal.ambient_celsius + peak * math.exp(-off)


def _powers(on_seconds: float, off_seconds: float, thermal: Thermal) -> tuple[float, float]:
    for name, value in (("on_seconds", on_seconds), ("off_seconds", off_seconds)):
        if not 0 <= value < math.inf:
            raise ValueError(f"{name} must be finite and at least 0, not {value}")
    if on_seconds + off_seconds < 0.0005:
        raise ValueError(f"a cycle lasts at least a millisecond, not {on_seconds + off_seconds} s")
    return (
        on_seconds / thermal.heating_time_constant_seconds,
        off_seconds / thermal.cooling_time_constant_seconds,
    )
