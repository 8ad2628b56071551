"""The records that are answered about a motor: its duty over time, its heat, what to beware of."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal


@dataclass(frozen=True)
class Caution:
    """What to beware of, and who says so."""

    text: str
    source: str


@dataclass(frozen=True)
class DutyHour:
    """Motor-on time in one hour by the clock of the site, of the part that was asked for."""

    from_at: datetime
    to_at: datetime
    on_seconds: float
    low_fraction: float
    high_fraction: float
    coverage_fraction: float


@dataclass(frozen=True)
class DutyReport:
    """Motor-on time of a stretch of time against the plate, and how the grinder stands."""

    grinder_id: str
    time_zone: str
    as_of: datetime
    from_at: datetime
    to_at: datetime
    on_seconds: float
    low_fraction: float
    high_fraction: float
    coverage_fraction: float
    cycle_seconds: float
    rated_on_seconds: float | None
    rolling_maximum_on_seconds: float
    rolling_maximum_at: datetime | None
    state: Literal["ok", "near", "exceeded", "unrated", "unknown"]
    ready_at: datetime | None
    rest_seconds: float | None
    longest_run_seconds: float | None
    hours: tuple[DutyHour, ...]


@dataclass(frozen=True)
class Limits:
    """A parameter with its two-sided 90 % interval, in the unit of its name."""

    low: float | None
    best: float | None
    high: float | None


@dataclass(frozen=True)
class Parameters:
    """What the temperature model was found to be; None = the readings do not tell."""

    rise_kelvin: Limits | None
    heating_time_constant_seconds: Limits | None
    cooling_time_constant_seconds: Limits | None
    ambient_celsius: Limits | None


@dataclass(frozen=True)
class Segment:
    """From when on readings count: before it the motor, or its cooling, was another one."""

    started_at: datetime | None
    reason: Literal["motor_replaced", "vents_cleaned", "plate_changed"] | None


@dataclass(frozen=True)
class SuspectedTrip:
    """Runs that stopped hot, a silence and a restart: maybe a thermal cut-out did it."""

    stopped_at: datetime
    restarted_at: datetime
    stopped_celsius: float
    sentence: str


@dataclass(frozen=True)
class MotorReport:
    """What the readings tell of a motor, and what follows for the next run."""

    grinder_id: str
    as_of: datetime
    model: Literal["insufficient", "level_only", "slope_only", "no_cooling", "identified"]
    body: Literal["winding", "housing", "unknown"]
    sentence: str
    parameters: Parameters
    estimate_celsius: float | None
    low_celsius: float | None
    high_celsius: float | None
    reading_celsius: float | None
    read_at: datetime | None
    caution_celsius: float | None
    limit_celsius: float | None
    ambient_source: Literal["measured", "estimated", "assumed"] | None
    segment: Segment
    fitted_at: datetime | None
    reading_count: int
    used_count: int
    residual_kelvin: float | None
    noise_kelvin: float | None
    longest_run_seconds: float | None
    valid_up_to_seconds: float | None
    seconds_to_limit: float | None
    sustainable_duty_fraction: float | None
    run_seconds: float
    rest_seconds: float | None
    suspected_trip: SuspectedTrip | None
    cautions: tuple[Caution, ...]


@dataclass(frozen=True)
class RunReadiness:
    """Whether a run of a given length is within the known limits, and if not, when."""

    grinder_id: str
    as_of: datetime
    run_seconds: float
    state: Literal["ready", "wait", "never", "unknown"]
    ready_at: datetime | None
    wait_seconds: float | None
    limited_by: Literal["duty", "temperature", "suspected_trip", "no_limit_known"] | None
    longest_run_seconds: float | None
    coverage_fraction: float
    sentence: str
    cautions: tuple[Caution, ...]
