"""Motor-on time over a stretch of time against the plate's rating."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

from ..core.calendar import buckets
from ..core.duty import DEFAULT_CYCLE_SECONDS, judge_duty, rating_limit
from ..core.duty_history import duty_history, duty_peak
from ..core.duty_wait import allow_by_duty
from ..core.errors import Fault, Invalid
from ..core.motor_answers import DutyHour, DutyReport
from ..core.records import Caller
from ..store import grinders
from ..store.database import Connection, Database
from ..store.grinders import GrinderRow
from ..store.types import to_instant, to_milliseconds
from . import reach
from .history import EARLIEST_AT
from .known_time import KnownTime, Told, look_back_ms, seconds_of

DEFAULT_SPAN = timedelta(days=1)
LONGEST_SPAN = timedelta(days=92)


def get_duty(
    database: Database,
    caller: Caller,
    *,
    grinder_id: str,
    from_at: datetime | None = None,
    to_at: datetime | None = None,
    as_of: datetime | None = None,
    now: datetime,
) -> DutyReport:
    """On-time of a stretch of time (default the last day), and how the grinder stands."""
    at = now if as_of is None else as_of
    high_at = min(to_at or at, at)
    asked = {"from": from_at, "to": to_at, "as_of": as_of}
    early = [name for name, given in asked.items() if given is not None and given < EARLIEST_AT]
    if early:
        raise Invalid(
            *(Fault("must not be before 1973", parameter=name, place="query") for name in early)
        )
    low_at = from_at or high_at - DEFAULT_SPAN
    if low_at >= high_at:
        raise Invalid(Fault("must be earlier than to", parameter="from", place="query"))
    if high_at - low_at > LONGEST_SPAN:
        raise Invalid(
            Fault(f"ask for at most {LONGEST_SPAN.days} days", parameter="from", place="query")
        )

    def work(connection: Connection) -> DutyReport:
        found = grinder_then(connection, caller, grinder_id, as_of=as_of, now=now)
        return _report(connection, caller.account_no, found, low_at, high_at, at)

    return database.read(caller.account_no, work)


def grinder_then(
    connection: Connection,
    caller: Caller,
    grinder_id: str,
    *,
    as_of: datetime | None,
    now: datetime,
) -> GrinderRow:
    """The grinder as of an instant (default now) that may be asked for, or a refusal."""
    found = reach.grinder_of(connection, caller, grinder_id, now=now)
    if as_of is None:
        return found
    reach.check_instant(connection, caller, found, as_of=as_of, now=now)
    return grinders.by_nos(connection, caller.account_no, [found.grinder_no], as_of=as_of)[
        found.grinder_no
    ]


def _report(
    connection: Connection,
    account_no: int,
    found: GrinderRow,
    low_at: datetime,
    high_at: datetime,
    at: datetime,
) -> DutyReport:
    low_ms, high_ms, at_ms = map(to_milliseconds, (low_at, high_at, at))
    rated = found.grinder.rated_duty
    limit, cycle = (None, DEFAULT_CYCLE_SECONDS) if rated is None else rating_limit(rated)
    cycle_ms = round(cycle * 1000)
    told = Told(connection, account_no, found, at_ms=at_ms)
    period = told.within(low_ms - cycle_ms, high_ms)
    last = told.within(at_ms - cycle_ms, at_ms)
    peak = duty_peak(
        *seconds_of(period.ran, low_ms),
        *seconds_of(period.covered, low_ms),
        cycle_seconds=cycle,
        low_seconds=0.0,
        high_seconds=(high_ms - low_ms) / 1000,
    )
    hours = _hours(period, found, low_at, high_at, low_ms)
    (whole,) = _spans(period, [(low_at, high_at)], low_ms)
    duty = judge_duty(
        starts_seconds=[low / 1000 for low, _ in last.ran],
        ends_seconds=[high / 1000 for _, high in last.ran],
        now_seconds=at_ms / 1000,
        first_known_seconds=None if last.first_known_ms is None else last.first_known_ms / 1000,
        possible_on_seconds=last.possible_on_seconds,
        rated=rated,
        covered_seconds=last.covered_seconds,
    )
    rest_seconds = None
    if duty.ready_at is not None:
        rest_seconds = max(0.0, (to_milliseconds(duty.ready_at) - at_ms) / 1000)
    back_ms = look_back_ms(rated)
    counted = last if back_ms == cycle_ms else told.within(at_ms - back_ms, at_ms)
    allowed = allow_by_duty(
        *seconds_of(counted.ran, at_ms), now_seconds=0.0, run_seconds=0.0, rated=rated
    )
    longest = allowed.longest_run_seconds
    # before a run from cold, nothing may lie in time that nobody knows
    is_doubtful = duty.state == "unknown" or (counted is not last and counted.may_have_run)
    if is_doubtful or longest is None or math.isinf(longest):
        longest = None
    return DutyReport(
        grinder_id=found.grinder.grinder_id,
        time_zone=found.site.time_zone,
        as_of=to_instant(at_ms),
        from_at=to_instant(low_ms),
        to_at=to_instant(high_ms),
        on_seconds=whole.on_seconds,
        low_fraction=whole.low_fraction,
        high_fraction=1.0 if period.is_unbounded else whole.high_fraction,
        coverage_fraction=whole.coverage_fraction,
        cycle_seconds=cycle,
        rated_on_seconds=limit,
        rolling_maximum_on_seconds=round(peak.on_seconds, 3),
        rolling_maximum_at=(
            to_instant(low_ms + round(peak.at_seconds * 1000)) if peak.on_seconds > 0 else None
        ),
        state=duty.state,
        ready_at=duty.ready_at,
        rest_seconds=rest_seconds,
        longest_run_seconds=None if longest is None else round(longest, 3),
        hours=hours,
    )


def _hours(
    period: KnownTime, found: GrinderRow, low_at: datetime, high_at: datetime, low_ms: int
) -> tuple[DutyHour, ...]:
    edges = buckets(low_at, high_at, "hour", found.site.time_zone)
    clipped = [(max(start, low_at), min(end, high_at)) for start, end in edges]
    return _spans(period, [span for span in clipped if span[0] < span[1]], low_ms)


def _spans(
    period: KnownTime, spans: list[tuple[datetime, datetime]], low_ms: int
) -> tuple[DutyHour, ...]:
    """The stretches, which follow each other without gaps, each with its on-time."""
    edges_ms = [to_milliseconds(start) for start, _ in spans] + [to_milliseconds(spans[-1][1])]
    edges_seconds = [(edge - low_ms) / 1000 for edge in edges_ms]
    covered = seconds_of(period.covered, low_ms)
    known = duty_history(*seconds_of(period.ran, low_ms), *covered, edges_seconds)
    maybe = duty_history(
        *seconds_of([*period.ran, *period.possible], low_ms), *covered, edges_seconds
    )
    return tuple(
        DutyHour(
            from_at=start.astimezone(UTC),
            to_at=end.astimezone(UTC),
            on_seconds=round(float(known.on_seconds[index]), 3),
            low_fraction=round(float(known.low_fraction[index]), 6),
            high_fraction=round(float(maybe.high_fraction[index]), 6),
            coverage_fraction=round(
                float(known.covered_seconds[index])
                / (edges_seconds[index + 1] - edges_seconds[index]),
                6,
            ),
        )
        for index, (start, end) in enumerate(spans)
    )
