"""What the readings tell of a motor: its temperature model, and how hot it is."""

from __future__ import annotations

from datetime import datetime

from ..core.motor_answers import Limits, MotorReport, Parameters, Segment
from ..core.motor_words import cautions_for, motor_sentence
from ..core.records import Caller
from ..core.thermal_duty import sustained_duty_fraction
from ..core.thermal_motor import Bounds
from ..store import state
from ..store.database import Connection, Database
from ..store.types import to_instant, to_milliseconds
from .duty_report import grinder_then
from .motor_allowance import DEFAULT_RUN_SECONDS, advice_of
from .motor_fitting import Memo, keep
from .motor_heat import Heat, heat_of


def get_motor(
    database: Database,
    caller: Caller,
    *,
    grinder_id: str,
    run_seconds: float | None = None,
    as_of: datetime | None = None,
    now: datetime,
) -> MotorReport:
    """The model as its readings tell it, the temperature at an instant, and what follows."""
    at = now if as_of is None else as_of
    asked_seconds = DEFAULT_RUN_SECONDS if run_seconds is None else run_seconds

    def work(connection: Connection) -> tuple[MotorReport, Memo | None]:
        found = grinder_then(connection, caller, grinder_id, as_of=as_of, now=now)
        kept = state.of_grinder(connection, caller.account_no, found.grinder_no)
        heat = heat_of(connection, caller.account_no, found, kept, at_ms=to_milliseconds(at))
        return _report(heat, grinder_id, asked_seconds), heat.memo

    report, memo = database.read(caller.account_no, work)
    keep(database, caller.account_no, memo)
    return report


def _report(heat: Heat, grinder_id: str, run_seconds: float) -> MotorReport:
    fit, estimate, limit = heat.fit, heat.estimate, heat.limit_celsius
    to_limit, rest = advice_of(heat, run_seconds)
    duty = None
    if limit is not None and heat.best is not None:
        duty = round(sustained_duty_fraction(run_seconds, limit, heat.best), 6)
    return MotorReport(
        grinder_id=grinder_id,
        as_of=to_instant(heat.at_ms),
        model=fit.status,
        body=fit.body,
        sentence=motor_sentence(
            model=fit.status,
            body=heat.body,
            estimate_celsius=None if estimate is None else estimate.best,
            low_celsius=None if estimate is None else estimate.low,
            high_celsius=heat.high_celsius if estimate is None else estimate.high,
            limit_celsius=limit,
            to_limit_seconds=to_limit,
            longest_run_seconds=fit.longest_run_seconds,
            reading_count=fit.reading_count,
            is_trip_suspected=heat.trip is not None,
        ),
        parameters=Parameters(
            rise_kelvin=_limits(fit.rise_kelvin, 2),
            heating_time_constant_seconds=_limits(fit.heating_time_constant_seconds, 1),
            cooling_time_constant_seconds=_limits(fit.cooling_time_constant_seconds, 1),
            ambient_celsius=_limits(fit.ambient_celsius, 2),
        ),
        estimate_celsius=None if estimate is None else estimate.best,
        low_celsius=None if estimate is None else estimate.low,
        high_celsius=None if estimate is None else estimate.high,
        reading_celsius=None if heat.reading is None else heat.reading[1],
        read_at=None if heat.reading is None else to_instant(heat.reading[0]),
        caution_celsius=heat.caution_celsius,
        limit_celsius=limit,
        ambient_source=None if fit.status == "insufficient" else fit.ambient_source,
        segment=Segment(
            None if heat.care.started_ms is None else to_instant(heat.care.started_ms),
            heat.care.reason,
        ),
        fitted_at=None if heat.fitted_ms is None else to_instant(heat.fitted_ms),
        reading_count=fit.reading_count,
        used_count=fit.used_count,
        residual_kelvin=_rounded(fit.residual_kelvin, 3),
        noise_kelvin=_rounded(fit.sigma_kelvin, 3),
        longest_run_seconds=_rounded(fit.longest_run_seconds, 3),
        valid_up_to_seconds=_rounded(fit.valid_run_seconds, 3),
        seconds_to_limit=to_limit,
        sustainable_duty_fraction=duty,
        run_seconds=run_seconds,
        rest_seconds=rest,
        suspected_trip=heat.trip,
        cautions=cautions_for(hottest_celsius=heat.hottest_celsius, body=heat.body),
    )


def _limits(bounds: Bounds | None, digits: int) -> Limits | None:
    if bounds is None:
        return None
    return Limits(*(round(one, digits) for one in bounds))


def _rounded(number: float | None, digits: int) -> float | None:
    return None if number is None else round(number, digits)
