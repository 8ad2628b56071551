"""What counts over a stretch of time: runs, tallies, and purposes that periods tell."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from itertools import pairwise

from ..core.entered import MOTOR_REPLACED
from ..core.grinds import COUNTS_SECONDS
from ..core.periods import spans_of
from ..core.records import GRAMS_BASES, PURPOSES
from ..core.tallies import Tally, share_mg
from ..store import entries, recount, sums, totals
from ..store.database import Connection
from ..store.row_columns import RunRow
from ..store.sums import Sums
from ..store.tables import UNSTATED
from ..store.totals import Span
from .reading_back import periods_of

SERVICE = PURPOSES.index("service")
CLEANING = PURPOSES.index("cleaning")
ESTIMATED = GRAMS_BASES.index("estimated")
NOTHING = Sums()
FOR_EVER_MS = 2**62
Restored = tuple[RunRow, int | None]


class Counter:
    """Sums of one grinder, from every fact whose own time is at or before an instant.

    ``at_ms`` is that instant; runs count up to ``end_ms`` (exclusive), which lies a little after
    it when nobody asked for an instant. What is to be told by ``between`` is named by ``want``
    first, so that ``count`` fetches it for many grinders at once.
    """

    def __init__(
        self,
        grinder_no: int,
        *,
        at_ms: int,
        end_ms: int,
        entered: Sequence[entries.EntryRow],
        restored: Sequence[Restored],
    ) -> None:
        self.grinder_no, self.at_ms, self.end_ms = grinder_no, at_ms, end_ms
        self.restored = restored
        self.periods = periods_of(entered)
        self.tallies = [
            (
                Tally(row.body["grams_mg"], row.from_ms, row.to_ms or row.from_ms),
                PURPOSES.index(row.body["purpose"]),
                GRAMS_BASES.index(row.body["basis"]),
            )
            for row in entered
            if row.kind == entries.TALLY
        ]
        self._tallies = sorted(self.tallies, key=lambda one: one[0].from_ms)
        self._tallied_from_ms = [tally.from_ms for tally, _, _ in self._tallies]
        self._longest_ms = max(
            (tally.to_ms - tally.from_ms for tally, _, _ in self._tallies), default=0
        )
        self.motor_began_ms = max(
            (
                row.from_ms
                for row in entered
                if row.kind == entries.CARE and row.body["task"] == MOTOR_REPLACED
            ),
            default=0,
        )
        self.cared = [row for row in entered if row.kind == entries.CARE]
        self.unwatched = [
            (row.from_ms, FOR_EVER_MS if row.to_ms is None else row.to_ms)
            for row in entered
            if row.kind == entries.CORRECTION and row.body.get("is_unwatched")
        ]
        self._wanted: list[tuple[int, int]] = []
        self._cuts: list[int] = []
        self._pieces: list[dict[int, Sums]] = []

    def want(self, low_ms: int, high_ms: int) -> None:
        high_ms = min(high_ms, self.end_ms)
        if low_ms < high_ms:
            self._wanted.append((low_ms, high_ms))
            self._wanted += ((low, high) for low, high, _ in self._told(low_ms, high_ms))

    def pieces(self) -> list[Span]:
        """What is wanted, cut where anything wanted begins or ends."""
        self._cuts = sorted({at for span in self._wanted for at in span})
        return [Span(self.grinder_no, low, high) for low, high in pairwise(self._cuts)]

    def fill(self, pieces: Sequence[dict[int, Sums]]) -> None:
        """Take the sums of the pieces, and make up for runs that count otherwise here."""
        self._pieces = [dict(piece) for piece in pieces]
        for row, part in self.restored:
            place = bisect_right(self._cuts, row.started_ms) - 1
            if 0 <= place < len(self._pieces):
                then = sums.of_run(row._replace(part=part)).plus(sums.of_run(row), -1)
                piece = self._pieces[place]
                piece[row.purpose] = piece.get(row.purpose, Sums()).plus(then)

    def between(self, low_ms: int, high_ms: int) -> dict[int, Sums]:
        """Sums by stated or implied purpose over [low, high), up to the instant."""
        high_ms = min(high_ms, self.end_ms)
        total: dict[int, Sums] = defaultdict(Sums, self._of_runs(low_ms, high_ms))
        unstated = total.pop(UNSTATED, NOTHING)
        if unstated != NOTHING:
            for low, high, purpose_name in self._told(low_ms, high_ms):
                share = self._of_runs(low, high).get(UNSTATED, NOTHING)
                purpose = PURPOSES.index(purpose_name)
                total[purpose] = total[purpose].plus(share)
                unstated = unstated.plus(share, -1)
            total[SERVICE] = total[SERVICE].plus(unstated)
        until_ms = max(low_ms, min(high_ms, self.at_ms))
        for tally, purpose, basis in self._tallies_over(low_ms, until_ms):
            grams_mg = share_mg(tally, low_ms, until_ms)
            is_estimated = basis == ESTIMATED
            total[purpose] = total[purpose].plus(
                Sums(
                    grams_mg=0 if is_estimated else grams_mg,
                    estimated_mg=grams_mg if is_estimated else 0,
                )
            )
        return {purpose: share for purpose, share in total.items() if share != NOTHING}

    def coffee(self, low_ms: int, high_ms: int) -> Sums:
        """Sums of everything but cleaning."""
        return total_of(self.between(low_ms, high_ms), only_coffee=True)

    def _tallies_over(self, low_ms: int, until_ms: int) -> list[tuple[Tally, int, int]]:
        """Those that may have a share of a stretch of time: years of days ask for few."""
        first = bisect_right(self._tallied_from_ms, low_ms - self._longest_ms)
        return self._tallies[first : bisect_left(self._tallied_from_ms, until_ms)]

    def _told(self, low_ms: int, high_ms: int) -> list[tuple[int, int, str]]:
        """Where periods tell the purpose of runs that state none."""
        return spans_of(self.periods, "purpose", low_ms, high_ms) if self.periods else []

    def _of_runs(self, low_ms: int, high_ms: int) -> dict[int, Sums]:
        if high_ms <= low_ms:
            return {}
        first, last = bisect_left(self._cuts, low_ms), bisect_left(self._cuts, high_ms)
        assert self._cuts[first] == low_ms and self._cuts[last] == high_ms, "not wanted before"
        counted: dict[int, Sums] = {}
        for piece in self._pieces[first:last]:
            for purpose, share in piece.items():
                so_far = counted.get(purpose)
                counted[purpose] = share if so_far is None else so_far.plus(share)
        return counted


def count(connection: Connection, account_no: int, counters: Collection[Counter]) -> None:
    """Fetch what each of the counters wants, all at once."""
    wanted = [counter.pieces() for counter in counters]
    found = iter(totals.over(connection, account_no, [span for spans in wanted for span in spans]))
    for counter, spans in zip(counters, wanted, strict=True):
        counter.fill([next(found) for _ in spans])


def counters_of(
    connection: Connection,
    account_no: int,
    shared: Mapping[int, bool],
    *,
    at_ms: int,
    end_ms: int,
) -> dict[int, Counter]:
    """A counter for each grinder; ``shared`` says of which ones runs may count otherwise then.

    A run of a grinder that two devices report has another part when those begun later are not
    known yet.
    """
    entered: dict[int, list[entries.EntryRow]] = defaultdict(list)
    kinds = [entries.TALLY, entries.PERIOD, entries.CARE, entries.CORRECTION]
    for row in entries.in_force(connection, account_no, list(shared), kinds, until_ms=at_ms):
        entered[row.grinder_no].append(row)
    return {
        number: Counter(
            number,
            at_ms=at_ms,
            end_ms=end_ms,
            entered=entered[number],
            restored=recount.parts_before(connection, account_no, number, cut_ms=end_ms)
            if is_shared
            else (),
        )
        for number, is_shared in shared.items()
    }


def counts_seconds(part: int | None) -> bool:
    """Whether a run's motor time is the one that counts in its grind."""
    return part is None or bool(part & COUNTS_SECONDS)


def total_of(by_purpose: dict[int, Sums], *, only_coffee: bool = False) -> Sums:
    total = NOTHING
    for purpose, share in by_purpose.items():
        if not (only_coffee and purpose == CLEANING):
            total = share if total is NOTHING else total.plus(share)
    return total
