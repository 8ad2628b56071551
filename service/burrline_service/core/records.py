"""The records that flow through all rooms: what a schema makes, an action passes, a store keeps.

Frozen dataclasses, same names as in JSON. Instants are aware and UTC; the unit is the last word
of a number's name, but a run keeps the trade's short words ``grams``, ``seconds``, ``setting``.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

PURPOSES = ("service", "break_in", "dial_in", "measurement", "purge", "cleaning")
GRAMS_BASES = ("weighed_out", "weighed_in", "target", "estimated")
FEEDS = ("hopper", "single_dose")
TIME_SOURCES = ("device", "age", "received", "uptime")
GEOMETRIES = ("flat", "conical", "other")
PRE_TREATMENTS = ("none", "factory", "outside", "unknown")
DUTY_KINDS = ("continuous", "short_time", "intermittent")
THERMAL_CLASSES = (105, 120, 130, 155, 180, 200)
SENSORS = ("winding", "housing", "none")
FANS = ("shaft", "separate", "none")
COARSER = ("higher", "lower")
BREW_METHODS = ("espresso", "percolation", "immersion")
SCOPES = ("runs:write", "read", "care:write", "manage", "metrics", "keys")

LONGEST_RUN_SECONDS = 6 * 3600
LARGEST_RUN_GRAMS = 50_000
LOWEST_CELSIUS, HIGHEST_CELSIUS = -40, 400


@dataclass(frozen=True)
class Caller:
    """Who asks: the account, and what the key is bound to (empty = the whole account)."""

    account_no: int
    scopes: frozenset[str]
    key_id: str
    site_ids: frozenset[str] = frozenset()
    grinder_ids: frozenset[str] = frozenset()

    @property
    def is_bound(self) -> bool:
        return bool(self.site_ids or self.grinder_ids)


@dataclass(frozen=True)
class Key:
    """An access key as it may be shown: never its secret."""

    key_id: str
    name: str
    scopes: tuple[str, ...]
    site_ids: tuple[str, ...]
    grinder_ids: tuple[str, ...]
    last_four: str
    created_at: datetime
    expires_at: datetime | None = None
    revoked_at: datetime | None = None
    last_used_at: datetime | None = None


@dataclass(frozen=True)
class Site:
    """A café, roastery or lab; without ``opening_hours`` it counts as always open.

    ``opening_hours`` gives local times by day of the week, ``{"mon": [["07:00", "19:00"]]}``.
    """

    site_id: str
    name: str
    time_zone: str
    created_at: datetime
    opening_hours: dict[str, list[list[str]]] | None = None
    closed_days: tuple[str, ...] = ()
    revision: int = 1


@dataclass(frozen=True)
class RatedDuty:
    """Duty type off the plate (IEC 60034-1 S1, S2, S3); ``duty_fraction`` is on / cycle."""

    kind: Literal["continuous", "short_time", "intermittent"]
    on_seconds: float | None = None
    cycle_seconds: float | None = None
    duty_fraction: float | None = None


@dataclass(frozen=True)
class Motor:
    rated_watts: float | None = None
    thermal_class: int | None = None
    sensor: Literal["winding", "housing", "none"] | None = None
    caution_celsius: float | None = None
    limit_celsius: float | None = None
    fan: Literal["shaft", "separate", "none"] | None = None


@dataclass(frozen=True)
class Grind:
    setting_step: float | None = None
    low_setting: float | None = None
    high_setting: float | None = None
    coarser: Literal["higher", "lower"] | None = None
    expected_grams_per_second: float | None = None


@dataclass(frozen=True)
class Span:
    """A stretch of time, half-open; without an end it lasts."""

    from_at: datetime
    to_at: datetime | None = None


@dataclass(frozen=True)
class Grinder:
    """A machine at a site with what its plate says (as of the instant asked for)."""

    grinder_id: str
    site_id: str
    name: str
    created_at: datetime
    model: str | None = None
    serial: str | None = None
    rated_duty: RatedDuty | None = None
    motor: Motor | None = None
    grind: Grind | None = None
    hopper_grams: float | None = None
    retained_grams: float | None = None
    retired_at: datetime | None = None
    out_of_service: tuple[Span, ...] = ()
    revision: int = 1


@dataclass(frozen=True)
class Fitting:
    """One stay of a burr set in a grinder, half-open [fitted_at, removed_at).

    A removal is implied where nobody entered one: the next fitting ended the stay.
    """

    grinder_id: str
    fitted_at: datetime
    removed_at: datetime | None = None
    is_removal_implied: bool = False


@dataclass(frozen=True)
class BurrSet:
    burr_set_id: str
    geometry: Literal["flat", "conical", "other"]
    created_at: datetime
    diameter_millimetres: float | None = None
    burr_model: str | None = None
    serial: str | None = None
    material: str | None = None
    coating: str | None = None
    pre_treated: Literal["none", "factory", "outside", "unknown"] = "unknown"
    prior_grams: float | None = None
    low_prior_grams: float | None = None
    high_prior_grams: float | None = None
    rated_life_grams: float | None = None
    fittings: tuple[Fitting, ...] = ()
    voided_at: datetime | None = None
    revision: int = 1


@dataclass(frozen=True)
class Brew:
    method: Literal["espresso", "percolation", "immersion"]
    seconds: float | None = None
    beverage_grams: float | None = None
    water_grams: float | None = None
    tds_fraction: float | None = None


@dataclass(frozen=True)
class Finding:
    """Something implausible about a stored run; the run counts all the same."""

    code: str
    detail: str


@dataclass(frozen=True)
class Run:
    """One stretch of motor-on, as sent: before storing it ``started_at`` may still be unknown."""

    run_id: str
    grinder_id: str
    started_at: datetime | None = None
    age_seconds: float | None = None
    seconds: float | None = None
    grams: float | None = None
    grams_basis: str = "weighed_out"
    feed: str | None = None
    energy_joules: float | None = None
    setting: float | None = None
    rpm: float | None = None
    motor_celsius: float | None = None
    ambient_celsius: float | None = None
    purpose: str | None = None
    coffee_lot: str | None = None
    brew: Brew | None = None
    source: str | None = None


@dataclass(frozen=True)
class StoredRun:
    """A run as it is read back: what counts of it, and what burrline added.

    ``run`` holds the effective values, in stored precision; where a correction changed them the
    raw ones stand beside. ``from_period`` names the members that a period filled in.
    """

    run: Run
    time_source: Literal["device", "age", "received", "uptime"]
    received_at: datetime
    findings: tuple[Finding, ...] = ()
    voided_at: datetime | None = None
    raw_started_at: datetime | None = None
    raw_grams: float | None = None
    correction_ids: tuple[str, ...] = ()
    from_period: tuple[str, ...] = ()
    counts: tuple[str, ...] = ("grams", "seconds")


@dataclass(frozen=True)
class Watched:
    """A stretch of time that a sender watched; without ids, the grinders of the batch's runs."""

    from_at: datetime
    until_at: datetime
    grinder_ids: tuple[str, ...] | None = None


@dataclass(frozen=True)
class RunOutcome:
    """What became of one sent run."""

    run_id: str
    outcome: Literal["accepted", "duplicate", "conflict"]
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class Page:
    """One page of a list; ``next_position`` is where the next one starts, None at the end."""

    items: tuple[Any, ...]
    next_position: tuple[Any, ...] | None = None
