"""What counts over a stretch of time: runs, tallies, and purposes that periods tell."""

from __future__ import annotations

from collections import defaultdict
from functools import cached_property

from ..core.entered import MOTOR_REPLACED
from ..core.grinds import COUNTS_SECONDS
from ..core.periods import Period, spans_of
from ..core.records import GRAMS_BASES, PURPOSES
from ..core.tallies import Tally, share_mg
from ..store import entries, recount, sums
from ..store.database import Connection
from ..store.runs import RunRow
from ..store.sums import Sums
from ..store.tables import UNSTATED
from .reading_back import periods_of

SERVICE = PURPOSES.index("service")
CLEANING = PURPOSES.index("cleaning")
ESTIMATED = GRAMS_BASES.index("estimated")


class Counter:
    """Sums of one grinder, from every fact whose own time is at or before an instant.

    ``at_ms`` is that instant; runs count up to ``end_ms`` (exclusive), which lies a little after
    it when nobody asked for an instant.
    """

    def __init__(
        self,
        connection: Connection,
        account_no: int,
        grinder_no: int,
        *,
        at_ms: int,
        end_ms: int,
        is_shared: bool,
    ) -> None:
        self.connection, self.account_no, self.grinder_no = connection, account_no, grinder_no
        self.at_ms, self.end_ms = at_ms, end_ms
        self._is_shared = is_shared

    @cached_property
    def entered(self) -> list[entries.EntryRow]:
        """Tallies, periods and care begun by the instant."""
        return entries.in_force(
            self.connection,
            self.account_no,
            [self.grinder_no],
            [entries.TALLY, entries.PERIOD, entries.CARE],
            until_ms=self.at_ms,
        )

    @cached_property
    def periods(self) -> list[Period]:
        return periods_of(self.entered)

    @cached_property
    def tallies(self) -> list[tuple[Tally, int, int]]:
        """Each tally with its purpose and basis."""
        return [
            (
                Tally(row.body["grams_mg"], row.from_ms, row.to_ms or row.from_ms),
                PURPOSES.index(row.body["purpose"]),
                GRAMS_BASES.index(row.body["basis"]),
            )
            for row in self.entered
            if row.kind == entries.TALLY
        ]

    @cached_property
    def motor_began_ms(self) -> int:
        """When the motor of now was put in: the latest replacement, else before all runs."""
        return max(
            (
                row.from_ms
                for row in self.entered
                if row.kind == entries.CARE and row.body["task"] == MOTOR_REPLACED
            ),
            default=0,
        )

    @cached_property
    def restored(self) -> list[tuple[RunRow, int | None]]:
        """Runs whose part was another one before the runs begun after the instant."""
        if not self._is_shared:
            return []
        return recount.parts_before(
            self.connection, self.account_no, self.grinder_no, cut_ms=self.end_ms
        )

    def between(self, low_ms: int, high_ms: int) -> dict[int, Sums]:
        """Sums by stated or implied purpose over [low, high), up to the instant."""
        high_ms = min(high_ms, self.end_ms)
        total: dict[int, Sums] = defaultdict(Sums)
        for purpose, share in self._of_runs(low_ms, high_ms).items():
            total[purpose] = total[purpose].plus(share)
        unstated = total.pop(UNSTATED, Sums())
        if unstated.run_count or unstated != Sums():
            for low, high, purpose_name in spans_of(self.periods, "purpose", low_ms, high_ms):
                share = self._of_runs(low, high).get(UNSTATED, Sums())
                purpose = PURPOSES.index(purpose_name)
                total[purpose] = total[purpose].plus(share)
                unstated = unstated.plus(share, -1)
            total[SERVICE] = total[SERVICE].plus(unstated)
        for tally, purpose, basis in self.tallies:
            grams_mg = share_mg(tally, low_ms, max(low_ms, min(high_ms, self.at_ms)))
            is_estimated = basis == ESTIMATED
            total[purpose] = total[purpose].plus(
                Sums(
                    grams_mg=0 if is_estimated else grams_mg,
                    estimated_mg=grams_mg if is_estimated else 0,
                )
            )
        return {purpose: share for purpose, share in total.items() if share != Sums()}

    def coffee(self, low_ms: int, high_ms: int) -> Sums:
        """Sums of everything but cleaning."""
        return total_of(self.between(low_ms, high_ms), only_coffee=True)

    def _of_runs(self, low_ms: int, high_ms: int) -> dict[int, Sums]:
        counted = sums.between(
            self.connection, self.account_no, self.grinder_no, low_ms=low_ms, high_ms=high_ms
        )
        for row, part in self.restored:
            if low_ms <= row.started_ms < high_ms:
                then = sums.of_run(row._replace(part=part)).plus(sums.of_run(row), -1)
                counted[row.purpose] = counted.get(row.purpose, Sums()).plus(then)
        return counted


def counts_seconds(part: int | None) -> bool:
    """Whether a run's motor time is the one that counts in its grind."""
    return part is None or bool(part & COUNTS_SECONDS)


def total_of(by_purpose: dict[int, Sums], *, only_coffee: bool = False) -> Sums:
    total = Sums()
    for purpose, share in by_purpose.items():
        if not (only_coffee and purpose == CLEANING):
            total = total.plus(share)
    return total
