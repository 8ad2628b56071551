"""What a motor's readings tell about it: a fit, from raw facts in any order."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .interval_arrays import union_arrays
from .thermal_design import MOST_READINGS_COUNT, informative_readings
from .thermal_drift import Unrest
from .thermal_ensemble import Body, draw_members
from .thermal_motor import Bounds, MotorFit, fit_from_text
from .thermal_one_body import AMBIENT_PRIOR, OneBody, fit_one_body
from .thermal_response import response_table
from .thermal_status import FEWEST_READINGS_COUNT, Status, thermal_status

__all__ = [
    "WINDOW_SECONDS",
    "Bounds",
    "MotorFit",
    "ambient_then_celsius",
    "fit_from_text",
    "fit_motor",
]

Floats = NDArray[np.float64]

WINDOW_SECONDS = 31 * 86400.0
"""How far back a fit looks."""
TRUSTED_RUN_FACTOR = 1.5
"""Beyond so many times the longest run seen, nothing is promised."""
_NORMAL_95 = 1.6448536269514722


def fit_motor(
    on_starts_seconds: ArrayLike,
    on_ends_seconds: ArrayLike,
    reading_at_seconds: ArrayLike,
    readings_celsius: ArrayLike,
    *,
    body: Body,
    ambient_at_seconds: ArrayLike = (),
    ambient_readings_celsius: ArrayLike = (),
) -> MotorFit:
    """Fit a motor to what it read: constants of one body, and an ensemble of two coupled ones.

    ``T = ambient + rise phi(t; tau_h, tau_c)``, then ``+ rise share phi(t; tau_fast) + drift``

    Parameters
    ----------
    on_starts_seconds, on_ends_seconds : array_like, shape (m,)
        Motor-on stretches of the window in s of any clock, in any order; they may overlap.
    reading_at_seconds : array_like, shape (n,)
        When the motor's temperature was read, at run ends, during or between runs, in any order.
    readings_celsius : array_like, shape (n,)
        What was read, in degrees Celsius.
    body : str
        What the sensor measures: the fit is of this body.
    ambient_at_seconds : array_like, shape (k,)
        When the ambient was read, in s of the same clock.
    ambient_readings_celsius : array_like, shape (k,)
        What was read, in degrees Celsius. With none, ambient is estimated.

    Returns
    -------
    MotorFit
        All that follows, ``insufficient`` and empty where nothing does.

    Raises
    ------
    ValueError
        Shapes differ, or a number is not finite.

    Valid
    -----
    At most 400 readings are used, chosen by ``informative_readings``. The result is a function
    of the set of facts, not of their order. Before the first stretch the motor is cold. Load,
    room and cooling are taken to be the same all along, but for a drift.

    Source
    ------
    Derived here: ``fit_one_body``, ``draw_members``, ``thermal_status``; see tests.

    Examples
    --------
    >>> starts, ends = [0.0, 3000.0, 9000.0, 15000.0], [600.0, 4800.0, 9300.0, 16200.0]
    >>> at = [600.0, 2000.0, 4800.0, 6000.0, 9300.0, 16200.0, 17000.0]
    >>> read = [72.2, 51.6, 123.8, 85.2, 63.9, 105.3, 82.5]
    >>> fit_motor(starts, ends, at, read, body="housing").reading_count
    7
    """
    at, readings = _sorted_pairs(reading_at_seconds, readings_celsius)
    room_at, room = _sorted_pairs(ambient_at_seconds, ambient_readings_celsius)
    starts, ends = union_arrays(on_starts_seconds, on_ends_seconds)
    longest = _longest_seen_seconds(starts, ends, at)
    if at.size < FEWEST_READINGS_COUNT or starts.size == 0:
        return _told(None, "insufficient", body, at, at, readings, room.size > 0, longest, None, ())
    origin = float(at[-1])
    starts, ends, used = starts - origin, ends - origin, at - origin
    chosen = informative_readings(starts, ends, used, most_count=MOST_READINGS_COUNT)
    used, read = used[chosen], readings[chosen]
    ambient = None
    reference = 0.0
    if room.size:
        ambient = ambient_then_celsius(at[chosen], room_at, room)
        reference = float(ambient_then_celsius(at[-1:], room_at, room)[0])
    table = response_table(starts, ends, used)
    found = fit_one_body(starts, ends, used, read, ambient_celsius=ambient, table=table)
    status = thermal_status(starts, ends, used, read, found)
    members: tuple[tuple[float, ...], ...] = ()
    unrest = None
    if status != "insufficient":
        points, unrest = draw_members(
            starts, ends, used, read,
            ambient_celsius=ambient, body=body, one_body=found.point, table=table,
        )  # fmt: skip
        unrest = Unrest(*(float(f"{number:.6g}") for number in unrest))
        members = tuple(tuple(float(f"{one:.6g}") for one in row) for row in points.tolist())
    shown = found._replace(point=found.point + np.array([0.0, 0.0, 0.0, reference]))
    return _told(shown, status, body, at, used, read, room.size > 0, longest, unrest, members)


def ambient_then_celsius(
    at_seconds: ArrayLike, ambient_at_seconds: ArrayLike, ambient_readings_celsius: ArrayLike
) -> Floats:
    """Give the ambient temperature at some instants from its readings.

    ``linear between readings, held before the first and after the last``

    Parameters
    ----------
    at_seconds : array_like, shape (n,)
        Instants in s.
    ambient_at_seconds : array_like, shape (k,)
        When the ambient was read, in s, ascending, k >= 1.
    ambient_readings_celsius : array_like, shape (k,)
        What was read, in degrees Celsius.

    Returns
    -------
    ndarray, shape (n,)
        Degrees Celsius.

    Valid
    -----
    A reading tells about some hours around it: with long gaps this is a guess.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> ambient_then_celsius([0.0, 50.0, 300.0], [0.0, 100.0], [20.0, 22.0])
    array([20., 21., 22.])
    """
    at, known_at, known = (
        np.asarray(one, dtype=np.float64)
        for one in (at_seconds, ambient_at_seconds, ambient_readings_celsius)
    )
    return np.interp(at, known_at, known)


def _told(
    found: OneBody | None, status: Status, body: Body, at: object, used: object, read: object,
    is_room_read: bool, longest: float | None, unrest: Unrest | None,
    members: tuple[tuple[float, ...], ...],
) -> MotorFit:  # fmt: skip
    instants, used_at = np.asarray(at), np.asarray(used)
    source: Literal["measured", "estimated", "assumed"] = "measured" if is_room_read else "assumed"
    bounds: dict[str, Bounds | None] = dict.fromkeys(
        ("rise", "heating", "cooling", "room", "slope")
    )
    covariance: tuple[tuple[float, ...], ...] = ()
    if found is not None and status not in ("insufficient", "level_only"):
        turn = np.eye(4)
        turn[2, 1] = 1.0  # ln cooling = ln heating + ln(cooling / heating)
        point, spread = turn @ found.point, turn @ found.covariance @ turn.T
        sd = np.sqrt(np.diag(spread))
        covariance = tuple(tuple(row) for row in spread.tolist())
        slope_sd = math.sqrt(max(spread[0, 0] + spread[1, 1] - 2 * spread[0, 1], 0.0))
        bounds["slope"] = _exponential(point[0] - point[1], slope_sd)
        room = point[3] + np.array([-1.0, 0.0, 1.0]) * _NORMAL_95 * sd[3]
        bounds["room"] = Bounds(*room.tolist())
        if not is_room_read:
            source = "estimated" if sd[3] < 0.7 * AMBIENT_PRIOR[1] else "assumed"
        if status != "slope_only":
            bounds["rise"] = _exponential(point[0], sd[0])
            bounds["heating"] = _exponential(point[1], sd[1])
        if status == "identified":
            bounds["cooling"] = _exponential(point[2], sd[2])
    return MotorFit(
        status=status, body=body, ambient_source=source,
        fitted_seconds=float(instants[-1]) if instants.size else None,
        reading_count=int(instants.size), used_count=int(used_at.size),
        rise_kelvin=bounds["rise"], heating_time_constant_seconds=bounds["heating"],
        cooling_time_constant_seconds=bounds["cooling"], ambient_celsius=bounds["room"],
        slope_kelvin_per_second=bounds["slope"],
        level_celsius=float(np.median(np.asarray(read))) if status == "level_only" else None,
        residual_kelvin=None if found is None else found.residual_kelvin,
        sigma_kelvin=None if found is None else found.sigma_kelvin,
        longest_run_seconds=longest,
        valid_run_seconds=None if longest is None else TRUSTED_RUN_FACTOR * longest,
        covariance=covariance, unrest=unrest, members=members,
    )  # fmt: skip


def _exponential(middle: float, spread: float) -> Bounds:
    return Bounds(*(math.exp(middle + turn * _NORMAL_95 * spread) for turn in (-1.0, 0.0, 1.0)))


def _longest_seen_seconds(starts: object, ends: object, at: object) -> float | None:
    """The longest uninterrupted running at whose end or in which something was read."""
    begins, stops, instants = np.asarray(starts), np.asarray(ends), np.asarray(at)
    if begins.size == 0 or instants.size == 0:
        return None
    run = np.searchsorted(begins, instants, side="left") - 1
    seen = np.minimum(instants, stops[run]) - begins[run]
    return float(np.max(seen[run >= 0], initial=0.0)) or None


def _sorted_pairs(at_seconds: ArrayLike, celsius: ArrayLike) -> tuple[Floats, Floats]:
    at = np.asarray(at_seconds, dtype=np.float64).reshape(-1)
    read = np.asarray(celsius, dtype=np.float64).reshape(-1)
    if at.shape != read.shape:
        raise ValueError(f"instants and readings must be equally many, not {at.size}, {read.size}")
    if not (np.isfinite(at).all() and np.isfinite(read).all()):
        raise ValueError("instants and readings must be finite")
    order = np.lexsort((read, at))
    return at[order], read[order]
