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
    state: Literal["ok", "warm", "over", "unknown"]
    reading_celsius: float | None
    read_at: datetime | None
    sensor: str | None
    caution_celsius: float | None
    limit_celsius: float | None


@dataclass(frozen=True)
class BreakIn:
    """The break-in stage by expectation: it can say where to look, never that a set has settled."""

    stage: Literal["unknown", "new", "breaking_in", "undecided"]
    basis: Literal["expected"]
    verdict: str
    sentence: str
    burr_grams: float | None
    low_remaining_grams: float | None
    remaining_grams: float | None
    high_remaining_grams: float | None
    next_checkpoint_grams: float | None


@dataclass(frozen=True)
class Alert:
    """A condition of a grinder's motor, from when until when it held."""

    kind: str
    severity: Literal["notice", "caution", "alert"]
    grinder_id: str
    site_id: str
    opened_at: datetime
    closed_at: datetime | None
    facts: dict[str, float | None]


@dataclass(frozen=True)
class OpenAlert:
    """An alert that is open at the instant of a status."""

    kind: str
    severity: Literal["notice", "caution", "alert"]
    opened_at: datetime


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
