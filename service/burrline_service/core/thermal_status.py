"""How much a motor's readings tell, in five steps, and which may be asked of them."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from .thermal_one_body import OneBody
from .thermal_response import responses

Status = Literal["insufficient", "level_only", "slope_only", "no_cooling", "identified"]

FEWEST_READINGS_COUNT = 4
KNOWN_SPREAD = 0.25
"""A constant is known when the standard deviation of its logarithm is at most this."""
STEADY_FRACTION = 0.25
"""Usage is steady when the response at the readings varies by no more of its mean (our choice)."""


def thermal_status(
    on_starts_seconds: ArrayLike,
    on_ends_seconds: ArrayLike,
    reading_at_seconds: ArrayLike,
    readings_celsius: ArrayLike,
    found: OneBody | None,
) -> Status:
    """Say how much is known of a motor.

    ``identified: sd of ln rise, ln tau_h and ln tau_c all <= 0.25``; see the list below

    Parameters
    ----------
    on_starts_seconds, on_ends_seconds : array_like, shape (m,)
        Motor-on stretches in s, parted and ascending.
    reading_at_seconds : array_like, shape (n,)
        When was read, in s, ascending.
    readings_celsius : array_like, shape (n,)
        What was read, in degrees Celsius.
    found : OneBody or None
        The fit; None with fewer than four readings.

    Returns
    -------
    str
        ``insufficient``: fewer than 4 readings, or they do not move by 3 sigma though usage did.
        ``level_only``: what the model says of them moves by less than 3 sigma. ``slope_only``:
        sd(ln slope) <= 0.25, but not of rise or heating constant. ``no_cooling``: not of the
        cooling constant. ``identified``: all three, and not at the edge of what was searched.

    Valid
    -----
    A slope that is not known either is ``insufficient``.

    Source
    ------
    Definition made here; sigma as in ``fit_one_body``.

    Examples
    --------
    >>> thermal_status([], [], [0.0], [20.0], None)
    'insufficient'
    """
    if found is None:
        return "insufficient"
    readings = np.asarray(readings_celsius, dtype=np.float64)
    fair = np.abs(found.residuals_kelvin) <= 4.0 * found.sigma_kelvin
    moved = float(np.ptp(readings[fair])) if fair.any() else 0.0
    if moved <= 3.0 * found.sigma_kelvin:
        at = np.asarray(reading_at_seconds, dtype=np.float64)
        share = responses(on_starts_seconds, on_ends_seconds, at, [1200.0], [2400.0])[0]
        is_steady = 0 < float(np.ptp(share)) <= STEADY_FRACTION * float(share.mean())
        is_steady |= float(np.ptp(share)) == 0 and float(share.mean()) > 0
        return "level_only" if is_steady else "insufficient"
    explained = found.slopes[:, 0][fair]  # d T / d ln rise = rise phi
    if float(np.ptp(explained)) < 3.0 * found.sigma_kelvin:
        return "level_only"
    spread = found.covariance
    rise, heating = math.sqrt(spread[0, 0]), math.sqrt(spread[1, 1])
    slope = math.sqrt(max(spread[0, 0] + spread[1, 1] - 2 * spread[0, 1], 0.0))
    cooling = math.sqrt(spread[1, 1] + spread[2, 2] + 2 * spread[1, 2])
    if max(rise, heating) > KNOWN_SPREAD or found.is_at_edge:
        return "slope_only" if slope <= KNOWN_SPREAD else "insufficient"
    return "identified" if cooling <= KNOWN_SPREAD else "no_cooling"
