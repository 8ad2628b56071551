"""Counting requests in memory that all processes of a server share.

Each process counts in a slot of its own, so none waits for another; a look adds the slots up. A
process that is started anew takes the next slot, so what one has counted stays counted when it
ends. With more starts than slots two processes share one, and may now and then lose a count.
"""

from __future__ import annotations

import fcntl
import mmap
import os
import struct
import tempfile
import threading
import weakref
from collections.abc import Iterator

STATUSES = (
    200, 201, 202, 204, 304, 400, 401, 403, 404, 405, 409, 411, 412, 413, 415, 422, 428, 429, 500,
    503,
)  # fmt: skip
OUTCOMES = ("accepted", "duplicate", "conflict", "rejected")
OTHER = "other"
MOST_OPERATIONS = 128
SLOT_COUNT = 64
_STATUS_COUNT = len(STATUSES) + 1
_MICROSECONDS = MOST_OPERATIONS * _STATUS_COUNT
_OUTCOMES = _MICROSECONDS + MOST_OPERATIONS
_CELL_COUNT = _OUTCOMES + len(OUTCOMES)
_CELL = struct.Struct("=q")
_HEAD_BYTES = 8
_SLOT_BYTES = _CELL_COUNT * _CELL.size


class TallySheet:
    """Counts of requests by operation and status, of their seconds, and of runs by outcome."""

    def __init__(self) -> None:
        self._memory = mmap.mmap(-1, _HEAD_BYTES + SLOT_COUNT * _SLOT_BYTES)
        # its lock ends with the process that holds it
        self._file = tempfile.TemporaryFile()  # noqa: SIM115
        weakref.finalize(self, self._file.close)
        self._lock = threading.Lock()
        self._process_id: int | None = None
        self._start = 0

    def count_request(self, operation: int, status: int, seconds: float) -> None:
        """One more request of the so-manieth operation."""
        column = STATUSES.index(status) if status in STATUSES else len(STATUSES)
        with self._lock:
            self._add(operation * _STATUS_COUNT + column, 1)
            self._add(_MICROSECONDS + operation, round(seconds * 1_000_000))

    def count_outcome(self, outcome: str, count: int) -> None:
        """So many more runs with an outcome."""
        with self._lock:
            self._add(_OUTCOMES + OUTCOMES.index(outcome), count)

    def requests(self) -> Iterator[tuple[int, str, int]]:
        """Operation, status and how many, where there were any."""
        for cell, count in enumerate(self._totals()[:_MICROSECONDS]):
            if count:
                operation, column = divmod(cell, _STATUS_COUNT)
                status = str(STATUSES[column]) if column < len(STATUSES) else OTHER
                yield operation, status, count

    def seconds(self) -> dict[int, float]:
        """The seconds that all requests of an operation took together, where there were any."""
        cells = self._totals()[_MICROSECONDS:_OUTCOMES]
        return {number: count / 1_000_000 for number, count in enumerate(cells) if count}

    def outcomes(self) -> dict[str, int]:
        return dict(zip(OUTCOMES, self._totals()[_OUTCOMES:], strict=True))

    def _add(self, cell: int, count: int) -> None:
        if self._process_id != os.getpid():
            self._take_slot()
        place = self._start + cell * _CELL.size
        (counted,) = _CELL.unpack_from(self._memory, place)
        _CELL.pack_into(self._memory, place, counted + count)

    def _take_slot(self) -> None:
        fcntl.lockf(self._file, fcntl.LOCK_EX)
        try:
            (taken,) = _CELL.unpack_from(self._memory, 0)
            _CELL.pack_into(self._memory, 0, taken + 1)
        finally:
            fcntl.lockf(self._file, fcntl.LOCK_UN)
        self._start = _HEAD_BYTES + (taken % SLOT_COUNT) * _SLOT_BYTES
        self._process_id = os.getpid()

    def _totals(self) -> list[int]:
        (taken,) = _CELL.unpack_from(self._memory, 0)
        totals = [0] * _CELL_COUNT
        for slot in range(min(taken, SLOT_COUNT)):
            begin = _HEAD_BYTES + slot * _SLOT_BYTES
            found = struct.unpack_from(f"={_CELL_COUNT}q", self._memory, begin)
            totals = [total + count for total, count in zip(totals, found, strict=True)]
        return totals
