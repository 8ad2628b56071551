"""A motor's temperature reading against the limit of the body it was measured on."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from typing import Literal

from .answers import MotorState
from .records import Motor
from .thermal_classes import class_limit_celsius

STALE_SECONDS = 900.0
"""A reading older than this says nothing about now: a motor can heat or cool by tens of kelvin
in a quarter of an hour (our choice, no source). It is still shown."""


def applied_limit_celsius(motor: Motor | None) -> float | None:
    """Choose the temperature a motor's readings are held to.

    ``limit = given limit, else class temperature if the sensor is in the winding, else none``

    Parameters
    ----------
    motor : Motor or None
        What the plate says: sensor, limit, thermal class.

    Returns
    -------
    float or None
        Degrees Celsius; None = no limit is known for what the sensor measures.

    Raises
    ------
    ValueError
        The thermal class does not exist.

    Valid
    -----
    A housing lags behind its winding and stays far below: it never gets the winding's class.

    Source
    ------
    IEC 60085, thermal classes; the rule is a definition made here.

    Examples
    --------
    >>> applied_limit_celsius(Motor(sensor="winding", thermal_class=155))
    155.0
    >>> applied_limit_celsius(Motor(sensor="housing", thermal_class=155)) is None
    True
    """
    if motor is None:
        return None
    if motor.limit_celsius is None and motor.sensor == "winding":
        rated = motor.thermal_class
        return None if rated is None else class_limit_celsius(rated)
    return motor.limit_celsius


def judge_reading(
    *,
    reading_celsius: float | None,
    read_at: datetime | None,
    motor: Motor | None,
    as_of: datetime,
) -> MotorState:
    """Judge the latest motor temperature reading against caution and limit.

    ``over: T >= limit;  warm: T >= caution;  else ok``

    Parameters
    ----------
    reading_celsius : float or None
        The latest reading in degrees Celsius; None = there is none.
    read_at : datetime or None
        When it was read, aware; None = there is none.
    motor : Motor or None
        What the plate says: sensor, caution, limit, thermal class.
    as_of : datetime
        The instant judged, aware.

    Returns
    -------
    answers.MotorState
        ``unknown`` without a reading, with one older than 900 s, or with neither caution nor
        limit known; ``limit_celsius`` is the limit applied, None when there is none.

    Raises
    ------
    ValueError
        The reading is not finite, an instant is naive, or the thermal class does not exist.

    Valid
    -----
    A limit given for the grinder wins. Else a winding sensor is held to its thermal class; a
    housing sensor never is, since a housing lags and stays far below the winding. A caution alone
    is enough for ``warm`` and ``ok``, as it lies below any limit. A reading from after ``as_of``
    is not known yet.

    Source
    ------
    IEC 60085, thermal classes; the comparison is a definition made here.

    Examples
    --------
    >>> from datetime import UTC
    >>> noon = datetime(2026, 5, 4, 12, tzinfo=UTC)
    >>> judge_reading(reading_celsius=81.0, read_at=noon, as_of=noon,
    ...     motor=Motor(sensor="housing", limit_celsius=80.0)).state
    'over'
    """
    if as_of.utcoffset() is None or (read_at is not None and read_at.utcoffset() is None):
        raise ValueError("instants must be aware (have an offset)")
    if reading_celsius is not None and not math.isfinite(reading_celsius):
        raise ValueError(f"the reading must be finite, not {reading_celsius}")
    if reading_celsius is None or read_at is None or read_at > as_of:
        reading_celsius = read_at = None
    sensor = None if motor is None else motor.sensor
    caution = None if motor is None else motor.caution_celsius
    limit = applied_limit_celsius(motor)
    state: Literal["ok", "warm", "over", "unknown"] = "ok"
    is_fresh = read_at is not None and as_of - read_at <= timedelta(seconds=STALE_SECONDS)
    if reading_celsius is None or not is_fresh or (limit is None and caution is None):
        state = "unknown"
    elif limit is not None and reading_celsius >= limit:
        state = "over"
    elif caution is not None and reading_celsius >= caution:
        state = "warm"
    return MotorState(
        state=state,
        reading_celsius=reading_celsius,
        read_at=read_at,
        sensor=sensor,
        caution_celsius=caution,
        limit_celsius=limit,
    )
