"""When a motor ran over a stretch of time, when it may have run, and how much of that is known."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from ..core.coverage import covered, length_ms
from ..core.duty import DEFAULT_CYCLE_SECONDS, rating_limit
from ..core.grinds import COUNTS_GRAMS, HAS_SECONDS
from ..core.records import RatedDuty
from ..core.throughput import flow_grams_per_second
from ..store import landmarks, readings, stretches
from ..store.database import Connection
from ..store.grinders import GrinderRow
from ..store.stretches import Stretch
from ..store.types import to_milliseconds
from . import running
from .counting import count, counters_of, total_of
from .on_time import PLACED, out_of_service
from .watched_time import watched_times

Interval = tuple[int, int]
HOUR_MS = 3_600_000
COLD_LOOK_BACK_MS = 24 * HOUR_MS
"""How far back runs count for a short-time rating that asks for a cold motor (our choice)."""


def look_back_ms(rated: RatedDuty | None) -> int:
    """How far back a rating looks: its cycle, a day where it asks for a cold motor."""
    cycle = DEFAULT_CYCLE_SECONDS if rated is None else rating_limit(rated)[1]
    cycle_ms = round(cycle * 1000)
    is_from_cold = rated is not None and rated.kind == "short_time" and rated.cycle_seconds is None
    return max(COLD_LOOK_BACK_MS, cycle_ms) if is_from_cold else cycle_ms


@dataclass(frozen=True)
class KnownTime:
    """Stretches in ms since 1970 within [low, high), as known at an instant.

    ``possible`` are those of runs that have no measured time, or no known start. Where not even an
    estimate can be made, ``is_unbounded``: they are then whole hours.
    """

    low_ms: int
    high_ms: int
    first_known_ms: int | None
    ran: list[Interval]
    possible: list[Interval]
    is_unbounded: bool
    covered: list[Interval]

    @property
    def possible_on_seconds(self) -> float | None:
        """Motor time that may lie in the window beside what is known, None when it has no bound."""
        if self.is_unbounded:
            return None
        return sum(high - low for low, high in self.possible) / 1000

    @property
    def covered_seconds(self) -> float:
        return length_ms(self.covered) / 1000

    @property
    def may_have_run(self) -> list[Interval]:
        """When it may have run beside what is known: estimated times, and all nobody knows."""
        gaps: list[Interval] = []
        low_ms = self.low_ms
        for covered_ms, until_ms in [*self.covered, (self.high_ms, self.high_ms)]:
            if covered_ms > low_ms:
                gaps.append((low_ms, covered_ms))
            low_ms = max(low_ms, until_ms)
        return [*gaps, *self.possible]


class Told:
    """What is told of one grinder's motor-on time, up to an instant."""

    def __init__(
        self, connection: Connection, account_no: int, found: GrinderRow, *, at_ms: int
    ) -> None:
        self.connection, self.account_no, self.found = connection, account_no, found
        self.at_ms = at_ms
        number = found.grinder_no
        self.marks = landmarks.of_grinders(
            connection, account_no, [number], at_ms=at_ms, end_ms=at_ms + 1, motor_from_ms=at_ms
        )[number]
        shared = {number: self.marks.kept.is_shared and self.marks.goes_on}
        self.counter = counters_of(connection, account_no, shared, at_ms=at_ms, end_ms=at_ms + 1)[
            number
        ]

    @property
    def first_known_ms(self) -> int | None:
        """Where single runs begin, None when there is none by the instant."""
        if self.marks.kept.archived_before is not None:
            return to_milliseconds(self.marks.kept.archived_before)
        first_ms = self.marks.first_ms
        return None if first_ms is None or first_ms > self.at_ms else first_ms

    def within(self, low_ms: int, high_ms: int) -> KnownTime:
        """What is known of [low, high), whose end is the instant or earlier."""
        number = self.found.grinder_no
        since = {number: low_ms}
        begun = stretches.reaching(
            self.connection, self.account_no, since, to_ms=min(high_ms, self.at_ms + 1)
        ).get(number, [])
        open_now = running.open_stretches(
            self.connection, self.account_no, since, at_ms=self.at_ms
        ).get(number, [])
        ran = [
            (max(stretch.started_ms, low_ms), min(stretch.started_ms + stretch.on_ms, high_ms))
            for stretch in begun
            if stretch.time_source in PLACED and stretch.on_ms is not None
        ]
        ran += [(max(low, low_ms), min(high, high_ms)) for low, high in open_now]
        ran = sorted((low, high) for low, high in ran if low < high)
        told = readings.watched_since(self.connection, self.account_no, since, until_ms=high_ms)
        watched = watched_times(
            self.connection,
            self.account_no,
            told.get(number, []),
            marks=self.marks,
            counter=self.counter,
        )
        possible, is_unbounded = self._possible(begun, low_ms, high_ms)
        return KnownTime(
            low_ms=low_ms,
            high_ms=high_ms,
            first_known_ms=self.first_known_ms,
            ran=ran,
            possible=possible,
            is_unbounded=is_unbounded,
            covered=covered(
                low_ms,
                high_ms,
                first_known_ms=self.first_known_ms,
                watched=watched,
                ran=ran,
                unknown=[(tally.from_ms, tally.to_ms) for tally, _, _ in self.counter.tallies],
                out_of_service=out_of_service(self.found.grinder, high_ms),
            ),
        )

    def _possible(
        self, begun: list[Stretch], low_ms: int, high_ms: int
    ) -> tuple[list[Interval], bool]:
        """Stretches of runs whose seconds or whose start nobody measured, and whether one of them
        may be of any length."""
        restored = {row.run_key: part for row, part in self.counter.restored}
        found: list[Interval] = []
        is_unbounded = False
        for stretch in begun:
            started_ms, part = stretch.started_ms, restored.get(stretch.run_key, stretch.part)
            if started_ms < low_ms:
                continue
            if stretch.on_ms is not None:
                if stretch.time_source not in PLACED:
                    found.append((started_ms, started_ms + stretch.on_ms))
            elif part is None or (part & COUNTS_GRAMS and not part & HAS_SECONDS):
                if stretch.grams_mg and not self.flow:
                    is_unbounded = True
                    hour_ms = started_ms - started_ms % HOUR_MS
                    found.append((hour_ms, hour_ms + HOUR_MS))
                elif stretch.grams_mg and self.flow:
                    found.append((started_ms, started_ms + round(stretch.grams_mg / self.flow)))
        clipped = ((max(low, low_ms), min(high, high_ms)) for low, high in found)
        return sorted((low, high) for low, high in clipped if low < high), is_unbounded

    @cached_property
    def flow(self) -> float | None:
        """Grams per second of the runs that have both, or what the plate expects."""
        self.counter.want(0, self.at_ms + 1)
        count(self.connection, self.account_no, [self.counter])
        coffee = total_of(self.counter.between(0, self.at_ms + 1), only_coffee=True)
        grind = self.found.grinder.grind
        return flow_grams_per_second(
            coffee.paired_mg,
            coffee.paired_ms,
            None if grind is None else grind.expected_grams_per_second,
        )


def seconds_of(intervals: list[Interval], origin_ms: int) -> tuple[list[float], list[float]]:
    """Starts and ends in s after an origin."""
    return (
        [(low - origin_ms) / 1000 for low, _ in intervals],
        [(high - origin_ms) / 1000 for _, high in intervals],
    )
