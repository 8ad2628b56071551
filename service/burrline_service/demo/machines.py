"""The kinds of grinders in the invented fleet: what their plates say, and how they really warm up.

Every number is made up for the demo; none is off a real plate.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Kind:
    """One kind of grinder: its plate in the words of the API, and its hidden physics."""

    model: str
    geometry: str
    diameter_millimetres: float
    material: str
    rated_watts: float
    grams_per_second: float
    burr_rpm: float
    highest_setting: float
    step_setting: float
    rated_life_grams: float
    rated_duty: Mapping[str, Any] | None
    motor: Mapping[str, Any]
    hopper_grams: float | None
    # what the motor draws while grinding, as a share of its rating
    load_fraction: float = 0.75
    # of the body the sensor sits on: rise if run for ever, and how fast it gets there and back
    rise_kelvin: float = 90.0
    heating_seconds: float = 1500.0
    cooling_seconds: float = 3000.0
    is_coarser_higher: bool = True

    @property
    def has_sensor(self) -> bool:
        return bool(self.motor["sensor"] != "none")

    @property
    def plate(self) -> dict[str, Any]:
        """What ``create_grinder`` is told; an unrated machine has no ``rated_duty``."""
        plate: dict[str, Any] = {
            "model": self.model,
            "motor": {"rated_watts": self.rated_watts, **self.motor},
            "grind": {
                "setting_step": self.step_setting,
                "low_setting": 0.0,
                "high_setting": self.highest_setting,
                "coarser": "higher" if self.is_coarser_higher else "lower",
                "expected_grams_per_second": self.grams_per_second,
            },
        }
        if self.rated_duty is not None:
            plate["rated_duty"] = dict(self.rated_duty)
        if self.hopper_grams is not None:
            plate["hopper_grams"] = self.hopper_grams
        return plate


STEEL, TOOL_STEEL = "hardened steel", "tool steel"


def _motor(sensor: str, thermal_class: int, fan: str, **limits: float) -> dict[str, Any]:
    return {"sensor": sensor, "thermal_class": thermal_class, "fan": fan, **limits}


FLAT_64 = Kind(
    model="Flat 64 H", geometry="flat", diameter_millimetres=64.0, material=STEEL,
    rated_watts=370.0, grams_per_second=2.4, burr_rpm=1400.0,
    highest_setting=12.0, step_setting=0.1, rated_life_grams=500_000.0, hopper_grams=1200.0,
    rated_duty={"kind": "intermittent", "duty_fraction": 0.25},
    motor=_motor("housing", 130, "shaft", caution_celsius=60.0, limit_celsius=75.0),
    rise_kelvin=95.0,
)  # fmt: skip
FLAT_64_SINGLE_DOSE = Kind(
    model="Flat 64 S", geometry="flat", diameter_millimetres=64.0, material=TOOL_STEEL,
    rated_watts=350.0, grams_per_second=1.7, burr_rpm=1100.0,
    highest_setting=80.0, step_setting=1.0, rated_life_grams=450_000.0, hopper_grams=None,
    rated_duty={"kind": "intermittent", "duty_fraction": 0.15},
    motor=_motor("housing", 120, "none", caution_celsius=55.0, limit_celsius=70.0),
    rise_kelvin=80.0, heating_seconds=1300.0, is_coarser_higher=False,
)  # fmt: skip
FLAT_83 = Kind(
    model="Flat 83 H", geometry="flat", diameter_millimetres=83.0, material=STEEL,
    rated_watts=650.0, grams_per_second=3.8, burr_rpm=1400.0,
    highest_setting=20.0, step_setting=0.2, rated_life_grams=800_000.0, hopper_grams=1500.0,
    rated_duty={"kind": "intermittent", "on_seconds": 30.0, "cycle_seconds": 120.0},
    motor=_motor("winding", 155, "shaft", caution_celsius=120.0),
    rise_kelvin=150.0, heating_seconds=600.0, cooling_seconds=1500.0,
)  # fmt: skip
FLAT_83_CONTINUOUS = Kind(
    model="Flat 83 C", geometry="flat", diameter_millimetres=83.0, material=TOOL_STEEL,
    rated_watts=900.0, grams_per_second=4.4, burr_rpm=1450.0,
    highest_setting=20.0, step_setting=0.2, rated_life_grams=1_000_000.0, hopper_grams=2500.0,
    rated_duty={"kind": "continuous"},
    motor=_motor("housing", 155, "separate", caution_celsius=60.0, limit_celsius=90.0),
    load_fraction=0.8, rise_kelvin=80.0, heating_seconds=1000.0, cooling_seconds=2000.0,
)  # fmt: skip
FLAT_98 = Kind(
    model="Flat 98 B", geometry="flat", diameter_millimetres=98.0, material=STEEL,
    rated_watts=1400.0, grams_per_second=5.6, burr_rpm=1400.0,
    highest_setting=30.0, step_setting=0.5, rated_life_grams=2_000_000.0, hopper_grams=5000.0,
    rated_duty={"kind": "intermittent", "duty_fraction": 0.6},
    motor=_motor("housing", 155, "shaft", caution_celsius=70.0, limit_celsius=85.0),
    load_fraction=0.85, rise_kelvin=110.0, heating_seconds=1100.0, cooling_seconds=2400.0,
)  # fmt: skip
FLAT_98_SINGLE_DOSE = Kind(
    model="Flat 98 S", geometry="flat", diameter_millimetres=98.0, material=TOOL_STEEL,
    rated_watts=800.0, grams_per_second=2.2, burr_rpm=900.0,
    highest_setting=100.0, step_setting=1.0, rated_life_grams=1_200_000.0, hopper_grams=None,
    rated_duty=None,
    motor=_motor("winding", 155, "separate", caution_celsius=110.0, limit_celsius=140.0),
    load_fraction=0.6, rise_kelvin=120.0, heating_seconds=900.0, cooling_seconds=1800.0,
)  # fmt: skip
FLAT_55 = Kind(
    model="Flat 55 D", geometry="flat", diameter_millimetres=55.0, material=STEEL,
    rated_watts=260.0, grams_per_second=1.3, burr_rpm=1350.0,
    highest_setting=10.0, step_setting=0.1, rated_life_grams=250_000.0, hopper_grams=600.0,
    rated_duty={"kind": "short_time", "on_seconds": 120.0},
    motor=_motor("none", 120, "shaft"),
)  # fmt: skip
FLAT_80_RETAIL = Kind(
    model="Flat 80 R", geometry="flat", diameter_millimetres=80.0, material=STEEL,
    rated_watts=1000.0, grams_per_second=5.0, burr_rpm=1400.0,
    highest_setting=11.0, step_setting=0.5, rated_life_grams=1_500_000.0, hopper_grams=1500.0,
    rated_duty={"kind": "short_time", "on_seconds": 300.0},
    motor=_motor("none", 130, "shaft"),
    load_fraction=0.8,
)  # fmt: skip
CONICAL_40 = Kind(
    model="Conical 40 D", geometry="conical", diameter_millimetres=40.0, material=STEEL,
    rated_watts=250.0, grams_per_second=0.9, burr_rpm=400.0,
    highest_setting=40.0, step_setting=1.0, rated_life_grams=200_000.0, hopper_grams=300.0,
    rated_duty=None,
    motor=_motor("none", 105, "none"),
)  # fmt: skip
CONICAL_63 = Kind(
    model="Conical 63 D", geometry="conical", diameter_millimetres=63.0, material=TOOL_STEEL,
    rated_watts=500.0, grams_per_second=3.0, burr_rpm=420.0,
    highest_setting=15.0, step_setting=0.1, rated_life_grams=900_000.0, hopper_grams=1400.0,
    rated_duty={"kind": "intermittent", "duty_fraction": 0.4},
    motor=_motor("housing", 155, "shaft", caution_celsius=60.0, limit_celsius=80.0),
    load_fraction=0.7, rise_kelvin=75.0, heating_seconds=1800.0, cooling_seconds=3600.0,
)  # fmt: skip
