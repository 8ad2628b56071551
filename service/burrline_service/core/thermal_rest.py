"""A fit's ensemble after a rest: what cools in between is closed form."""

from __future__ import annotations

import math

import numpy as np

from .thermal_filter import Drawn
from .thermal_warm import WarmMotors


def rested(motors: WarmMotors, seconds: float) -> WarmMotors:
    """Carry the ensemble through a rest in which nothing ran and nothing was read.

    ``phi exp(-s / tau_c),  psi exp(-s / tau_f),  d exp(-s / tau_d)``

    Parameters
    ----------
    motors : WarmMotors
        The ensemble at one instant, the motor off from there on.
    seconds : float
        How long it rests, in s.

    Returns
    -------
    WarmMotors
        The ensemble then; the ambient stays.

    Raises
    ------
    ValueError
        The rest is negative or not finite.

    Valid
    -----
    Not where the ambient is measured and changes meanwhile.

    Source
    ------
    Derived here from the steps of ``motors_at``, see the test that compares them.

    Examples
    --------
    >>> from .thermal_fit import fit_motor
    >>> from .thermal_forecast import motors_at
    >>> read = [30.85, 55.18, 95.95, 60.0, 127.83, 92.0]
    >>> on = [0.0, 600.0, 2400.0, 9000.0], [60.0, 900.0, 3300.0, 10800.0]
    >>> at = [60.0, 900.0, 3300.0, 5000.0, 10800.0, 11900.0]
    >>> fit = fit_motor(*on, at, read, body="winding")
    >>> now, then = (motors_at(fit, *on, at, read, [t]) for t in (11900.0, 13000.0))
    >>> bool(np.allclose(rested(now, 1100.0).slow_fraction, then.slow_fraction, rtol=1e-12))
    True
    """
    if not 0 <= seconds < math.inf:
        raise ValueError(f"seconds must be finite and at least 0, not {seconds}")
    member, drawn = motors.member, motors.drawn
    full = motors.unrest.drift_kelvin**2
    kept = math.exp(-seconds / motors.unrest.drift_seconds)
    return WarmMotors(
        member,
        motors.slow_fraction * np.exp(-seconds / member.cooling_seconds)[:, None],
        motors.fast_fraction * np.exp(-seconds / member.fast_seconds)[:, None],
        motors.ambient_celsius,
        Drawn(
            drift_kelvin=drawn.drift_kelvin * kept,
            load_fraction=drawn.load_fraction,
            drift_variance=full + kept * kept * (drawn.drift_variance - full),
            shared_variance=drawn.shared_variance * kept,
            load_variance=drawn.load_variance,
            shares=drawn.shares,
        ),
        motors.unrest,
    )
