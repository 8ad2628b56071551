"""Leaving a receiver alone that does not answer: one circuit for each."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from .retry_schedule import JITTER_FRACTION, MOST_RETRY_AFTER_SECONDS, Verdict

FAILURES_TO_PAUSE = 3
FIRST_PAUSE_SECONDS = 30.0
LONGEST_PAUSE_SECONDS = 1800.0
MOST_IN_FLIGHT = 2


@dataclass(frozen=True)
class Circuit:
    """How a receiver has answered lately: failures in a row, and until when it is left alone."""

    failure_count: int = 0
    paused_until: datetime | None = None


def after_attempt(
    circuit: Circuit,
    verdict: Verdict,
    *,
    at: datetime,
    jitter_fraction: float,
    retry_after_seconds: float | None = None,
) -> Circuit:
    """Give the circuit after one more attempt.

    ``pause = min(30 s * 2^(failures - 3), 30 min) * (1 + 0.1 * jitter)`` from the third failure
    in a row on, from the first where the receiver asks to slow down; at least what it asks for

    Parameters
    ----------
    circuit : Circuit
        As it was.
    verdict : str
        What came of the attempt.
    at : datetime
        When it ended.
    jitter_fraction : float
        0 to 1, from the dice.
    retry_after_seconds : float or None
        What the receiver asked for.

    Returns
    -------
    Circuit
        Closed after a delivery; else one failure more, and paused where the rule says so.

    Valid
    -----
    After a pause a single attempt tries the receiver out; a pause that is on already is never
    shortened by an attempt that began before it.

    Source
    ------
    Rule made here: three failures may be one restart, and half an hour is how late a receiver
    that came back may be found out.

    Examples
    --------
    >>> from datetime import UTC
    >>> at = datetime(2026, 3, 2, 8, tzinfo=UTC)
    >>> after_attempt(Circuit(2), "failed", at=at, jitter_fraction=0.0).paused_until - at
    datetime.timedelta(seconds=30)
    """
    if verdict == "delivered":
        return Circuit()
    failure_count = circuit.failure_count + 1
    over_count = failure_count - FAILURES_TO_PAUSE
    if over_count < 0 and verdict != "slow_down":
        return Circuit(failure_count, circuit.paused_until)
    pause_seconds = FIRST_PAUSE_SECONDS * 2.0 ** min(max(over_count, 0), 16)
    pause_seconds = min(pause_seconds, LONGEST_PAUSE_SECONDS)
    floor_seconds = min(retry_after_seconds or 0.0, MOST_RETRY_AFTER_SECONDS)
    pause_seconds = max(pause_seconds, floor_seconds) * (1.0 + JITTER_FRACTION * jitter_fraction)
    until = at + timedelta(seconds=pause_seconds)
    if circuit.paused_until is not None:
        until = max(until, circuit.paused_until)
    return Circuit(failure_count, until)


def room_count(circuit: Circuit, *, at: datetime) -> int:
    """Say how many attempts may be under way at a receiver.

    ``0 while paused, 1 after a failure, else 2``

    Parameters
    ----------
    circuit : Circuit
        As it is.
    at : datetime
        Now.

    Returns
    -------
    int
        0, 1 or 2.

    Source
    ------
    Rule made here.

    Examples
    --------
    >>> from datetime import UTC
    >>> at = datetime(2026, 3, 2, 8, tzinfo=UTC)
    >>> [room_count(Circuit(n, until), at=at) for n, until in ((0, None), (1, None), (3, at))]
    [2, 1, 1]
    """
    if circuit.paused_until is not None and circuit.paused_until > at:
        return 0
    return MOST_IN_FLIGHT if circuit.failure_count == 0 else 1
