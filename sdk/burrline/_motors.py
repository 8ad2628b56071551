"""What is asked about a motor: its duty, its heat, and whether a run may begin."""

from __future__ import annotations

from datetime import datetime

from burrline._calls import Calls, path_of
from burrline._http import Answer
from burrline.models import DutyReport, MotorReport, RunReadiness


class Motors(Calls):
    """The operations about a motor."""

    def get_duty(
        self,
        grinder_id: str,
        *,
        from_at: datetime | None = None,
        to_at: datetime | None = None,
        as_of: datetime | None = None,
    ) -> DutyReport:
        """Motor-on time over a stretch (the last 24 hours), against the plate, hour by hour."""
        query = {"from": from_at, "to": to_at, "as_of": as_of}
        return self._get(path_of("/v1/grinders/{}/duty", grinder_id), _duty, query)

    def get_motor(
        self,
        grinder_id: str,
        *,
        run_seconds: float | None = None,
        as_of: datetime | None = None,
    ) -> MotorReport:
        """How hot the motor is, and how it warms and cools; intervals are 90 % intervals."""
        query = {"run_seconds": run_seconds, "as_of": as_of}
        return self._get(path_of("/v1/grinders/{}/motor", grinder_id), _motor, query)

    def get_readiness(
        self, grinder_id: str, *, run_seconds: float, as_of: datetime | None = None
    ) -> RunReadiness:
        """Whether a run of this length is within every known limit now, and if not, when.

        Advice, not permission: what is not known speaks neither for nor against it.
        """
        query = {"run_seconds": run_seconds, "as_of": as_of}
        return self._get(path_of("/v1/grinders/{}/readiness", grinder_id), _readiness, query)


def _duty(answer: Answer) -> DutyReport:
    return DutyReport.from_json(answer.body)


def _motor(answer: Answer) -> MotorReport:
    return MotorReport.from_json(answer.body)


def _readiness(answer: Answer) -> RunReadiness:
    return RunReadiness.from_json(answer.body)
