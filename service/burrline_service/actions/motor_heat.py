"""How hot a motor is at an instant, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass, replace

from ..core.heat import STALE_SECONDS, applied_limit_celsius
from ..core.motor_answers import SuspectedTrip
from ..core.thermal import Thermal
from ..core.thermal_forecast import MEMORY_SECONDS, motors_at, temperatures_celsius
from ..core.thermal_motor import Bounds, MotorFit
from ..core.thermal_rest import rested
from ..core.thermal_warm import WarmMotors
from ..store.database import Connection
from ..store.early import fit_border_ms
from ..store.grinders import GrinderRow
from ..store.state import State
from .motor_fitting import Heard, Memo, body_of, fit_as_of, heard_between, thinned
from .segments import Care, care_of
from .trips import trip_of

MEMORY_MS = round(MEMORY_SECONDS * 1000)
Resting = tuple[int, WarmMotors]
STALE_MS = round(STALE_SECONDS * 1000)


@dataclass(frozen=True)
class Heat:
    """What is known of a motor's heat at an instant (ms); temperatures in degrees Celsius.

    ``reading`` is the latest of the last 24 hours with its instant in ms. ``warm`` is the
    ensemble at the instant, None where the fit has none; ``resting`` the one that the motor rests
    from, and since when.
    """

    at_ms: int
    body: str
    care: Care
    fit: MotorFit
    fitted_ms: int | None
    warm: WarmMotors | None
    resting: Resting | None
    estimate: Bounds | None
    reading: tuple[int, float] | None
    caution_celsius: float | None
    limit_celsius: float | None
    trip: SuspectedTrip | None
    memo: Memo | None

    @property
    def high_celsius(self) -> float | None:
        """As hot as it may be: the estimate's upper limit, without one a fresh reading."""
        if self.estimate is not None:
            return self.estimate.high
        return self.fresh_celsius

    @property
    def fresh_celsius(self) -> float | None:
        """The latest reading, when it still says something about the instant."""
        if self.reading is None or self.at_ms - self.reading[0] > STALE_MS:
            return None
        return self.reading[1]

    @property
    def hottest_celsius(self) -> float | None:
        known = [one for one in (self.high_celsius, self.fresh_celsius) if one is not None]
        return max(known, default=None)

    @property
    def best(self) -> Thermal | None:
        """The one body that fits best, where all of it is known."""
        fit = self.fit
        if fit.status != "identified":
            return None
        assert fit.rise_kelvin is not None
        assert fit.heating_time_constant_seconds is not None
        assert fit.cooling_time_constant_seconds is not None
        assert fit.ambient_celsius is not None
        return Thermal(
            fit.rise_kelvin.best,
            fit.heating_time_constant_seconds.best,
            fit.cooling_time_constant_seconds.best,
            fit.ambient_celsius.best,
        )

    @property
    def slowest(self) -> Thermal | None:
        """The same, cooling as slowly as it may."""
        best, cooling = self.best, self.fit.cooling_time_constant_seconds
        if best is None or cooling is None:
            return None
        return Thermal(
            best.rise_kelvin,
            best.heating_time_constant_seconds,
            cooling.high,
            best.ambient_celsius,
        )


def heat_of(
    connection: Connection,
    account_no: int,
    found: GrinderRow,
    state: State,
    *,
    at_ms: int,
    with_trip: bool = True,
) -> Heat:
    """From every fact up to an instant; ``with_trip`` looks for one, which takes its time."""
    placed = (connection, account_no)
    care = care_of(*placed, found, at_ms=at_ms)
    fitted = fit_as_of(*placed, found, state, segment_ms=care.started_ms, at_ms=at_ms)
    # the same for all instants of ten minutes, as the fit is: what rests then cools from one base
    since_ms = max(fit_border_ms(at_ms) - MEMORY_MS, care.started_ms or 0)
    recent = heard_between(*placed, found.grinder_no, from_ms=since_ms, to_ms=at_ms)
    reading = _latest(recent, at_ms)
    if reading is None and care.started_ms is not None and care.started_ms > at_ms - MEMORY_MS:
        # how hot it was read stands, whatever was done to it: only what it tells of a model ends
        before = heard_between(
            *placed, found.grinder_no, from_ms=at_ms - MEMORY_MS, to_ms=care.started_ms
        )
        reading = _latest(before, at_ms)
    warm, resting = _warm(connection, account_no, found, fitted.fit, recent, care, at_ms)
    limit_celsius = applied_limit_celsius(found.grinder.motor)
    motor = found.grinder.motor
    return Heat(
        at_ms=at_ms,
        body=body_of(found),
        care=care,
        fit=fitted.fit,
        fitted_ms=fitted.fitted_ms,
        warm=warm,
        resting=resting,
        estimate=estimate_of(fitted.fit, warm),
        reading=reading,
        caution_celsius=None if motor is None else motor.caution_celsius,
        limit_celsius=limit_celsius,
        trip=trip_of(*placed, found, care, limit_celsius=limit_celsius, at_ms=at_ms)
        if with_trip
        else None,
        memo=fitted.memo,
    )


def _latest(recent: Heard, at_ms: int) -> tuple[int, float] | None:
    """The latest reading of the last 24 hours, the hottest of several at one instant."""
    found = max(zip(recent.read_at_seconds, recent.read_celsius, strict=True), default=None)
    if found is None or round(found[0] * 1000) <= at_ms - MEMORY_MS:
        return None
    return round(found[0] * 1000), found[1]


def estimate_of(fit: MotorFit, warm: WarmMotors | None) -> Bounds | None:
    if warm is None or fit.status == "level_only":
        return None
    low, best, high = temperatures_celsius(warm)[0].tolist()
    return Bounds(round(low, 2), round(best, 2), round(high, 2))


def later(heat: Heat, at_ms: int) -> Heat | None:
    """The same at a later instant, nothing having come since; None where that cannot be told.

    Not beyond the ten minutes in which the window of what is remembered of the motor is the same.
    """
    is_near = fit_border_ms(at_ms) == fit_border_ms(heat.at_ms)
    if heat.resting is None or at_ms < heat.at_ms or not is_near:
        return None
    since_ms, base = heat.resting
    warm = rested(base, (at_ms - since_ms) / 1000)
    is_old = heat.reading is not None and heat.reading[0] <= at_ms - MEMORY_MS
    return replace(
        heat,
        at_ms=at_ms,
        warm=warm,
        estimate=estimate_of(heat.fit, warm),
        reading=None if is_old else heat.reading,
        memo=None,
    )


def _warm(
    connection: Connection,
    account_no: int,
    found: GrinderRow,
    fit: MotorFit,
    recent: Heard,
    care: Care,
    at_ms: int,
) -> tuple[WarmMotors | None, Resting | None]:
    """The ensemble at an instant; where the motor rests, by way of its last sign of life."""
    if not fit.members or fit.fitted_seconds is None:
        return None, None
    room_at, room = recent.room_at_seconds, recent.room_celsius
    if fit.ambient_source == "measured" and not room_at:  # longer ago than a motor remembers
        heard = heard_between(
            connection,
            account_no,
            found.grinder_no,
            from_ms=max(round(fit.fitted_seconds * 1000) - 31 * MEMORY_MS, care.started_ms or 0),
            to_ms=at_ms,
        )
        room_at, room = heard.room_at_seconds, heard.room_celsius
        if not room_at:
            return None, None
    read_at, read = thinned(recent.read_at_seconds, recent.read_celsius)
    last_ms = round(1000 * max((0.0, *recent.ends_seconds, *recent.read_at_seconds)))
    rests = 0 < last_ms < at_ms and fit.ambient_source != "measured"
    warm = motors_at(
        fit,
        recent.starts_seconds,
        recent.ends_seconds,
        read_at,
        read,
        [(last_ms if rests else at_ms) / 1000],
        ambient_at_seconds=room_at,
        ambient_readings_celsius=room,
    )
    if not rests:
        return warm, None
    return rested(warm, (at_ms - last_ms) / 1000), (last_ms, warm)
