"""How much had gone through the burrs hour by hour, as running totals of the sums of hours."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping, Sequence

from ..core.periods import Period, spans_of
from ..core.records import PURPOSES
from ..core.stream_cells import StreamCell, negate_cell
from ..core.stream_eligible import fold_runs
from ..core.tallies import Tally, share_mg
from ..store import stream_runs, sums, totals
from ..store.database import Connection
from ..store.tables import HOUR_MS, UNSTATED
from .asked import Stay
from .counting import CLEANING, ESTIMATED, Counter


class Ground:
    """How much had gone through the burrs by every whole hour of a set's stays in a grinder."""

    def __init__(
        self,
        connection: Connection,
        account_no: int,
        grinder_no: int,
        stays: Sequence[Stay],
        end_hour: int,
    ) -> None:
        self.stays: list[tuple[Stay, int]] = []
        before_mg = 0
        for stay in stays:
            if stay.counter.grinder_no == grinder_no:
                self.stays.append((stay, before_mg))
            before_mg += _coffee_mg(stay.counter, stay.from_ms, stay.to_ms)
        # the hours that stays here last into, and of each those that it lasts all through
        self.reach = _joined(
            (stay.from_ms // HOUR_MS, min(-(-stay.to_ms // HOUR_MS), end_hour))
            for stay, _ in self.stays
        )
        self._whole = [
            (next_hour(stay.from_ms), min(stay.to_ms // HOUR_MS, end_hour))
            for stay, _ in self.stays
        ]
        self._weighed = [
            totals.weighed_by_hour(connection, account_no, grinder_no, from_hour=low, to_hour=high)
            if low < high
            else []
            for low, high in self._whole
        ]

    @property
    def periods(self) -> list[Period]:
        return self.stays[0][0].counter.periods if self.stays else []

    def has(self, hour: int) -> bool:
        return any(low <= hour < high for low, high in self.reach)

    def hours(self, told: Container[int]) -> Iterator[tuple[int, int, int]]:
        """(hour, mg before, mg by its end) of whole hours in which something went through.

        Those ``told`` of by cells too; others that are known may have nothing but voided runs.
        """
        for (stay, before_mg), (low, high), weighed in zip(
            self.stays, self._whole, self._weighed, strict=True
        ):
            if low < high:
                first_mg = _coffee_mg(stay.counter, stay.from_ms, low * HOUR_MS)
                yield from _running(stay, low, weighed, before_mg + first_mg, told)

    def otherwise(self) -> Iterator[StreamCell]:
        """What cells lack, or have too much, where runs counted otherwise as of the instant."""
        if self.stays:
            for row, part in self.stays[0][0].counter.restored:
                if self.has(row.started_ms // HOUR_MS):
                    now = stream_runs.of_row(row)
                    yield from map(negate_cell, fold_runs([now]))
                    yield from fold_runs([now._replace(part=part)])


def _joined(spans: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """Spans in the order of their beginnings, each hour in one of them only.

    >>> _joined([(1, 4), (3, 6), (6, 6), (8, 9)])
    [(1, 4), (4, 6), (8, 9)]
    """
    found: list[tuple[int, int]] = []
    end = 0
    for low, high in spans:
        if found:
            low = max(low, end)
        if low < high:
            found.append((low, high))
            end = high
    return found


def _running(
    stay: Stay,
    low: int,
    weighed: Sequence[tuple[int, int, int]],
    total_mg: int,
    told: Container[int],
) -> Iterator[tuple[int, int, int]]:
    """Add up hour by hour, from the whole hour ``low`` of a stay on."""
    counter = stay.counter
    gained: dict[int, int] = {}
    unstated: dict[int, int] = {}
    for hour, purpose, grams_mg in weighed:
        coffee_mg = 0 if purpose == CLEANING else grams_mg
        gained[hour] = gained.get(hour, 0) + coffee_mg
        if purpose == UNSTATED:
            unstated[hour] = grams_mg
    for row, part in counter.restored:
        hour = row.started_ms // HOUR_MS
        if hour in gained and row.purpose != CLEANING:
            then, now = sums.of_run(row._replace(part=part)), sums.of_run(row)
            gained[hour] += then.grams_mg - now.grams_mg
            if row.purpose == UNSTATED:
                unstated[hour] = unstated.get(hour, 0) + then.grams_mg - now.grams_mg
    for hour in _cleaning_hours(counter.periods, unstated):
        gained[hour] -= unstated[hour]
    tallied = _Tallied(counter)
    parted = parted_hours(stay)
    at = low
    for hour in gained:  # in their order, as they were read
        total_mg += tallied.between(at, hour)
        before_mg, has_grams = total_mg, gained[hour] != 0
        if hour in parted:
            total_mg += _coffee_mg(counter, hour * HOUR_MS, (hour + 1) * HOUR_MS)
        else:
            total_mg += gained[hour] + tallied.between(hour, hour + 1)
        at = hour + 1
        if hour in told or has_grams:
            yield hour, before_mg, total_mg


class _Tallied:
    """Grams of tallies over stretches of hours that follow each other."""

    def __init__(self, counter: Counter) -> None:
        self._tallies: list[Tally] = sorted(
            (
                tally
                for tally, purpose, basis in counter.tallies
                if purpose != CLEANING and basis != ESTIMATED
            ),
            key=lambda tally: tally.from_ms,
        )

    def between(self, low: int, high: int) -> int:
        low_ms, high_ms = low * HOUR_MS, high * HOUR_MS
        if not self._tallies or low >= high:
            return 0
        if self._tallies[0].to_ms <= low_ms:
            self._tallies = [tally for tally in self._tallies if tally.to_ms > low_ms]
        total_mg = 0
        for tally in self._tallies:
            if tally.from_ms >= high_ms:
                break
            total_mg += share_mg(tally, low_ms, high_ms)
        return total_mg


def _cleaning_hours(periods: Sequence[Period], hours: Mapping[int, int]) -> list[int]:
    """The hours all through which a period says that what states no purpose was cleaning."""
    if not periods or not hours:
        return []
    low_ms, high_ms = min(hours) * HOUR_MS, (max(hours) + 1) * HOUR_MS
    spans = [
        (low, high)
        for low, high, purpose in spans_of(periods, "purpose", low_ms, high_ms)
        if PURPOSES.index(purpose) == CLEANING
    ]
    return [
        hour
        for hour in hours
        if any(low <= hour * HOUR_MS and (hour + 1) * HOUR_MS <= high for low, high in spans)
    ]


def parted_hours(stay: Stay) -> set[int]:
    """The whole hours of a stay within which periods change the purpose."""
    found: set[int] = set()
    low, high = next_hour(stay.from_ms), stay.to_ms // HOUR_MS
    for period in stay.counter.periods:
        if period.values.get("purpose") is not None:
            for at_ms in (period.from_ms, period.to_ms):
                if at_ms is not None and at_ms % HOUR_MS and low <= at_ms // HOUR_MS < high:
                    found.add(at_ms // HOUR_MS)
    return found


def _coffee_mg(counter: Counter, low_ms: int, high_ms: int) -> int:
    return counter.coffee(low_ms, high_ms).grams_mg if low_ms < high_ms else 0


def next_hour(at_ms: int) -> int:
    """The first hour that begins at or after an instant."""
    return -(-at_ms // HOUR_MS)
