"""Time for tests of whoever waits: it passes only when somebody sleeps."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone

BEGINNING_AT = datetime(2026, 3, 1, 9, 30, tzinfo=timezone.utc)


class FakeTime:
    """A monotonic clock, the instant that goes with it, and a sleep that keeps a record."""

    def __init__(self) -> None:
        self.passed_seconds = 0.0
        self.pauses_seconds: list[float] = []

    def clock(self) -> float:
        return 5000.0 + self.passed_seconds

    def now(self) -> datetime:
        return BEGINNING_AT + timedelta(seconds=self.passed_seconds)

    def sleep(self, pause_seconds: float) -> None:
        self.pauses_seconds.append(pause_seconds)
        self.passed_seconds += pause_seconds
        assert len(self.pauses_seconds) < 1000, "somebody waits for ever"
