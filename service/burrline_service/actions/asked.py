"""What answers about grinders at an instant are made of: loaded for many of them at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from ..core.alert_settings import DatedRules
from ..core.calendar import day_bounds
from ..core.duty import DEFAULT_CYCLE_SECONDS, rating_limit
from ..core.episode_facts import DatedLimits
from ..core.open_now import look_back_ms
from ..core.records import Grinder
from ..store import burr_sets, landmarks, readings, stretches
from ..store.burr_sets import BurrSetRow
from ..store.database import Connection
from ..store.grinders import GrinderRow
from ..store.landmarks import Landmarks
from ..store.stretches import Stretch
from ..store.tables import HOUR_MS
from ..store.types import to_milliseconds
from . import running
from .alert_rules import rules_of
from .burr_grams import Ended, ends_ms, stays_by, with_ends
from .counting import Counter, counters_of
from .episodes_held import limits_of
from .watched_time import watched_times

READING_LOOK_BACK_MS = 24 * HOUR_MS
LOOK_BACK = timedelta(days=32)
"""How far before its instant an answer asks for single runs, at the very most.

What a motor's fit knows and where a trip is looked for (31 days); the local day, the longest cycle
with the longest run, and the latest reading are all within four. Beyond come sums by the hour.
"""


@dataclass(frozen=True)
class Stay:
    """A burr set's time in a grinder up to the instant, and what counts there."""

    from_ms: int
    to_ms: int
    counter: Counter


@dataclass(frozen=True)
class Asked:
    """What one answer is about; instants in ms, ``end_ms`` is where counting runs stops.

    ``recent`` are the runs, and ``running`` the motor time of runs yet to be told, that last into
    the trailing time that duty and alerts look at. ``burr_set`` is the one in the grinder;
    ``has_checkpoints`` says that the grind was measured in some grinder it was in.
    """

    found: GrinderRow
    at: datetime
    at_ms: int
    end_ms: int
    day_start_ms: int
    cycle_ms: int
    limits: list[DatedLimits]
    rules: Sequence[DatedRules]
    marks: Landmarks
    recent: list[Stretch]
    running: list[tuple[int, int]]
    watched: list[tuple[int, int]]
    counter: Counter
    burr_set: BurrSetRow | None
    stays: tuple[Stay, ...]
    has_checkpoints: bool

    @property
    def grinder(self) -> Grinder:
        return self.found.grinder


def about(
    connection: Connection,
    account_no: int,
    found: Sequence[GrinderRow],
    *,
    as_of: datetime | None,
    now: datetime,
) -> list[Asked]:
    """Load what the answers about these grinders need, but for their sums."""
    at = now if as_of is None else as_of
    at_ms = to_milliseconds(at)
    end_ms = ends_ms(at, is_asked=as_of is not None)
    zones = {row.site.time_zone for row in found}
    day_starts_ms = {zone: to_milliseconds(day_bounds(at, zone)[0]) for zone in zones}
    cycles_ms = {row.grinder_no: cycle_ms_of(row.grinder) for row in found}
    rules = rules_of(found)
    limits = {row.grinder_no: limits_of(row, at_ms, rules[row.grinder_no]) for row in found}
    fitted = _fitted(connection, account_no, list(cycles_ms), at)
    marks = landmarks.of_grinders(
        connection,
        account_no,
        {*cycles_ms, *(row.grinder_no for stays in fitted.values() for row, _ in stays)},
        at_ms=at_ms,
        end_ms=end_ms,
        motor_from_ms=at_ms - READING_LOOK_BACK_MS,
    )
    shared = {number: mark.kept.is_shared and mark.goes_on for number, mark in marks.items()}
    counters = counters_of(connection, account_no, shared, at_ms=at_ms, end_ms=end_ms)
    since = {
        number: at_ms - max(cycle_ms, look_back_ms(limits[number]))
        for number, cycle_ms in cycles_ms.items()
    }
    recent = stretches.reaching(connection, account_no, since, to_ms=end_ms)
    open_now = running.open_stretches(connection, account_no, since, at_ms=at_ms)
    watched = readings.watched_since(
        connection,
        account_no,
        {number: at_ms - cycle_ms for number, cycle_ms in cycles_ms.items()},
        until_ms=at_ms,
    )
    sets = burr_sets.by_nos(
        connection, account_no, {stays[0][0].burr_set_no for stays in fitted.values()}
    )
    return [
        Asked(
            found=row,
            at=at,
            at_ms=at_ms,
            end_ms=end_ms,
            day_start_ms=day_starts_ms[row.site.time_zone],
            cycle_ms=cycles_ms[row.grinder_no],
            limits=limits[row.grinder_no],
            rules=rules[row.grinder_no],
            marks=marks[row.grinder_no],
            recent=_as_then(recent.get(row.grinder_no, []), counters[row.grinder_no]),
            running=open_now.get(row.grinder_no, []),
            watched=watched_times(
                connection,
                account_no,
                watched.get(row.grinder_no, []),
                marks=marks[row.grinder_no],
                counter=counters[row.grinder_no],
            ),
            counter=counters[row.grinder_no],
            burr_set=sets[fitted[row.grinder_no][0][0].burr_set_no]
            if row.grinder_no in fitted
            else None,
            stays=_stays(fitted.get(row.grinder_no, []), counters, at=at, end_ms=end_ms),
            has_checkpoints=any(
                marks[stay.grinder_no].has_checkpoints for stay, _ in fitted.get(row.grinder_no, [])
            ),
        )
        for row in found
    ]


def cycle_ms_of(grinder: Grinder) -> int:
    """Over how long the duty of a grinder is judged."""
    rated = grinder.rated_duty
    return round((DEFAULT_CYCLE_SECONDS if rated is None else rating_limit(rated)[1]) * 1000)


def _fitted(
    connection: Connection, account_no: int, grinder_nos: list[int], at: datetime
) -> dict[int, Ended]:
    """Of each grinder with a set in it at the instant, that set's stays begun by then."""
    fitted = {}
    for number, around in burr_sets.fittings_of_grinders(
        connection, account_no, grinder_nos
    ).items():
        # a fitting to come cannot end one that lasts now, but neither may it be seen yet
        stays = stays_by(with_ends(around), number, at)
        if stays:
            fitted[number] = stays
    return fitted


def _stays(
    fitted: Ended,
    counters: Mapping[int, Counter],
    *,
    at: datetime,
    end_ms: int,
) -> tuple[Stay, ...]:
    return tuple(
        Stay(
            to_milliseconds(row.fitted_at),
            to_milliseconds(ended_at) if ended_at is not None and ended_at <= at else end_ms,
            counters[row.grinder_no],
        )
        for row, ended_at in fitted
    )


def _as_then(recent: list[Stretch], counter: Counter) -> list[Stretch]:
    """The runs with the parts they have in what was known by the instant."""
    if not counter.restored:
        return recent
    then = {row.run_key: part for row, part in counter.restored}
    return [stretch._replace(part=then.get(stretch.run_key, stretch.part)) for stretch in recent]
