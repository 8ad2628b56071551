"""Kilograms and motor time from exact sums: the weighed ones, and apart from them estimates."""

from __future__ import annotations

import math


def flow_grams_per_second(
    paired_milligrams: int, paired_milliseconds: int, expected_grams_per_second: float | None
) -> float | None:
    """Flow of a grinder: its own where it was measured, else what its plate expects.

    ``flow = sum of grams / sum of seconds`` over the runs that have both (mg / ms = g / s).

    Parameters
    ----------
    paired_milligrams : int
        Grams of the runs that have both grams and seconds, in mg, >= 0.
    paired_milliseconds : int
        Motor time of the same runs, in ms, >= 0.
    expected_grams_per_second : float or None
        What the plate or manual states, in g/s.

    Returns
    -------
    float or None
        Flow in g/s, None when it is not known.

    Raises
    ------
    ValueError
        A negative sum.

    Valid
    -----
    Exact to the rounding of one division; sums of integers do not depend on their order.

    Source
    ------
    Definition of a mean weighted by time (derived here, see test).

    Examples
    --------
    >>> flow_grams_per_second(36_000, 15_000, None)
    2.4
    >>> flow_grams_per_second(0, 0, 2.0)
    2.0
    >>> flow_grams_per_second(0, 0, None) is None
    True
    """
    if paired_milligrams < 0 or paired_milliseconds < 0:
        raise ValueError("sums of runs cannot be negative")
    if paired_milligrams > 0 and paired_milliseconds > 0:
        return paired_milligrams / paired_milliseconds
    return expected_grams_per_second


def estimated_grams(
    stated_milligrams: int, ungrammed_milliseconds: int, grams_per_second: float | None
) -> float | None:
    """Grams nobody weighed: those sent as estimates, and flow times the time of runs without grams.

    ``estimate = stated + flow * time``

    Parameters
    ----------
    stated_milligrams : int
        Sum of grams sent as estimates, in mg.
    ungrammed_milliseconds : int
        Motor time of coffee runs that came without grams, in ms.
    grams_per_second : float or None
        Flow in g/s, None when it is not known.

    Returns
    -------
    float or None
        Grams to the milligram; None when there is time to estimate from and no flow.

    Raises
    ------
    ValueError
        A flow that is negative or not finite.

    Valid
    -----
    As good as the flow is constant; it is shown apart from weighed grams, never added to them.

    Source
    ------
    Derived here, see test.

    Examples
    --------
    >>> estimated_grams(500, 10_000, 2.0)
    20.5
    >>> estimated_grams(500, 10_000, None) is None
    True
    >>> estimated_grams(500, 0, None)
    0.5
    """
    if grams_per_second is None:
        return None if ungrammed_milliseconds else stated_milligrams / 1000
    if not math.isfinite(grams_per_second) or grams_per_second < 0:
        raise ValueError(f"flow must be finite and not negative, not {grams_per_second}")
    return round(stated_milligrams + ungrammed_milliseconds * grams_per_second) / 1000
