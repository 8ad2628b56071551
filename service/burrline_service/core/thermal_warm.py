"""A fit's ensemble carried to some instants, and what drift and loads still add to it."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from .thermal_drift import Unrest
from .thermal_ensemble import Member
from .thermal_filter import Drawn

Floats = NDArray[np.float64]
Matrix = NDArray[np.float64]
Shares = NDArray[np.float64]
Quantities = NDArray[np.float64]

NODES = np.array([NormalDist().inv_cdf((step + 0.5) / 9) for step in range(9)]) * 1.064
"""Nine equally plausible values of a normal variable; stretched to have its variance."""
_QUANTILES = (0.05, 0.5, 0.95)


@dataclass(frozen=True)
class WarmMotors:
    """The ensemble at some instants: arrays of shape (members, instants)."""

    member: Member
    slow_fraction: Matrix
    fast_fraction: Matrix
    ambient_celsius: Matrix
    drawn: Drawn
    unrest: Unrest

    def at(self, index: int) -> WarmMotors:
        """Give the ensemble at one of the instants.

        ``columns [index]``

        Parameters
        ----------
        index : int
            Which.

        Returns
        -------
        WarmMotors
            Arrays of shape (members, 1).

        Source
        ------
        Definition made here.

        Examples
        --------
        >>> from .thermal_fit import fit_motor
        >>> from .thermal_forecast import motors_at
        >>> read = [30.85, 55.18, 95.95, 60.0, 127.83, 92.0]
        >>> on = [0.0, 600.0, 2400.0, 9000.0], [60.0, 900.0, 3300.0, 10800.0]
        >>> at = [60.0, 900.0, 3300.0, 5000.0, 10800.0, 11900.0]
        >>> fit = fit_motor(*on, at, read, body="winding")
        >>> motors_at(fit, *on, at, read, [12000.0, 13000.0]).at(1).slow_fraction.shape
        (64, 1)
        """
        column = slice(index, index + 1)
        return WarmMotors(
            self.member,
            self.slow_fraction[:, column],
            self.fast_fraction[:, column],
            self.ambient_celsius[:, column],
            self.drawn.at(index),
            self.unrest,
        )


def left_over_kelvin(
    motors: WarmMotors, fast_fraction: Matrix, ahead_seconds: Floats
) -> tuple[Matrix, Matrix]:
    """Give what drift and loads add to each member's temperature some time ahead.

    ``d exp(-s / tau_d) + load old + new``, old and new parts of the fast body's temperature

    Parameters
    ----------
    motors : WarmMotors
        The ensemble now: one instant, or as many as there are times ahead.
    fast_fraction : ndarray, shape (members, q)
        The fast body's response by then.
    ahead_seconds : ndarray, shape (q,)
        How long ahead, in s.

    Returns
    -------
    tuple of ndarray, shape (members, q)
        Mean and standard deviation in K.

    Valid
    -----
    What comes from runs still to begin has a load of its own.

    Source
    ------
    Derived here.

    Examples
    --------
    >>> from .thermal_fit import fit_motor
    >>> from .thermal_forecast import motors_at
    >>> read = [30.85, 55.18, 95.95, 60.0, 127.83, 92.0]
    >>> on = [0.0, 600.0, 2400.0, 9000.0], [60.0, 900.0, 3300.0, 10800.0]
    >>> at = [60.0, 900.0, 3300.0, 5000.0, 10800.0, 11900.0]
    >>> now = motors_at(fit_motor(*on, at, read, body="winding"), *on, at, read, [11900.0])
    >>> left_over_kelvin(now, now.fast_fraction, np.zeros(1))[1].shape
    (64, 1)
    """
    member, drawn = motors.member, motors.drawn
    scale = (member.rise_kelvin * member.fast_share_fraction)[:, None]
    old = np.exp(-ahead_seconds / member.fast_seconds[:, None]) * motors.fast_fraction
    new = scale * (fast_fraction - old)
    old = scale * old
    kept = np.exp(-ahead_seconds / motors.unrest.drift_seconds)
    full, load = motors.unrest.drift_kelvin**2, motors.unrest.load_fraction
    variance = full + kept * kept * (drawn.drift_variance - full)
    variance = variance + 2 * kept * old * drawn.shared_variance
    variance = variance + old * old * drawn.load_variance + (load * new) ** 2
    return kept * drawn.drift_kelvin + old * drawn.load_fraction, np.sqrt(np.maximum(variance, 0.0))


def weighted_quantiles(values: Quantities, shares: Shares) -> Quantities:
    """Give the quantiles 0.05, 0.5 and 0.95 of weighted values.

    ``min v: sum of shares of values <= v is >= q``

    Parameters
    ----------
    values : ndarray, shape (n,)
        Of any unit; inf sorts last.
    shares : ndarray, shape (n,)
        Their weights.

    Returns
    -------
    ndarray, shape (3,)
        In the values' unit.

    Source
    ------
    Definition of a quantile.

    Examples
    --------
    >>> weighted_quantiles(np.array([3.0, 1.0, 2.0]), np.array([0.2, 0.4, 0.4]))
    array([1., 2., 3.])
    """
    order = np.argsort(values, kind="stable")
    grown = np.cumsum(shares[order])
    chosen = np.searchsorted(grown, np.array(_QUANTILES) * grown[-1])
    found: Quantities = values[order[np.minimum(chosen, values.size - 1)]]
    return found
