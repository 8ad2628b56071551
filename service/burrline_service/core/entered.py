"""The records of what people and devices tell beside runs: entries and readings."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from .particles_records import PooledSizes, SampleSizes

MOTOR_REPLACED = "motor_replaced"
CARE_TASKS = (
    "cleaning",
    "burrs_removed",
    "alignment",
    "vents_cleaned",
    MOTOR_REPLACED,
    "repair",
    "inspection",
    "trip_checked",
)

MEASURING_METHODS = ("sieve", "laser", "imaging", "percentiles")


@dataclass(frozen=True)
class Tally:
    """Grams over a stretch of time, without single runs: a notebook's day, a till's count."""

    tally_id: str
    grinder_id: str
    from_at: datetime
    to_at: datetime
    grams: float
    basis: str
    purpose: str
    note: str | None
    created_at: datetime
    voided_at: datetime | None = None


@dataclass(frozen=True)
class Period:
    """What holds for runs that leave it out, from an instant on."""

    period_id: str
    grinder_id: str
    from_at: datetime
    to_at: datetime | None
    setting: float | None
    coffee_lot: str | None
    rpm: float | None
    purpose: str | None
    feed: str | None
    created_at: datetime
    voided_at: datetime | None = None


@dataclass(frozen=True)
class Correction:
    """A known mistake of a grinder's devices, undone in every answer; the raw runs stay."""

    correction_id: str
    grinder_id: str
    source: str | None
    from_at: datetime
    to_at: datetime | None
    grams_offset: float | None
    grams_factor: float | None
    clock_offset_seconds: float | None
    is_void: bool
    is_unwatched: bool
    reason: str
    created_at: datetime
    revoked_at: datetime | None = None


@dataclass(frozen=True)
class CareEntry:
    """Something done to a grinder."""

    care_id: str
    grinder_id: str
    at: datetime
    task: str
    zero_setting: float | None
    note: str | None
    created_at: datetime
    voided_at: datetime | None = None


@dataclass(frozen=True)
class Reading:
    """A temperature, or a sign that a motor runs, as sent."""

    grinder_id: str
    reading_id: str | None = None
    at: datetime | None = None
    age_seconds: float | None = None
    motor_celsius: float | None = None
    ambient_celsius: float | None = None
    is_running: bool | None = None
    run_id: str | None = None
    source: str | None = None


@dataclass(frozen=True)
class StoredReading:
    """A reading as it is read back; ``reading_id`` is given when none was sent."""

    reading: Reading
    time_source: str
    received_at: datetime
    voided_at: datetime | None = None


@dataclass(frozen=True)
class Replicate:
    """One dose of a checkpoint: as sent, and the sizes it comes to."""

    dose_grams: float | None
    ground_at: datetime
    distribution: dict[str, Any]
    sizes: SampleSizes


@dataclass(frozen=True)
class Checkpoint:
    """The grind measured at one moment of a burr set's life.

    ``burr_grams`` is what had gone through the set by ``ground_at``: given, or counted.
    """

    checkpoint_id: str
    grinder_id: str
    burr_set_id: str | None
    ground_at: datetime
    measured_at: datetime | None
    session_id: str | None
    setting: float | None
    rpm: float | None
    burr_grams: float | None
    burr_grams_basis: Literal["given", "runs"] | None
    method: str
    instrument_id: str | None
    sieve_set_id: str | None
    dispersant: str | None
    coffee_lot: str | None
    note: str | None
    fines_cut_micrometres: float
    replicates: tuple[Replicate, ...]
    pooled: PooledSizes
    created_at: datetime
    voided_at: datetime | None = None
