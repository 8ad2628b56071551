"""Whether a run of a given length may begin now, and if not, when: advice, not permission."""

from __future__ import annotations

from datetime import datetime

from ..core.answers import Allowance
from ..core.duty import DEFAULT_CYCLE_SECONDS, rating_limit
from ..core.duty_wait import allow_by_duty
from ..core.motor_answers import RunReadiness
from ..core.motor_words import cautions_for
from ..core.readiness import judge_readiness
from ..core.records import Caller, RatedDuty
from ..store.database import Connection, Database
from ..store.types import to_instant, to_milliseconds
from .duty_report import grinder_then
from .known_time import Interval, Told, look_back_ms, seconds_of
from .motor_allowance import temperature_allowance
from .motor_fitting import Memo, keep
from .motor_heat import Heat, heat_of


def get_readiness(
    database: Database,
    caller: Caller,
    *,
    grinder_id: str,
    run_seconds: float,
    as_of: datetime | None = None,
    now: datetime,
) -> RunReadiness:
    """By the plate's duty rating and the temperature limit, whichever asks for more."""
    at = now if as_of is None else as_of

    def work(connection: Connection) -> tuple[RunReadiness, Memo | None]:
        found = grinder_then(connection, caller, grinder_id, as_of=as_of, now=now)
        at_ms = to_milliseconds(at)
        told = Told(connection, caller.account_no, found, at_ms=at_ms)
        heat = heat_of(connection, caller.account_no, found, told.marks.kept, at_ms=at_ms)
        return _readiness(told, heat, run_seconds), heat.memo

    readiness, memo = database.read(caller.account_no, work)
    keep(database, caller.account_no, memo)
    return readiness


def _readiness(told: Told, heat: Heat, run_seconds: float) -> RunReadiness:
    grinder, at_ms = told.found.grinder, told.at_ms
    rated = grinder.rated_duty
    cycle = DEFAULT_CYCLE_SECONDS if rated is None else rating_limit(rated)[1]
    cycle_ms, back_ms = round(cycle * 1000), look_back_ms(rated)
    last = told.within(at_ms - cycle_ms, at_ms)
    known, possible = None, None
    if rated is not None and (rated.kind == "continuous" or rating_limit(rated)[0] is not None):
        counted = last if back_ms == cycle_ms else told.within(at_ms - back_ms, at_ms)
        known = _allowed(counted.ran, at_ms, run_seconds, rated, heat)
        maybe = counted.may_have_run
        if maybe:
            possible = _allowed([*counted.ran, *maybe], at_ms, run_seconds, rated, heat)
    judged = judge_readiness(
        now_at=to_instant(at_ms),
        run_seconds=run_seconds,
        known_duty=known,
        possible_duty=possible,
        coverage_fraction=round(min(last.covered_seconds / cycle, 1.0), 6),
        temperature=temperature_allowance(heat, run_seconds),
        is_trip_suspected=heat.trip is not None,
    )
    return RunReadiness(
        grinder_id=grinder.grinder_id,
        as_of=to_instant(at_ms),
        run_seconds=run_seconds,
        state=judged.state,
        ready_at=judged.ready_at,
        wait_seconds=judged.wait_seconds,
        limited_by=judged.limited_by,
        longest_run_seconds=judged.longest_run_seconds,
        coverage_fraction=judged.coverage_fraction,
        sentence=judged.sentence,
        cautions=cautions_for(hottest_celsius=heat.hottest_celsius, body=heat.body),
    )


def _allowed(
    ran: list[Interval], at_ms: int, run_seconds: float, rated: RatedDuty, heat: Heat
) -> Allowance:
    return allow_by_duty(
        *seconds_of(ran, at_ms),
        now_seconds=0.0,
        run_seconds=run_seconds,
        rated=rated,
        thermal=heat.slowest,
        # whether it is cold: what is certain, else a wide interval would never let it be
        celsius=None if heat.estimate is None else heat.estimate.low,
    )
