"""The invented chain Ullisand: its sites, and what stands where."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from .machines import (
    CONICAL_40,
    CONICAL_63,
    FLAT_55,
    FLAT_64,
    FLAT_64_SINGLE_DOSE,
    FLAT_80_RETAIL,
    FLAT_83,
    FLAT_83_CONTINUOUS,
    FLAT_98,
    FLAT_98_SINGLE_DOSE,
    Kind,
)

CHAIN = "Ullisand"

Device = Literal["scale", "scale_and_sensor", "grams_only", "plug", "controller", "weighed_in"]
Role = Literal["espresso", "decaf", "filter", "retail", "line", "lab"]
Part = Literal[
    "overheating",
    "warm",
    "near",
    "exceeded",
    "breaking_in",
    "measured",
    "just_fitted",
    "retired",
]


@dataclass(frozen=True)
class Place:
    """A site: its zone, when it is open by its own clock, and how warm its room is."""

    site_id: str
    name: str
    time_zone: str
    weekday_hours: tuple[int, int]  # opens, closes; 0 and 24 = around the clock
    weekend_hours: tuple[int, int]
    late_seconds: float  # how much later than elsewhere the town gets up
    room_celsius: float
    closed_weekday: int | None = None  # Monday is 0


@dataclass(frozen=True)
class Burrs:
    """The burr set in a grinder: how many days ago it was fitted and what it had ground then."""

    fitted_days: int
    prior_grams: float | None
    pre_treated: str = "none"
    low_prior_grams: float | None = None


@dataclass(frozen=True)
class Placed:
    """A grinder at its place, what it is used for and what watches it."""

    grinder_id: str
    site_id: str
    name: str
    kind: Kind
    device: Device
    role: Role
    runs_per_day: int
    dose_grams: float
    usual_setting: float
    burrs: Burrs | None
    part: Part | None = None


PLACES = (
    Place("cedar-landing", "Cedar Landing", "America/Vancouver", (6, 18), (7, 17), 0.0, 21.0),
    Place("ferry-stairs", "Ferry Stairs", "Europe/Lisbon", (7, 19), (8, 18), 900.0, 22.0),
    Place("heron-corner", "Heron Corner", "America/Montevideo", (8, 20), (9, 17), 2700.0, 23.0, 6),
    Place("kiln-yard", "Kiln Yard roastery", "Europe/Ljubljana", (0, 24), (0, 24), 0.0, 20.5),
    Place("long-pier", "Long Pier", "Pacific/Auckland", (6, 16), (7, 16), -900.0, 19.5),
    Place("tamarind-arcade", "Tamarind Arcade", "Asia/Kolkata", (8, 21), (9, 22), 3600.0, 26.0),
)  # fmt: skip

GRINDERS = (
    Placed("cedar-bar-1", "cedar-landing", "Bar left", FLAT_64, "scale_and_sensor",
           "espresso", 140, 18.5, 4.2, Burrs(13, 0.0), "measured"),
    Placed("cedar-bar-2", "cedar-landing", "Bar right", FLAT_64, "scale_and_sensor",
           "espresso", 95, 18.5, 4.4, Burrs(160, 0.0)),
    Placed("cedar-decaf", "cedar-landing", "Decaf", FLAT_55, "plug",
           "decaf", 22, 18.0, 3.1, Burrs(300, 12_000.0)),
    Placed("cedar-filter", "cedar-landing", "Filter bar", FLAT_64_SINGLE_DOSE, "weighed_in",
           "filter", 38, 15.0, 44.0, Burrs(60, 0.0, "factory")),
    Placed("cedar-hand", "cedar-landing", "Tasting corner", CONICAL_40, "grams_only",
           "filter", 14, 15.0, 22.0, Burrs(90, None)),
    Placed("cedar-retail", "cedar-landing", "Bag counter", FLAT_80_RETAIL, "plug",
           "retail", 9, 250.0, 6.5, Burrs(400, 150_000.0)),

    Placed("ferry-bar-1", "ferry-stairs", "Bar, harbour side", FLAT_83, "controller",
           "espresso", 150, 18.0, 7.4, Burrs(120, 0.0)),
    Placed("ferry-bar-2", "ferry-stairs", "Bar, hill side", CONICAL_63, "scale_and_sensor",
           "espresso", 105, 17.0, 5.2, Burrs(240, 30_000.0)),
    Placed("ferry-decaf", "ferry-stairs", "Decaf", FLAT_55, "grams_only",
           "decaf", 20, 17.0, 3.3, Burrs(200, 0.0)),
    Placed("ferry-filter", "ferry-stairs", "Filter bar", FLAT_64_SINGLE_DOSE, "weighed_in",
           "filter", 32, 16.0, 47.0, Burrs(15, 0.0)),
    Placed("ferry-kiosk", "ferry-stairs", "Landing kiosk", FLAT_64, "grams_only",
           "espresso", 60, 18.0, 4.0, Burrs(75, 2_000.0)),
    Placed("ferry-old-bar", "ferry-stairs", "Old bar (out of use)", FLAT_64, "scale",
           "espresso", 60, 18.0, 3.6, Burrs(900, 350_000.0), "retired"),
    Placed("ferry-retail", "ferry-stairs", "Bag counter", FLAT_80_RETAIL, "scale",
           "retail", 11, 250.0, 7.0, Burrs(365, None)),

    Placed("heron-bar-1", "heron-corner", "Bar, window", FLAT_64, "scale_and_sensor",
           "espresso", 120, 18.0, 4.6, Burrs(45, 0.0)),
    Placed("heron-bar-2", "heron-corner", "Bar, wall", FLAT_64, "plug",
           "espresso", 85, 18.0, 4.5, Burrs(45, 9_000.0)),
    Placed("heron-decaf", "heron-corner", "Decaf", CONICAL_40, "grams_only",
           "decaf", 18, 17.0, 11.0, None),
    Placed("heron-filter", "heron-corner", "Filter bar", FLAT_98_SINGLE_DOSE, "controller",
           "filter", 30, 18.0, 52.0, Burrs(30, None, "outside", 5_000.0)),
    Placed("heron-guest", "heron-corner", "Guest coffee", FLAT_83, "controller",
           "espresso", 35, 18.0, 7.9, Burrs(21, 0.0)),
    Placed("heron-retail", "heron-corner", "Bag counter", FLAT_80_RETAIL, "plug",
           "retail", 8, 500.0, 6.0, Burrs(150, 40_000.0)),

    Placed("pier-bar-1", "long-pier", "Bar, sea side", CONICAL_63, "scale_and_sensor",
           "espresso", 130, 19.0, 5.0, Burrs(80, 0.0)),
    Placed("pier-bar-2", "long-pier", "Bar, street side", FLAT_64, "scale",
           "espresso", 80, 19.0, 4.1, Burrs(80, 0.0)),
    Placed("pier-decaf", "long-pier", "Decaf", FLAT_55, "plug",
           "decaf", 16, 19.0, 3.0, Burrs(80, 8_000.0)),
    Placed("pier-filter", "long-pier", "Filter bar", FLAT_64_SINGLE_DOSE, "weighed_in",
           "filter", 35, 20.0, 41.0, Burrs(33, 0.0)),
    Placed("pier-retail", "long-pier", "Bag counter", FLAT_80_RETAIL, "grams_only",
           "retail", 10, 250.0, 6.5, Burrs(500, 220_000.0)),

    Placed("tamarind-bar-1", "tamarind-arcade", "Bar, north", FLAT_83_CONTINUOUS, "controller",
           "espresso", 145, 18.0, 7.0, Burrs(100, 0.0)),
    Placed("tamarind-bar-2", "tamarind-arcade", "Bar, south", FLAT_64, "scale_and_sensor",
           "espresso", 110, 18.0, 4.3, Burrs(100, 0.0)),
    Placed("tamarind-decaf", "tamarind-arcade", "Decaf", FLAT_55, "scale",
           "decaf", 15, 17.0, 3.2, Burrs(220, 8_000.0)),
    Placed("tamarind-filter", "tamarind-arcade", "Filter bar", FLAT_64_SINGLE_DOSE, "weighed_in",
           "filter", 36, 17.0, 45.0, Burrs(70, 0.0)),
    Placed("tamarind-milk", "tamarind-arcade", "Milk drinks", FLAT_64, "plug",
           "espresso", 70, 18.0, 4.0, Burrs(100, 14_000.0)),
    Placed("tamarind-retail", "tamarind-arcade", "Bag counter", FLAT_80_RETAIL, "scale",
           "retail", 12, 250.0, 6.0, Burrs(260, 90_000.0)),

    Placed("yard-lab-1", "kiln-yard", "Lab bench 1", FLAT_98_SINGLE_DOSE, "controller",
           "lab", 26, 20.0, 55.0, Burrs(420, 60_000.0), "breaking_in"),
    Placed("yard-lab-2", "kiln-yard", "Lab bench 2", FLAT_98_SINGLE_DOSE, "controller",
           "lab", 22, 20.0, 53.0, Burrs(380, 45_000.0), "just_fitted"),
    Placed("yard-line-1", "kiln-yard", "Packing line 1", FLAT_98, "controller",
           "line", 44, 1000.0, 14.0, Burrs(210, 0.0), "overheating"),
    Placed("yard-line-2", "kiln-yard", "Packing line 2", FLAT_83_CONTINUOUS, "controller",
           "line", 50, 500.0, 11.0, Burrs(330, 0.0), "warm"),
    Placed("yard-line-3", "kiln-yard", "Packing line 3", FLAT_98, "scale_and_sensor",
           "line", 42, 1000.0, 15.5, Burrs(150, 400_000.0)),
    Placed("yard-sample", "kiln-yard", "Sample roasts", CONICAL_40, "weighed_in",
           "lab", 18, 12.0, 18.0, None),
    Placed("yard-spare", "kiln-yard", "Spare, just unpacked", FLAT_64, "scale",
           "espresso", 0, 18.0, 4.0, None),
    Placed("yard-tasting-1", "kiln-yard", "Tasting bar 1", FLAT_64, "scale_and_sensor",
           "espresso", 45, 18.0, 4.3, Burrs(110, 0.0), "exceeded"),
    Placed("yard-tasting-2", "kiln-yard", "Tasting bar 2", FLAT_64, "scale_and_sensor",
           "espresso", 40, 18.0, 4.5, Burrs(110, 0.0), "near"),
)  # fmt: skip
