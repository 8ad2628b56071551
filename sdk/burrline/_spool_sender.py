"""Sends what waits in a spool: oldest first, in batches, and lets go of nothing unanswered."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from burrline import errors
from burrline._calls import encode
from burrline._convert import format_instant
from burrline._device_time import Moment, instant_of
from burrline._spool_line import OLDEST_AGE_SECONDS, is_reading
from burrline._spool_store import WAITING, Kept, Store
from burrline.client import Client
from burrline.models import ReadingBatchOutcome, RunBatchOutcome

BATCH_RUNS = 500
BATCH_BYTES = 256 * 1024
OUR_PROBLEMS = "urn:burrline:problem:"
POISON = frozenset(OUR_PROBLEMS + name for name in ("not-json", "invalid", "too-large"))
"""Refusals of a whole request that one line in it may be the cause of, in the service's own words:
a 400 from something between here and there says nothing about the runs."""


@dataclass(frozen=True)
class Flushed:
    """What became of the runs that were sent."""

    sent: int = 0
    accepted: int = 0
    duplicates: int = 0
    dead: int = 0

    def plus(self, other: Flushed) -> Flushed:
        return Flushed(
            self.sent + other.sent,
            self.accepted + other.accepted,
            self.duplicates + other.duplicates,
            self.dead + other.dead,
        )


class Sender:
    """Empties a store through a client; ``total`` is what became of all that it ever sent."""

    def __init__(self, store: Store, client: Client, moment: Callable[[], Moment]) -> None:
        self._store, self._client, self._moment = store, client, moment
        self._lock, self.total = threading.Lock(), Flushed()

    def flush(self, *, is_stopping: Callable[[], bool] = lambda: False) -> Flushed:
        """Send until nothing waits; the error that stops it carries the counts so far."""
        done = Flushed()
        try:
            while not is_stopping():
                batch = _fitting(self._store.oldest(state=WAITING, limit=BATCH_RUNS))
                if not batch:
                    break
                for part in self._parts(self._with_starts(batch)):
                    done = done.plus(part)
                    with self._lock:
                        self.total = self.total.plus(part)
        except errors.APIError as error:
            error.flushed = done  # type: ignore[attr-defined]
            raise
        return done

    def _parts(self, batch: Sequence[Kept]) -> Iterator[Flushed]:
        """Send a batch; one that is refused as a whole is halved until the bad line is alone."""
        if not batch:
            return
        readings = [kept for kept in batch if is_reading(kept.line)]
        if 0 < len(readings) < len(batch):
            yield from self._parts([kept for kept in batch if not is_reading(kept.line)])
            yield from self._parts(readings)
            return
        began = self._moment()
        send = self._client.add_readings if readings else self._client.add_runs
        try:
            outcome = send([self._line(kept, began) for kept in batch])
        except errors.ClientError as error:
            if error.type not in POISON:
                raise
            if len(batch) > 1:
                half = len(batch) // 2
                yield from self._parts(batch[:half])
                yield from self._parts(batch[half:])
            else:
                self._store.settle([], [(batch[0], str(error))])
                yield Flushed(sent=1, dead=1)
            return
        self._learn()
        yield self._settle(batch, outcome)

    def _settle(
        self, batch: Sequence[Kept], outcome: RunBatchOutcome | ReadingBatchOutcome
    ) -> Flushed:
        told = outcome.accepted + outcome.duplicates + outcome.conflicts + outcome.rejected
        if outcome.received != len(batch) or told != len(batch):
            raise errors.TransportError(
                f"{len(batch)} runs were sent, but the answer speaks of {outcome.received}, "
                f"{told} of them judged"
            )
        refused: dict[int, str] = {}
        for problem in outcome.problems:
            if problem.outcome in ("conflict", "rejected") and 0 <= problem.index < len(batch):
                details = "; ".join(
                    f"{one.pointer or ''} {one.detail}".strip() for one in problem.errors
                )
                refused[problem.index] = f"{problem.outcome}: {details}"
        if len(refused) != outcome.conflicts + outcome.rejected:
            raise errors.TransportError(
                f"{outcome.conflicts + outcome.rejected} runs were refused, but only "
                f"{len(refused)} of them are named"
            )
        self._store.settle(
            [kept for index, kept in enumerate(batch) if index not in refused],
            [(batch[index], reason) for index, reason in sorted(refused.items())],
        )
        return Flushed(len(batch), outcome.accepted, outcome.duplicates, len(refused))

    # --- time --------------------------------------------------------------------------------

    def _with_starts(self, batch: Sequence[Kept]) -> list[Kept]:
        """Runs of earlier boots get their start now, for good: their uptime says no more."""
        now = self._moment()
        old = [kept.seq for kept in batch if kept.boot_id not in (None, now.boot_id)]
        if not old:
            return [*batch]
        fixed = {kept.seq: kept for kept in self._store.fix(old, started)}
        gone = {*old} - {*fixed}
        return [fixed.get(kept.seq, kept) for kept in batch if kept.seq not in gone]

    def _line(self, kept: Kept, now: Moment) -> dict[str, Any]:
        """The run as it is sent now: of this boot by its age, which no clock can spoil."""
        if kept.boot_id != now.boot_id or kept.uptime_seconds is None:
            return kept.line
        age_seconds = round(max(0.0, now.uptime_seconds - kept.uptime_seconds), 3)
        if age_seconds > OLDEST_AGE_SECONDS:
            return started(kept, None)
        return {**kept.line, "age_seconds": age_seconds}

    def _learn(self) -> None:
        told = self._client._transport.told_time
        if told is not None:
            told_seconds, at_clock = told
            now = self._moment()
            since = self._client._transport.clock() - at_clock
            offset_seconds = told_seconds - (now.uptime_seconds - since)
            self._store.learn(now.boot_id, offset_seconds, told_seconds)


def started(kept: Kept, offset_seconds: float | None) -> dict[str, Any]:
    """The start of a run of an earlier boot: by the service's time, else by the wall clock.

    Where the wall clock was seen to be wrong, nothing is known: the service takes the time of
    receipt and says so.
    """
    if kept.uptime_seconds is None:
        return kept.line
    start = kept.wall_seconds
    if offset_seconds is not None:
        start = offset_seconds + kept.uptime_seconds
    if start is not None:
        name = "at" if is_reading(kept.line) else "started_at"
        return {**kept.line, name: format_instant(instant_of(start))}
    uptime_seconds = round(max(0.0, kept.uptime_seconds), 3)
    return {**kept.line, "boot_id": kept.boot_id, "uptime_seconds": uptime_seconds}


def _fitting(waiting: Sequence[Kept]) -> list[Kept]:
    """As many of the oldest as fit one request."""
    batch: list[Kept] = []
    size_bytes = len(encode({"runs": []}))
    for kept in waiting:
        size_bytes += kept.size_bytes + 64  # an age, a comma
        if batch and size_bytes > BATCH_BYTES:
            break
        batch.append(kept)
    return batch
