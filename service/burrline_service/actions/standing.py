"""How a grinder stands at an instant: one status put together from sums and recent runs."""

from __future__ import annotations

from datetime import datetime, timedelta

from ..core.answers import (
    MotorState,
    OpenAlert,
    Status,
    Throughput,
)
from ..core.burrs import end_of
from ..core.calendar import day_bounds
from ..core.duty import DEFAULT_CYCLE_SECONDS, rating_limit
from ..core.heat import judge_reading
from ..core.nameplate import burr_set_of
from ..core.prior import expected_break_in
from ..core.quality import FUTURE_SECONDS
from ..core.records import BurrSet
from ..core.throughput import estimated_grams, flow_grams_per_second
from ..store import burr_sets, readings, state, stretches
from ..store.database import Connection
from ..store.grinders import GrinderRow
from ..store.sums import Sums
from ..store.tables import HOUR_MS
from ..store.types import to_instant, to_milliseconds
from . import alerting
from .asked import Asked
from .counting import Counter, counts_seconds, total_of
from .fittings import entries_of
from .on_time import PLACED, duty_of

READING_LOOK_BACK_MS = 24 * HOUR_MS
LOOK_BACK = timedelta(days=4)
"""How far before its instant an answer asks for single runs, at the very most.

The local day (at most 26 h), the longest cycle and the longest run (48 h + 6 h), and the latest
reading (24 h); all else comes from sums by the hour, or is kept.
"""


def status_of(
    connection: Connection,
    account_no: int,
    found: GrinderRow,
    *,
    as_of: datetime | None,
    now: datetime,
) -> Status:
    at = now if as_of is None else as_of
    at_ms = to_milliseconds(at)
    # A device whose clock runs a little ahead sees its run counted at once.
    ahead = timedelta(seconds=0 if as_of is not None else FUTURE_SECONDS)
    end_ms = to_milliseconds(at + ahead) + 1
    rated = found.grinder.rated_duty
    cycle_seconds = DEFAULT_CYCLE_SECONDS if rated is None else rating_limit(rated)[1]
    cycle_ms = round(cycle_seconds * 1000)
    kept = state.of_grinder(connection, account_no, found.grinder_no)
    counter = Counter(
        connection,
        account_no,
        found.grinder_no,
        at_ms=at_ms,
        end_ms=end_ms,
        is_shared=kept.is_shared,
    )
    recent = stretches.reaching(
        connection, account_no, found.grinder_no, since_ms=at_ms - cycle_ms, to_ms=end_ms
    )
    restored = {row.run_key: part for row, part in counter.restored}
    asked = Asked(
        connection=connection,
        account_no=account_no,
        grinder_no=found.grinder_no,
        grinder=found.grinder,
        at=at,
        at_ms=at_ms,
        end_ms=end_ms,
        cycle_ms=cycle_ms,
        kept=kept,
        recent=[
            stretch._replace(part=restored.get(stretch.run_key, stretch.part)) for stretch in recent
        ],
        counter=counter,
    )
    burr_set, burr_sums = _burrs(asked)
    everything = counter.between(0, end_ms)
    coffee = total_of(everything, only_coffee=True)
    flow = _flow(asked, coffee if burr_set is None else burr_sums)
    throughput = _throughput(
        asked, found, burr_set, burr_sums, coffee, total_of(everything).on_ms, flow
    )
    return Status(
        grinder_id=found.grinder.grinder_id,
        site_id=found.grinder.site_id,
        name=found.grinder.name,
        as_of=to_instant(at_ms),
        throughput=throughput,
        duty=duty_of(asked, flow),
        motor=_motor(asked),
        break_in=expected_break_in(
            burr_set, throughput.burr_grams, throughput.burr_estimated_grams
        ),
        alerts=tuple(
            OpenAlert(episode.kind, episode.severity, to_instant(episode.opened_at_ms))
            for episode in alerting.episodes_of(
                connection, account_no, found, from_ms=at_ms, until_ms=at_ms
            )
            if episode.closed_at_ms is None
        ),
        revision=asked.kept.revision,
    )


def _burrs(asked: Asked) -> tuple[BurrSet | None, Sums]:
    """The set that is in the grinder at the instant, and the coffee through it until then."""
    around = burr_sets.fittings_around(
        asked.connection, asked.account_no, grinder_nos=[asked.grinder_no]
    )
    # a fitting to come cannot end one that lasts now, but neither may it be seen yet
    entries = entries_of(around)
    stays = [(row, end_of(entry, entries)) for row, entry in zip(around, entries, strict=True)]
    current = next(
        (
            row
            for row, ended_at in stays
            if row.grinder_no == asked.grinder_no
            and row.fitted_at <= asked.at
            and (ended_at is None or ended_at > asked.at)
        ),
        None,
    )
    if current is None:
        return None, Sums()
    through = Sums()
    for row, ended_at in stays:
        if row.burr_set_no != current.burr_set_no or row.fitted_at > asked.at:
            continue
        high_ms = asked.end_ms
        if ended_at is not None and ended_at <= asked.at:
            high_ms = to_milliseconds(ended_at)
        counter = asked.counter
        if row.grinder_no != asked.grinder_no:
            there = state.of_grinder(asked.connection, asked.account_no, row.grinder_no)
            counter = Counter(
                asked.connection,
                asked.account_no,
                row.grinder_no,
                at_ms=asked.at_ms,
                end_ms=asked.end_ms,
                is_shared=there.is_shared,
            )
        through = through.plus(counter.coffee(to_milliseconds(row.fitted_at), high_ms))
    kept = burr_sets.by_nos(asked.connection, asked.account_no, [current.burr_set_no])
    described = kept[current.burr_set_no]
    record = burr_set_of(
        described.description,
        burr_set_id=described.burr_set_id,
        created_at=described.created_at,
        revision=described.revision,
        fittings=(),
    )
    return record, through


def _flow(asked: Asked, measured: Sums) -> float | None:
    grind = asked.grinder.grind
    return flow_grams_per_second(
        measured.paired_mg,
        measured.paired_ms,
        None if grind is None else grind.expected_grams_per_second,
    )


def _throughput(
    asked: Asked,
    found: GrinderRow,
    burr_set: BurrSet | None,
    through: Sums,
    coffee: Sums,
    on_ms: int,
    flow: float | None,
) -> Throughput:
    day_start, _ = day_bounds(asked.at, found.site.time_zone)
    today = asked.counter.coffee(to_milliseconds(day_start), asked.end_ms)
    last_ms = stretches.last_started_ms(
        asked.connection, asked.account_no, asked.grinder_no, before_ms=asked.end_ms
    )
    flow_of_all = _flow(asked, coffee)
    burr_grams = None if burr_set is None else through.grams_mg / 1000
    total_burr_grams = None
    if burr_set is not None and burr_set.prior_grams is not None:
        total_burr_grams = burr_set.prior_grams + through.grams_mg / 1000
    return Throughput(
        burr_set_id=None if burr_set is None else burr_set.burr_set_id,
        burr_grams=burr_grams,
        total_burr_grams=total_burr_grams,
        burr_run_count=None if burr_set is None else through.run_count,
        burr_estimated_grams=(
            None
            if burr_set is None
            else estimated_grams(through.estimated_mg, through.ungrammed_ms, flow)
        ),
        grinder_grams=coffee.grams_mg / 1000,
        grinder_estimated_grams=estimated_grams(
            coffee.estimated_mg, coffee.ungrammed_ms, flow_of_all
        ),
        grinder_run_seconds=(on_ms - _still_to_come_ms(asked)) / 1000,
        motor_run_seconds=_motor_ms(asked, on_ms) / 1000,
        today_grams=today.grams_mg / 1000,
        today_estimated_grams=estimated_grams(today.estimated_mg, today.ungrammed_ms, flow_of_all),
        last_run_at=None if last_ms is None else to_instant(last_ms),
    )


def _motor_ms(asked: Asked, all_on_ms: int) -> int:
    """Motor time of the runs begun since the motor was put in, up to the instant."""
    began_ms = asked.counter.motor_began_ms
    if began_ms:
        all_on_ms = total_of(asked.counter.between(began_ms, asked.end_ms)).on_ms
    return all_on_ms - _still_to_come_ms(asked, since_ms=began_ms)


def _still_to_come_ms(asked: Asked, *, since_ms: int = 0) -> int:
    """Motor time after the instant of runs counted by then: a run is clipped there."""
    return sum(
        max(0, stretch.started_ms + (stretch.on_ms or 0) - max(asked.at_ms, stretch.started_ms))
        for stretch in asked.recent
        if counts_seconds(stretch.part) and stretch.started_ms >= since_ms
    )


def _motor(asked: Asked) -> MotorState:
    """The latest of the readings at runs' ends and of those read between and during runs."""
    low_ms = asked.at_ms - READING_LOOK_BACK_MS
    at_end = stretches.motor_reading(
        asked.connection,
        asked.account_no,
        asked.grinder_no,
        from_ms=low_ms,
        to_ms=asked.at_ms,
        time_sources=PLACED,
    )
    between = readings.latest_motor(
        asked.connection, asked.account_no, asked.grinder_no, from_ms=low_ms, to_ms=asked.at_ms
    )
    latest = max((found for found in (at_end, between) if found is not None), default=None)
    return judge_reading(
        reading_celsius=None if latest is None else latest[1] / 10,
        read_at=None if latest is None else to_instant(latest[0]),
        motor=asked.grinder.motor,
        as_of=asked.at,
    )
