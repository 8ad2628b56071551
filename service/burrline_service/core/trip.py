"""The pattern a self-resetting thermal cut-out leaves: a hot stop, a silence, a restart.

Nothing reports a trip, and a person who lets a hot motor rest leaves the same trace, so it is
only ever *suspected*. Criteria, chosen to stay silent over ordinary traffic (our choice; facts
on cut-outs: makers' public tables):

* a *long* run: 30 s and more. Doses take 8 to 20 s, and a dose ends because it is weighed.
* A. a long run ends at or above the limit of the body measured, then nothing runs for 2 minutes
  or more, then something does within 2 hours. A plan or a person who keeps to the limit stops
  below it.
* B. the sensor is in the winding and three long runs in a row end at one temperature, within
  4 K (readings of one bimetal) and at 95 degC or above (the lowest winding bimetals stocked open
  at 100, give or take 5), each followed by such a silence. The first lasts 2 minutes and more;
  the second and the third start warm and last less than two thirds of it; those two, and the two
  silences between, are equal within a tenth, as one bimetal makes them. None is a break-in
  batch: a plan cuts those by temperature.

A silence shorter than 2 minutes is no cooling by the 30 K or so that a bimetal needs to close;
after one longer than 2 hours somebody came back.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

LONG_RUN_SECONDS = 30.0
LEFT_ON_SECONDS = 120.0
"""So long is the first of three runs that tell a cut-out by their likeness."""
LEAST_SILENCE_SECONDS, MOST_SILENCE_SECONDS = 120.0, 7200.0
LOWEST_CUT_OUT_CELSIUS, ONE_CUT_OUT_KELVIN = 95.0, 4.0
READ_WITHIN_SECONDS = 60.0
"""A reading so soon after a stop still tells the temperature of the stop."""


@dataclass(frozen=True)
class MotorRun:
    """What the search for a trip needs of a run."""

    started_at: datetime
    seconds: float
    motor_celsius: float | None = None
    purpose: str | None = None


@dataclass(frozen=True)
class SuspectedTrip:
    """A stop that looks like a thermal cut-out, and the restart that looks unaided."""

    stopped_at: datetime
    restarted_at: datetime
    stopped_celsius: float
    why: str


@dataclass(frozen=True)
class _Stop:
    """A long run's hot end with the silence and the restart after it."""

    run: MotorRun
    celsius: float
    restarted_at: datetime | None


def suspected_trip(
    runs: Iterable[MotorRun],
    readings: Iterable[tuple[datetime, float]] = (),
    *,
    limit_celsius: float | None,
    is_winding: bool,
    acknowledged: Collection[datetime] = (),
) -> SuspectedTrip | None:
    """Find the latest pattern of a self-resetting thermal trip that nobody acknowledged.

    ``hot long run, 120 s <= silence <= 7200 s, restart;  hot: T >= limit, or thrice the same``

    Parameters
    ----------
    runs : iterable of MotorRun
        Runs up to the instant judged, in any order, since the last acknowledgement.
    readings : iterable of tuple
        Instants with motor temperatures in degrees Celsius, in any order.
    limit_celsius : float or None
        Limit of the body measured, in degrees Celsius; None = not known: only the winding's own
        repeated stops can tell.
    is_winding : bool
        Whether the sensor is in the winding.
    acknowledged : collection of datetime
        When somebody said to have looked at the motor: patterns whose stop lies before are done.

    Returns
    -------
    SuspectedTrip or None
        The latest one, or None.

    Valid
    -----
    Order-free. Only long runs that end hot matter, and the run that comes next after each. Never
    a proof: a cut-out that must be reset by hand, and a switch turned off, leave no restart.

    Source
    ------
    Criteria made here; self-reset after cooling by about 30 to 40 K as in makers' public tables.

    Examples
    --------
    >>> from datetime import UTC
    >>> noon = datetime(2026, 5, 4, 12, tzinfo=UTC)
    >>> runs = [MotorRun(noon, 600.0, 121.0), MotorRun(noon + timedelta(minutes=25), 90.0, 118.0)]
    >>> suspected_trip(runs, limit_celsius=120.0, is_winding=True).why
    'It stopped at 121 °C, its limit being 120 °C, stood for 15 min and ran again.'
    """
    last_look = max(acknowledged, default=None)
    ordered = sorted(runs, key=_order)
    stops = _long_stops(ordered, sorted(readings))
    found: list[SuspectedTrip] = []
    for index, stop in enumerate(stops):
        if stop.restarted_at is None:
            continue
        why = _over_limit(stop, limit_celsius)
        if why is None and is_winding:
            why = _thrice_the_same(stops[max(index - 1, 0) : index + 2])
        if why is not None:
            found.append(SuspectedTrip(_end(stop.run), stop.restarted_at, stop.celsius, why))
    open_ones = [trip for trip in found if last_look is None or trip.stopped_at > last_look]
    return max(open_ones, key=lambda trip: trip.stopped_at, default=None)


def _order(run: MotorRun) -> tuple[datetime, float, float, str]:
    celsius = math.inf if run.motor_celsius is None else run.motor_celsius
    return run.started_at, run.seconds, celsius, run.purpose or ""


def _long_stops(
    runs: Sequence[MotorRun], readings: Sequence[tuple[datetime, float]]
) -> list[_Stop]:
    """Every long run with a known temperature at its end, with the restart after its silence."""
    stops: list[_Stop] = []
    latest_end: datetime | None = None
    for index, run in enumerate(runs):
        following = runs[index + 1] if index + 1 < len(runs) else None
        if following == run:
            continue  # reported twice
        end = _end(run)
        is_last_to_stop = latest_end is None or end >= latest_end
        latest_end = end if is_last_to_stop else latest_end
        if run.seconds < LONG_RUN_SECONDS or not is_last_to_stop:
            continue
        restart = None if following is None else following.started_at
        celsius = _stop_celsius(run, restart, readings)
        if celsius is not None:
            silence = -1.0 if restart is None else (restart - end).total_seconds()
            is_silence = LEAST_SILENCE_SECONDS <= silence <= MOST_SILENCE_SECONDS
            stops.append(_Stop(run, celsius, restart if is_silence else None))
    return stops


def _stop_celsius(
    run: MotorRun, following: datetime | None, readings: Sequence[tuple[datetime, float]]
) -> float | None:
    """The run's own reading, else the first one soon after it, before anything runs again."""
    if run.motor_celsius is not None:
        return run.motor_celsius
    until = _end(run) + timedelta(seconds=READ_WITHIN_SECONDS)
    if following is not None:
        until = min(until, following)
    index = bisect_left(readings, (_end(run),))
    if index < len(readings) and readings[index][0] <= until:
        return readings[index][1]
    return None


def _over_limit(stop: _Stop, limit_celsius: float | None) -> str | None:
    if limit_celsius is None or not stop.celsius >= limit_celsius or stop.restarted_at is None:
        return None
    return (
        f"It stopped at {stop.celsius:g} °C, its limit being {limit_celsius:g} °C, stood for "
        f"{_minutes(stop)} min and ran again."
    )


def _thrice_the_same(stops: Sequence[_Stop]) -> str | None:
    """Whether three stops in a row are those of one bimetal; the middle one is told."""
    if len(stops) < 3:
        return None
    first, second, third = stops
    celsius = [stop.celsius for stop in stops]
    is_one_temperature = max(celsius) - min(celsius) <= ONE_CUT_OUT_KELVIN
    is_hot = min(celsius) >= LOWEST_CUT_OUT_CELSIUS
    is_in_a_row = (
        first.restarted_at == second.run.started_at and second.restarted_at == third.run.started_at
    )
    is_shortened = 3 * max(second.run.seconds, third.run.seconds) < 2 * first.run.seconds
    is_left_on = first.run.seconds >= LEFT_ON_SECONDS
    is_alike = _is_alike(second.run.seconds, third.run.seconds) and _is_alike(
        (second.run.started_at - _end(first.run)).total_seconds(),
        (third.run.started_at - _end(second.run)).total_seconds(),
    )
    is_planned = any(stop.run.purpose == "break_in" for stop in stops)
    if is_planned or not (
        is_one_temperature and is_hot and is_in_a_row and is_left_on and is_shortened and is_alike
    ):
        return None
    return (
        f"Three long runs in a row stopped at about {second.celsius:g} °C, the later ones "
        f"shorter than the first, and it stood for minutes after each."
    )


def _is_alike(first_seconds: float, second_seconds: float) -> bool:
    longer = max(first_seconds, second_seconds)
    return abs(first_seconds - second_seconds) <= longer / 10


def _end(run: MotorRun) -> datetime:
    return run.started_at + timedelta(seconds=run.seconds)


def _minutes(stop: _Stop) -> int:
    if stop.restarted_at is None:
        return 0
    return round((stop.restarted_at - _end(stop.run)).total_seconds() / 60)
