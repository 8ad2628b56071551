"""Motors that run now: stretches of motor-on that readings show before their run has come."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping

from ..store import readings
from ..store.database import Connection


def open_stretches(
    connection: Connection, account_no: int, since_ms: Mapping[int, int], *, at_ms: int
) -> dict[int, list[tuple[int, int]]]:
    """Motor-on of runs that have not been reported, by the readings that name them.

    For each grinder from an instant of its own on. A stretch reaches from the first to the last
    reading that said the motor ran: an open run is closed at its last sign of life. A run that
    has come tells its own time, and its readings no more.
    """
    signs = readings.signs_of_running(connection, account_no, since_ms, until_ms=at_ms)
    named = {(number, run_key) for number, found in signs.items() for run_key, _ in found}
    closed = readings.closed_runs(connection, account_no, named, until_ms=at_ms) if named else set()
    stretches: dict[int, list[tuple[int, int]]] = {}
    for number, found in signs.items():
        of_run: dict[bytes, list[int]] = defaultdict(list)
        for run_key, sign_ms in found:
            of_run[run_key].append(sign_ms)
        low_ms = since_ms[number]
        spans = ((min(of), max(of)) for key, of in of_run.items() if (number, key) not in closed)
        stretches[number] = sorted(
            (max(first, low_ms), last) for first, last in spans if first < last > low_ms
        )
    return stretches
