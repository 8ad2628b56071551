"""Motors that run now: stretches of motor-on that readings show before their run has come."""

from __future__ import annotations

from collections import defaultdict

from ..store import readings
from ..store.database import Connection
from ..store.readings import ReadingRow
from ..store.stretches import LONGEST_RUN_MS


def open_stretches(
    connection: Connection, account_no: int, grinder_no: int, *, since_ms: int, at_ms: int
) -> list[tuple[int, int]]:
    """Motor-on of runs that have not been reported, by the readings that name them.

    Each reaches from the first to the last reading that said the motor ran: an open run is closed
    at its last sign of life. A run that has come tells its own time, and its readings no more.
    """
    named: dict[bytes, list[ReadingRow]] = defaultdict(list)
    for row in readings.between(
        connection,
        account_no,
        grinder_no,
        from_ms=since_ms - LONGEST_RUN_MS,
        to_ms=at_ms + 1,
    ):
        if row.is_running and row.run_key is not None:
            named[row.run_key].append(row)
    if not named:
        return []
    closed = readings.closed_runs(connection, account_no, grinder_no, named, until_ms=at_ms)
    stretches = [
        (rows[0].at_ms, rows[-1].at_ms) for key, rows in named.items() if key not in closed
    ]
    return sorted(
        (max(first, since_ms), last) for first, last in stretches if first < last > since_ms
    )
