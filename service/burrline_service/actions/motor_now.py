"""The motors of a page of statuses: their heat and its forecast, as quickly as it can be told.

What a motor's ensemble was at its last sign of life is remembered in this process: until something
new comes, all that it does is to cool. Only time depends on what is remembered, no answer.
"""

from __future__ import annotations

from dataclasses import replace

from ..core.answers import MotorState
from ..core.episode_facts import Episode
from ..core.episode_span import judged
from ..store import grinders, motor_inputs
from ..store.database import Connection
from ..store.early import FIT_STEP_MS, fit_border_ms
from ..store.types import to_milliseconds
from .asked import Asked
from .heating import BACK_MS, heating_of
from .motor_allowance import DEFAULT_RUN_SECONDS, advice_of
from .motor_fitting import Memo
from .motor_heat import Heat, heat_of, later
from .remembered import Remembered
from .segments import care_of

HEATS: Remembered[tuple[Heat, int]] = Remembered(4096)
"""Each with the instant at which something new is known to come: it holds until then."""


def heat_now(connection: Connection, account_no: int, one: Asked) -> Heat:
    """The heat of a grinder at the instant asked for, without looking for a trip."""
    kept, at_ms = one.marks.kept, one.at_ms
    border_ms = fit_border_ms(at_ms)
    key = (
        account_no,
        one.found.grinder_no,
        kept.revision,
        kept.archived_before,
        one.grinder.revision,
        border_ms,
    )
    remembered = HEATS.get(connection.engine, key)
    if remembered is not None and at_ms < remembered[1]:
        then = later(remembered[0], at_ms)
        if then is not None:
            return then
    heat = heat_of(connection, account_no, one.found, kept, at_ms=at_ms, with_trip=False)
    if heat.resting is not None:
        news_ms = _news_ms(connection, account_no, one, border_ms + FIT_STEP_MS)
        HEATS.put(connection.engine, key, (heat, news_ms))
    return heat


def _news_ms(connection: Connection, account_no: int, one: Asked, end_ms: int) -> int:
    """When the next fact comes after the instant asked for that may change the heat.

    One is there where the instant is a past one, or a fact is dated ahead of the clock.
    """
    placed = (connection, account_no, one.found.grinder_no)
    ran = motor_inputs.runs_between(*placed, from_ms=one.at_ms, to_ms=end_ms)
    read = motor_inputs.readings_between(*placed, from_ms=one.at_ms + 1, to_ms=end_ms)
    changed = care_of(connection, account_no, one.found, at_ms=end_ms).changes
    plates = grinders.plates_from(*placed, since=one.at)
    dated = (
        *(max(run.started_ms, one.at_ms + 1) for run in ran),  # one begun at it goes on
        *(reading.at_ms for reading in read),
        *(at_ms for at_ms, _ in changed),
        *(to_milliseconds(at) for at, _ in plates),
    )
    return min((at_ms for at_ms in dated if at_ms > one.at_ms), default=end_ms)


def heating_now(connection: Connection, account_no: int, one: Asked) -> tuple[Episode, ...]:
    """The forecasts that hold of a grinder at the instant asked for."""
    motor = one.marks.motor
    if motor is None or motor[0] < one.at_ms - BACK_MS[0]:
        return ()
    forecast = heating_of(
        connection, account_no, one.found, one.limits, from_ms=one.at_ms, until_ms=one.at_ms
    )
    return tuple(judged(forecast, one.rules, until_ms=one.at_ms))


def told_by_model(state: MotorState, heat: Heat) -> tuple[MotorState, Memo | None]:
    """The state with what the model says, and a fit that may be kept."""
    estimate = heat.estimate
    to_limit, rest = advice_of(heat, DEFAULT_RUN_SECONDS)
    return (
        replace(
            state,
            model=heat.fit.status,
            estimate_celsius=None if estimate is None else estimate.best,
            low_celsius=None if estimate is None else estimate.low,
            high_celsius=None if estimate is None else estimate.high,
            seconds_to_limit=to_limit,
            rest_seconds=rest,
        ),
        heat.memo,
    )
