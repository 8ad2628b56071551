"""What is known of a motor: constants with intervals, the ensemble, and how it is written down."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

from .thermal_drift import Unrest
from .thermal_ensemble import Body, Member, members_of
from .thermal_status import Status

Quantity = float
"""A number in the unit of the field that holds it."""


class Bounds(NamedTuple):
    """A number with its two-sided 90 % interval, in the unit of the field that holds it."""

    low: Quantity
    best: Quantity
    high: Quantity


@dataclass(frozen=True)
class MotorFit:
    """A motor as its readings tell it. Constants are those of one body at the usual load.

    ``members`` are coordinates of equally plausible motors with two bodies, for forecasts.
    """

    status: Status
    body: Body
    ambient_source: Literal["measured", "estimated", "assumed"]
    fitted_seconds: float | None
    reading_count: int
    used_count: int
    rise_kelvin: Bounds | None
    heating_time_constant_seconds: Bounds | None
    cooling_time_constant_seconds: Bounds | None
    ambient_celsius: Bounds | None
    slope_kelvin_per_second: Bounds | None
    level_celsius: float | None
    residual_kelvin: float | None
    sigma_kelvin: float | None
    longest_run_seconds: float | None
    valid_run_seconds: float | None
    covariance: tuple[tuple[float, ...], ...]
    unrest: Unrest | None
    members: tuple[tuple[float, ...], ...]

    @property
    def is_forecasting(self) -> bool:
        """Say whether what comes can be forecast, and not only bounded.

        ``status in (no_cooling, identified)``

        Returns
        -------
        bool
            False where only safe bounds are known, or less.

        Source
        ------
        Definition made here.

        Examples
        --------
        >>> from .thermal_fit import fit_motor
        >>> fit_motor([], [], [], [], body="housing").is_forecasting
        False
        """
        return self.status in ("no_cooling", "identified")

    def motors(self) -> Member:
        """Give the motors of the ensemble as arrays.

        ``members_of(members)``

        Returns
        -------
        Member
            Arrays of shape (64,); ambient is the last measured one plus an offset, or estimated.

        Source
        ------
        ``members_of``

        Examples
        --------
        >>> from .thermal_fit import fit_motor
        >>> fit_motor([], [], [], [], body="housing").motors().rise_kelvin
        array([], dtype=float64)
        """
        return members_of(np.array(self.members, dtype=np.float64).reshape(-1, 6), self.body)

    def as_text(self) -> str:
        """Write the fit down so that ``fit_from_text`` gives it back, bit for bit.

        ``fit_from_text(fit.as_text()) == fit``

        Returns
        -------
        str
            JSON.

        Source
        ------
        RFC 8259; doubles are written with as many digits as they need.

        Examples
        --------
        >>> from .thermal_fit import fit_motor
        >>> fit = fit_motor([], [], [], [], body="housing")
        >>> fit_from_text(fit.as_text()) == fit
        True
        """
        return json.dumps(self.__dict__, separators=(",", ":"))


def fit_from_text(text: str) -> MotorFit:
    """Read a fit that was written down.

    ``fit_from_text(fit.as_text()) == fit``

    Parameters
    ----------
    text : str
        What ``as_text`` gave.

    Returns
    -------
    MotorFit
        The same fit.

    Source
    ------
    RFC 8259; definition made here.

    Examples
    --------
    >>> from .thermal_fit import fit_motor
    >>> fit_from_text(fit_motor([], [], [], [], body="winding").as_text()).body
    'winding'
    """
    told = json.loads(text)
    for name in ("rise_kelvin", "heating_time_constant_seconds", "cooling_time_constant_seconds",
                 "ambient_celsius", "slope_kelvin_per_second"):  # fmt: skip
        told[name] = None if told[name] is None else Bounds(*told[name])
    for name in ("covariance", "members"):
        told[name] = tuple(tuple(row) for row in told[name])
    told["unrest"] = None if told["unrest"] is None else Unrest(*told["unrest"])
    return MotorFit(**told)
