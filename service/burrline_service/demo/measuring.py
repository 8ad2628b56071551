"""What the devices on a grinder make of a grind: a run in the words of the API.

The motor warms towards a steady rise while it runs and cools towards the room while it rests,
each step exact: on, ``rise -> steady + (rise - steady) exp(-t / heating)``; off, ``rise -> rise
exp(-t / cooling)``.
"""

from __future__ import annotations

import math
import random
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from .days import Grinding
from .fleet import Place, Placed

NOISE_KELVIN = 0.2
DAY_SWING_KELVIN = 2.0


class Measured:
    """A grinder with its devices; ``run`` is asked in the order of time, for the motor's heat."""

    def __init__(self, placed: Placed, place: Place) -> None:
        self.placed, self.place = placed, place
        self.zone = ZoneInfo(place.time_zone)
        self.rise_kelvin = 0.0
        self.rested_since: datetime | None = None

    def run(self, grind: Grinding) -> dict[str, Any]:
        """One run: an id made of grinder and instant, and what the devices can tell."""
        placed, kind = self.placed, self.placed.kind
        self._warm(grind)
        stamp = grind.started_at.strftime("%Y%m%dT%H%M%S")
        milliseconds = grind.started_at.microsecond // 1000
        dice = random.Random(f"{placed.grinder_id} {grind.started_at.isoformat()}")
        run: dict[str, Any] = {
            "run_id": f"{placed.grinder_id}.{stamp}.{milliseconds:03d}",
            "grinder_id": placed.grinder_id,
            "started_at": grind.started_at,
            "source": f"{_DEVICE_NAMES[placed.device]}-{placed.grinder_id}",
        }
        if placed.device != "grams_only":
            run["seconds"] = grind.seconds
        if placed.device != "plug":
            run["grams"] = grind.grams
            run["grams_basis"] = _BASES.get(placed.device, "weighed_out")
        if placed.device in ("plug", "controller"):
            watts = kind.rated_watts * kind.load_fraction * dice.uniform(0.96, 1.04)
            run["energy_joules"] = round(watts * grind.seconds)
        if placed.device in ("controller", "weighed_in", "scale_and_sensor"):
            run["setting"] = grind.setting
            run["feed"] = "hopper" if kind.hopper_grams is not None else "single_dose"
            if grind.coffee_lot is not None:
                run["coffee_lot"] = grind.coffee_lot
        if placed.device == "controller":
            run["rpm"] = round(kind.burr_rpm * dice.uniform(0.985, 1.0))
        if placed.device in ("controller", "scale_and_sensor") and kind.has_sensor:
            ambient = self._ambient_celsius(grind.ended_at)
            run["ambient_celsius"] = round(ambient, 1)
            noise_kelvin = dice.uniform(-NOISE_KELVIN, NOISE_KELVIN)
            run["motor_celsius"] = round(ambient + self.rise_kelvin + noise_kelvin, 1)
        if grind.purpose != "service":
            run["purpose"] = grind.purpose
        if grind.purpose == "break_in":
            run.pop("feed", None)
        if grind.brew is not None:
            run["brew"] = grind.brew
        return run

    def _warm(self, grind: Grinding) -> None:
        """Cool through the rest before the grind, then warm through the grind."""
        kind = self.placed.kind
        if self.rested_since is not None:
            rest_seconds = (grind.started_at - self.rested_since).total_seconds()
            self.rise_kelvin *= math.exp(-rest_seconds / kind.cooling_seconds)
        left = math.exp(-grind.seconds / kind.heating_seconds)
        self.rise_kelvin = kind.rise_kelvin + (self.rise_kelvin - kind.rise_kelvin) * left
        self.rested_since = grind.ended_at

    def _ambient_celsius(self, at: datetime) -> float:
        """The room: warmest at three in the afternoon by its own clock."""
        local = at.astimezone(self.zone)
        hours = local.hour + local.minute / 60
        return self.place.room_celsius + DAY_SWING_KELVIN * math.cos((hours - 15) / 24 * math.tau)


_DEVICE_NAMES = {
    "scale": "scale",
    "scale_and_sensor": "scale",
    "grams_only": "counter-scale",
    "plug": "plug",
    "controller": "board",
    "weighed_in": "dosing-scale",
}
_BASES = {"controller": "target", "weighed_in": "weighed_in"}
