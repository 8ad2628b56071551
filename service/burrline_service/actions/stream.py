"""What ordinary runs tell about the flow of a burr set: its cells with kilograms, days, seatings.

Kilograms count since tracking began, as those of checkpoints do. They are running totals of the
sums by hour, and what nobody but single runs can tell (hours in which a set or a purpose changed)
comes from the counters that every answer has: the sums of all hours that count are the same.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from itertools import chain
from zoneinfo import ZoneInfo

from ..core.joining import Seating
from ..core.stream_cells import row_of
from ..core.stream_periods import told_by_periods
from ..core.stream_sessions import HourPlace, Sessions, read_rows
from ..store import sites, stream_cells
from ..store.database import Connection, Database
from ..store.stream_cells import Folded
from ..store.tables import HOUR_MS
from ..store.types import to_instant, to_milliseconds
from .asked import Stay
from .ground_by_hour import Ground, next_hour, parted_hours
from .seatings import SEATING_TASKS, seatings_of


@dataclass(frozen=True)
class StreamEvidence:
    """The evidence of one burr set in one grinder, of all hours that have ended.

    ``closed_before`` numbers the local day that is not over yet: only days before it are closed.
    ``ended_at`` tells of each day when its last hour with runs had ended. ``zeros_setting`` are
    where the burrs touch, at first and since each time that they were seated anew, None = unknown.
    """

    sessions: Sessions
    closed_before: int
    ended_at: Mapping[int, datetime]
    zeros_setting: tuple[float | None, ...] = (None,)


def want_stream(grinder_no: int, stays: Sequence[Stay]) -> None:
    """Name what ``stream_evidence_of`` is going to ask the counters for."""
    for stay in stays:
        stay.counter.want(stay.from_ms, stay.to_ms)
        if stay.counter.grinder_no == grinder_no:
            stay.counter.want(stay.from_ms, min(next_hour(stay.from_ms) * HOUR_MS, stay.to_ms))
            for hour in parted_hours(stay):
                stay.counter.want(hour * HOUR_MS, (hour + 1) * HOUR_MS)


def stream_evidence_of(
    connection: Connection,
    account_no: int,
    grinder_no: int,
    stays: Sequence[Stay],
    *,
    at_ms: int,
) -> tuple[StreamEvidence, Folded | None]:
    """The evidence of a set's stays as of an instant, and what was folded for it on the way.

    The counters must have counted what ``want_stream`` names. Stays in other grinders add
    kilograms and seatings, no evidence: another grinder is another instrument. Give what was
    folded to ``keep_folded`` once the read is over.
    """
    end_hour = at_ms // HOUR_MS  # runs of the hour that goes on may still come
    seatings = [(seating.at, seating.zero_setting) for seating in seated(stays)]
    until = to_instant(at_ms)
    zones, _ = sites.zones_of(connection, account_no, [grinder_no], until=until)[grinder_no]
    days = Days(zones)
    ground = Ground(connection, account_no, grinder_no, stays, end_hour)
    folded = stream_cells.fold(connection, account_no, grinder_no)
    rows = [
        row
        for low, high in ground.reach
        for row in stream_cells.cell_rows(
            connection, account_no, grinder_no, folded, from_hour=low, to_hour=high
        )
    ]
    otherwise = list(ground.otherwise())
    told = {row[0] for row in rows} | {cell.hour for cell in otherwise}
    seated_ms = [to_milliseconds(at) for at, _ in seatings]
    # an hour within which the set was seated anew is neither before nor after
    parted = {ms // HOUR_MS for ms in seated_ms if ms % HOUR_MS}
    places = {}
    for hour, from_mg, to_mg in ground.hours(told):
        if hour not in parted:
            count = bisect_right(seated_ms, hour * HOUR_MS)
            zero = seatings[count - 1][1] if count else None
            places[hour] = HourPlace(
                session=days.of_hour(hour),
                from_mg=from_mg,
                to_mg=to_mg,
                seating=count,
                zero_milli=None if zero is None else round(1000 * zero),
            )
    periods = ground.periods
    last_hours = {place.session: hour for hour, place in places.items()}
    evidence = StreamEvidence(
        sessions=read_rows(
            chain(rows, map(row_of, otherwise)),
            places,
            told_by_periods(periods, places.keys()) if periods else None,
        ),
        closed_before=days.of_hour(end_hour),
        ended_at={day: to_instant((hour + 1) * HOUR_MS) for day, hour in last_hours.items()},
        zeros_setting=(None, *(zero for _, zero in seatings)),
    )
    return evidence, folded


def seated(stays: Sequence[Stay]) -> list[Seating]:
    """When the set of these stays was seated anew, by what its counters know."""
    counters = {stay.counter.grinder_no: stay.counter for stay in stays}
    cared = [row for counter in counters.values() for row in counter.cared]
    return seatings_of(stays, [row for row in cared if row.body["task"] in SEATING_TASKS])


def keep_folded(database: Database, account_no: int, folded: Folded | None) -> None:
    """Write what a read folded, so that the next one need not: if nobody else is writing."""
    if folded is not None:
        database.write_if_free(account_no, partial(_put, account_no=account_no, folded=folded))


def _put(connection: Connection, account_no: int, folded: Folded) -> None:
    stream_cells.put(connection, account_no, folded)


class Days:
    """The local calendar day of an hour's middle, by the zone in force there and then."""

    def __init__(self, zones: Sequence[tuple[datetime, str]]) -> None:
        self._from_seconds = [at.timestamp() for at, _ in zones]
        self._zones = [ZoneInfo(name) for _, name in zones]
        self._opened = (-1, -1)  # asked for again and again

    def of_hour(self, hour: int) -> int:
        middle_seconds = hour * 3600 + 1800
        place = max(0, bisect_right(self._from_seconds, middle_seconds) - 1)
        at = datetime.fromtimestamp(middle_seconds, UTC)
        return at.astimezone(self._zones[place]).toordinal()

    def open_hour(self, end_hour: int) -> int:
        """The first hour from which on, up to an hour, none belongs to a day before that one's."""
        asked_hour, hour = self._opened
        if asked_hour != end_hour:
            hour = self._open_hour(end_hour)
            self._opened = (end_hour, hour)
        return hour

    def _open_hour(self, end_hour: int) -> int:
        closed_before = self.of_hour(end_hour)
        hour = self._midnight_hour(closed_before, end_hour)
        if self.of_hour(hour - 1) < closed_before <= self.of_hour(hour) and hour <= end_hour:
            return hour
        hour = end_hour
        while self.of_hour(hour - 1) >= closed_before:
            hour -= 1
        return hour

    def _midnight_hour(self, day: int, end_hour: int) -> int:
        """The first hour whose middle lies in a day, if the zone is the one of the end hour."""
        place = max(0, bisect_right(self._from_seconds, end_hour * 3600 + 1800) - 1)
        midnight = datetime.fromordinal(day).replace(tzinfo=self._zones[place])
        return math.ceil((midnight.timestamp() - 1800) / 3600)
