"""How a grinder stands at an instant: one status put together from sums and recent runs."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from ..core.burrs import end_of
from ..core.calendar import day_bounds
from ..core.duty import DEFAULT_CYCLE_SECONDS, judge_duty, rating_limit
from ..core.heat import judge_reading
from ..core.nameplate import burr_set_of
from ..core.prior import expected_break_in
from ..core.quality import FUTURE_SECONDS
from ..core.records import (
    TIME_SOURCES,
    BurrSet,
    Duty,
    Grinder,
    MotorState,
    Status,
    Throughput,
)
from ..core.throughput import estimated_grams, flow_grams_per_second
from ..store import burr_sets, state, stretches, sums
from ..store.database import Connection
from ..store.grinders import GrinderRow
from ..store.state import State
from ..store.stretches import Stretch
from ..store.sums import Sums
from ..store.tables import HOUR_MS
from ..store.types import to_instant, to_milliseconds
from .fittings import entries_of

PLACED = tuple(number for number, name in enumerate(TIME_SOURCES) if name != "received")
READING_LOOK_BACK_MS = 24 * HOUR_MS
LOOK_BACK = timedelta(days=4)
"""How far before its instant an answer asks for single runs, at the very most.

The local day (at most 26 h), the longest cycle and the longest run (48 h + 6 h), and the latest
reading (24 h); all else comes from sums by the hour, or is kept.
"""


@dataclass(frozen=True)
class _Asked:
    """What one answer is about; instants in ms, ``end_ms`` is where counting stops."""

    connection: Connection
    account_no: int
    grinder_no: int
    grinder: Grinder
    at: datetime
    at_ms: int
    end_ms: int
    cycle_ms: int
    kept: State
    recent: list[Stretch]

    def between(self, low_ms: int) -> dict[int, Sums]:
        return sums.between(
            self.connection, self.account_no, self.grinder_no, low_ms=low_ms, high_ms=self.end_ms
        )


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
    asked = _Asked(
        connection=connection,
        account_no=account_no,
        grinder_no=found.grinder_no,
        grinder=found.grinder,
        at=at,
        at_ms=at_ms,
        end_ms=end_ms,
        cycle_ms=cycle_ms,
        kept=state.of_grinder(connection, account_no, found.grinder_no),
        recent=stretches.reaching(
            connection,
            account_no,
            found.grinder_no,
            since_ms=at_ms - cycle_ms,
            to_ms=end_ms,
        ),
    )
    burr_set, burr_sums = _burrs(asked)
    everything = asked.between(0)
    coffee = _total(everything, only_coffee=True)
    flow = _flow(asked, coffee if burr_set is None else burr_sums)
    throughput = _throughput(
        asked, found, burr_set, burr_sums, coffee, _total(everything).on_ms, flow
    )
    return Status(
        grinder_id=found.grinder.grinder_id,
        site_id=found.grinder.site_id,
        name=found.grinder.name,
        as_of=to_instant(at_ms),
        throughput=throughput,
        duty=_duty(asked, flow),
        motor=_motor(asked),
        break_in=expected_break_in(
            burr_set, throughput.burr_grams, throughput.burr_estimated_grams
        ),
        revision=asked.kept.revision,
    )


def _total(by_purpose: dict[int, Sums], *, only_coffee: bool = False) -> Sums:
    total = Sums()
    for purpose, share in by_purpose.items():
        if not (only_coffee and purpose == sums.CLEANING):
            total = total.plus(share)
    return total


def _burrs(asked: _Asked) -> tuple[BurrSet | None, Sums]:
    """The set that is in the grinder at the instant, and the coffee through it until then."""
    around = burr_sets.fittings_around(
        asked.connection, asked.account_no, grinder_nos=[asked.grinder_no]
    )
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
        through = through.plus(
            _total(
                sums.between(
                    asked.connection,
                    asked.account_no,
                    row.grinder_no,
                    low_ms=to_milliseconds(row.fitted_at),
                    high_ms=high_ms,
                ),
                only_coffee=True,
            )
        )
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


def _flow(asked: _Asked, measured: Sums) -> float | None:
    grind = asked.grinder.grind
    return flow_grams_per_second(
        measured.paired_mg,
        measured.paired_ms,
        None if grind is None else grind.expected_grams_per_second,
    )


def _throughput(
    asked: _Asked,
    found: GrinderRow,
    burr_set: BurrSet | None,
    through: Sums,
    coffee: Sums,
    on_ms: int,
    flow: float | None,
) -> Throughput:
    day_start, _ = day_bounds(asked.at, found.time_zone)
    today = _total(asked.between(to_milliseconds(day_start)), only_coffee=True)
    last_ms = stretches.last_started_ms(
        asked.connection, asked.account_no, asked.grinder_no, before_ms=asked.end_ms
    )
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
        grinder_run_seconds=(on_ms - _still_to_come_ms(asked)) / 1000,
        today_grams=today.grams_mg / 1000,
        last_run_at=None if last_ms is None else to_instant(last_ms),
    )


def _still_to_come_ms(asked: _Asked) -> int:
    """Motor time after the instant of runs counted by then: a run is clipped there."""
    return sum(
        max(0, stretch.started_ms + (stretch.on_ms or 0) - max(asked.at_ms, stretch.started_ms))
        for stretch in asked.recent
    )


def _duty(asked: _Asked, flow: float | None) -> Duty:
    begun = [stretch for stretch in asked.recent if stretch.started_ms <= asked.at_ms]
    placed = [
        (stretch.started_ms / 1000, (stretch.started_ms + stretch.on_ms) / 1000)
        for stretch in begun
        if stretch.time_source in PLACED and stretch.on_ms is not None
    ]
    first_ms: int | None = 0
    if asked.kept.archived_before is None:
        first_ms = stretches.first_started_ms(
            asked.connection, asked.account_no, asked.grinder_no, time_sources=PLACED
        )
    is_known = first_ms is not None and first_ms <= asked.at_ms
    return judge_duty(
        starts_seconds=[start for start, _ in placed],
        ends_seconds=[end for _, end in placed],
        now_seconds=asked.at_ms / 1000,
        first_known_seconds=(first_ms or 0) / 1000 if is_known else None,
        possible_on_seconds=_possible_on_seconds(begun, asked.at_ms - asked.cycle_ms, flow),
        rated=asked.grinder.rated_duty,
    )


def _possible_on_seconds(begun: list[Stretch], since_ms: int, flow: float | None) -> float | None:
    """Motor time that may lie in the cycle: of runs without seconds, or without a known start."""
    untimed_mg, unplaced_ms = 0, 0
    for stretch in begun:
        if stretch.started_ms < since_ms:
            continue
        if stretch.on_ms is None:
            untimed_mg += stretch.grams_mg or 0
        elif stretch.time_source not in PLACED:
            unplaced_ms += stretch.on_ms
    if untimed_mg and not flow:
        return None
    return unplaced_ms / 1000 + (untimed_mg / 1000 / flow if untimed_mg and flow else 0.0)


def _motor(asked: _Asked) -> MotorState:
    latest = stretches.motor_reading(
        asked.connection,
        asked.account_no,
        asked.grinder_no,
        from_ms=asked.at_ms - READING_LOOK_BACK_MS,
        to_ms=asked.at_ms,
        time_sources=PLACED,
    )
    return judge_reading(
        reading_celsius=None if latest is None else latest[1] / 10,
        read_at=None if latest is None else to_instant(latest[0]),
        motor=asked.grinder.motor,
        as_of=asked.at,
    )
