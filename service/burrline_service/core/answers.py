"""The records that are answered: how a grinder stands, and what went through it."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal


@dataclass(frozen=True)
class Throughput:
    burr_set_id: str | None
    burr_grams: float | None
    total_burr_grams: float | None
    burr_run_count: int | None
    burr_estimated_grams: float | None
    grinder_grams: float
    grinder_estimated_grams: float | None
    grinder_run_seconds: float
    motor_run_seconds: float
    today_grams: float
    today_estimated_grams: float | None
    last_run_at: datetime | None


@dataclass(frozen=True)
class Bucket:
    """What went through a grinder in one local hour, day or week.

    Nothing while all of ``open_seconds`` is covered means idleness; nothing uncovered means that
    nobody knows.
    """

    from_at: datetime
    to_at: datetime
    grams: float
    estimated_grams: float | None
    cleaning_grams: float
    run_count: int
    run_seconds: float
    grams_by_purpose: dict[str, float]
    open_seconds: float
    covered_seconds: float


@dataclass(frozen=True)
class History:
    """A grinder's throughput over time."""

    grinder_id: str
    time_zone: str
    by: str
    as_of: datetime
    buckets: tuple[Bucket, ...]


@dataclass(frozen=True)
class Duty:
    state: Literal["ok", "near", "exceeded", "unrated", "unknown"]
    on_seconds: float
    cycle_seconds: float
    rated_on_seconds: float | None
    low_fraction: float
    high_fraction: float
    coverage_fraction: float
    ready_at: datetime | None


@dataclass(frozen=True)
class MotorState:
    """The latest reading against its limit, and what the temperature model makes of it.

    The estimate is that of the body measured, with its 90 % interval; ``rest_seconds`` is that
    before a run of a minute. None = not known, or never.
    """

    state: Literal["ok", "warm", "over", "unknown"]
    reading_celsius: float | None
    read_at: datetime | None
    sensor: str | None
    caution_celsius: float | None
    limit_celsius: float | None
    model: Literal["insufficient", "level_only", "slope_only", "no_cooling", "identified"] = (
        "insufficient"
    )
    estimate_celsius: float | None = None
    low_celsius: float | None = None
    high_celsius: float | None = None
    seconds_to_limit: float | None = None
    rest_seconds: float | None = None


@dataclass(frozen=True)
class Allowance:
    """What one limit allows: ``ready`` now, ``wait``, ``never`` at this length, or ``unknown``.

    ``wait_seconds`` is 0 when ready and None when the wait is not known or never ends;
    ``longest_run_seconds`` is how long a run that starts now may be: inf = any length, None = not
    known.
    """

    state: Literal["ready", "wait", "never", "unknown"]
    wait_seconds: float | None
    longest_run_seconds: float | None


@dataclass(frozen=True)
class Readiness:
    """Whether a grinder may run so long now, and if not, when: advice, never permission.

    ``longest_run_seconds`` is the longest run from now that every known limit allows, whatever
    happened in unknown time; None = not known, or nothing bounds it.
    """

    state: Literal["ready", "wait", "never", "unknown"]
    run_seconds: float
    ready_at: datetime | None
    wait_seconds: float | None
    limited_by: Literal["duty", "temperature", "suspected_trip", "no_limit_known"] | None
    longest_run_seconds: float | None
    coverage_fraction: float
    sentence: str


@dataclass(frozen=True)
class BreakIn:
    """The break-in stage and what it rests on: an expectation can never say settled."""

    stage: Literal[
        "unknown", "new", "breaking_in", "undecided", "settled", "drifting", "end_of_life"
    ]
    basis: Literal["measured", "inferred", "expected"]
    verdict: str
    sentence: str
    burr_grams: float | None
    low_remaining_grams: float | None
    remaining_grams: float | None
    high_remaining_grams: float | None
    next_checkpoint_grams: float | None


@dataclass(frozen=True)
class Alert:
    """A condition of a grinder, from when until when it held.

    The rest is of when somebody was told: None until it was noticed, and for past instants.
    """

    kind: str
    severity: Literal["notice", "caution", "alert"]
    grinder_id: str
    site_id: str
    opened_at: datetime
    closed_at: datetime | None
    facts: dict[str, float | None]
    alert_id: str | None = None
    noticed_at: datetime | None = None
    is_late: bool | None = None
    acknowledged_at: datetime | None = None
    acknowledged_by: str | None = None


@dataclass(frozen=True)
class OpenAlert:
    """An alert that is open at the instant of a status."""

    kind: str
    severity: Literal["notice", "caution", "alert"]
    opened_at: datetime
    alert_id: str | None = None


@dataclass(frozen=True)
class Status:
    grinder_id: str
    site_id: str
    name: str
    as_of: datetime
    throughput: Throughput
    duty: Duty
    motor: MotorState
    break_in: BreakIn
    alerts: tuple[OpenAlert, ...] = ()
    revision: int = field(default=0)
