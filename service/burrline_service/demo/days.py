"""One grinder's day: when people come, and what is ground for them.

A day depends on the grinder and the date alone, so any day can be made again by itself.
"""

from __future__ import annotations

import math
import random
from bisect import bisect
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from itertools import accumulate
from zoneinfo import ZoneInfo

from .fleet import Place, Placed, Role

BIN_HOURS = 1 / 12  # five minutes
WEEKDAY_FRACTIONS = (0.90, 0.98, 1.0, 1.03, 1.10, 0.95, 0.75)
"""How busy each day is, Monday first."""

Peak = tuple[float, float, float]  # hour of the day, width in hours, share of the guests
MORNING_RUSH: tuple[Peak, ...] = (
    (8.4, 0.6, 0.45),
    (10.6, 0.9, 0.17),
    (13.0, 0.7, 0.2),
    (15.8, 1.1, 0.18),
)
SLOW_MORNING: tuple[Peak, ...] = ((10.8, 1.3, 0.55), (14.5, 1.7, 0.45))
AFTERNOON: tuple[Peak, ...] = ((11.5, 1.5, 0.4), (17.0, 1.5, 0.6))
SHIFTS: tuple[Peak, ...] = ((2.5, 2.5, 0.15), (10.0, 2.5, 0.45), (15.0, 2.5, 0.4))
BENCH_HOURS: tuple[Peak, ...] = ((10.0, 0.9, 0.55), (14.5, 1.2, 0.45))
CURVES: dict[Role, tuple[tuple[Peak, ...], tuple[Peak, ...]]] = {
    "espresso": (MORNING_RUSH, SLOW_MORNING),
    "decaf": (AFTERNOON, AFTERNOON),
    "filter": (MORNING_RUSH, SLOW_MORNING),
    "retail": (AFTERNOON, AFTERNOON),
    "line": (SHIFTS, SHIFTS),
    "lab": (BENCH_HOURS, BENCH_HOURS),
}
CUP_STEPS_GRAMS = (-3.0, -1.0, 1.0)
BAG_FACTORS: dict[Role, tuple[float, ...]] = {
    "retail": (1.0, 1.0, 1.0, 2.0),
    "line": (1.0, 1.0, 0.5),
}


@dataclass(frozen=True)
class Grinding:
    """One stretch of motor-on as it truly is, before any device has measured it."""

    started_at: datetime
    seconds: float
    grams: float
    setting: float
    purpose: str = "service"
    coffee_lot: str | None = None
    brew: dict[str, float | str] | None = None

    @property
    def ended_at(self) -> datetime:
        return self.started_at + timedelta(seconds=self.seconds)


def opening(place: Place, day: date) -> tuple[datetime, datetime] | None:
    """When a place opens and closes on a date of its own calendar; None on its closed day."""
    if day.weekday() == place.closed_weekday:
        return None
    opens, closes = place.weekday_hours if day.weekday() < 5 else place.weekend_hours
    return _wall(place, day, opens), _wall(place, day, closes)


def grinds_of_day(placed: Placed, place: Place, day: date) -> Iterator[Grinding]:
    """All a grinder grinds between opening and closing, in order and never two at once."""
    hours = opening(place, day)
    if hours is None or placed.runs_per_day == 0:
        return
    dice = random.Random(f"{placed.grinder_id} {day.isoformat()}")
    opens_at, closes_at = hours
    steps = dice.choice((-1, 0, 0, 0, 1))
    setting = round(placed.usual_setting + steps * placed.kind.step_setting, 3)
    free_at = opens_at
    if place.weekday_hours[0] > 0 and placed.role in ("espresso", "decaf"):
        lot = _coffee_lot(placed, day)
        for purpose, share in (("purge", 0.4), ("dial_in", 1.0), ("dial_in", 1.0)):
            free_at += timedelta(seconds=dice.uniform(15.0, 60.0))
            grams = placed.dose_grams * share * dice.gauss(1.0, 0.03)
            brew = _espresso(dice, grams, 3.5) if purpose == "dial_in" else None
            grind = _ground(placed, dice, free_at, grams, setting, purpose, lot, brew)
            free_at = grind.ended_at + timedelta(seconds=30.0)
            yield grind
    for moment_seconds in _moments(placed, place, day, dice, closes_at - opens_at):
        wanted_at = opens_at + timedelta(seconds=moment_seconds)
        started_at = max(wanted_at, free_at + timedelta(seconds=dice.uniform(4.0, 9.0)))
        grind = _for_a_guest(placed, dice, started_at, setting, day)
        if grind.ended_at > closes_at:
            break
        free_at = grind.ended_at
        yield grind
    if day.weekday() == 0 and placed.role in ("espresso", "decaf", "filter"):
        cleaned_at = max(free_at, closes_at - timedelta(minutes=10))
        cleaned_at += timedelta(seconds=dice.uniform(20.0, 60.0))
        yield _ground(placed, dice, cleaned_at, 35.0, setting, "cleaning", None, None)


def _moments(
    placed: Placed, place: Place, day: date, dice: random.Random, open_for: timedelta
) -> list[float]:
    """Seconds after opening at which guests order, ascending."""
    is_weekend = day.weekday() >= 5
    share = WEEKDAY_FRACTIONS[day.weekday()]
    if placed.role == "lab" and is_weekend:
        share = 0.25
    count = max(0, round(placed.runs_per_day * share * dice.gauss(1.0, 0.08)))
    opens = (place.weekend_hours if is_weekend else place.weekday_hours)[0]
    hours = open_for.total_seconds() / 3600
    late_hours = place.late_seconds / 3600 if placed.role in ("espresso", "filter") else 0.0
    shares = _shares(CURVES[placed.role][is_weekend], opens - late_hours, hours)
    total = shares[-1]
    is_steady = placed.role == "line"  # a packing line goes on and on, guests come as they like
    drawn = ((n + dice.random()) / count if is_steady else dice.random() for n in range(count))
    return sorted((bisect(shares, one * total) + dice.random()) * BIN_HOURS * 3600 for one in drawn)


@lru_cache(maxsize=256)
def _shares(peaks: tuple[Peak, ...], opens_hours: float, open_hours: float) -> list[float]:
    """Running sum over five-minute bins of how many guests come, from opening to closing."""
    middles = (opens_hours + (n + 0.5) * BIN_HOURS for n in range(int(open_hours / BIN_HOURS)))
    return list(
        accumulate(
            0.01
            + sum(
                share / width * math.exp(-(((middle - hour) / width) ** 2) / 2)
                for hour, width, share in peaks
            )
            for middle in middles
        )
    )


def _for_a_guest(
    placed: Placed, dice: random.Random, started_at: datetime, setting: float, day: date
) -> Grinding:
    lot = _coffee_lot(placed, day)
    brew: dict[str, float | str] | None = None
    purpose = "service"
    if placed.role in ("espresso", "decaf"):
        is_single = dice.random() < 0.06
        dose = 8.0 if is_single else placed.dose_grams
        grams = dose + max(-1.0, min(1.0, dice.gauss(0.0, 0.25)))
        if placed.device in ("scale_and_sensor", "controller"):
            brew = _espresso(dice, grams, 2.0)
    elif placed.role == "filter":
        grams = placed.dose_grams + dice.choice(CUP_STEPS_GRAMS) + dice.uniform(-0.3, 0.3)
        if placed.device == "weighed_in":
            brew = _percolation(dice, grams)
    elif placed.role in BAG_FACTORS:
        grams = placed.dose_grams * dice.choice(BAG_FACTORS[placed.role])
        grams *= dice.uniform(0.996, 1.004)
    else:
        grams = placed.dose_grams + dice.uniform(-0.2, 0.2)
        purpose = "measurement" if dice.random() < 0.15 else "service"
    return _ground(placed, dice, started_at, grams, setting, purpose, lot, brew)


def _ground(
    placed: Placed,
    dice: random.Random,
    started_at: datetime,
    grams: float,
    setting: float,
    purpose: str,
    coffee_lot: str | None,
    brew: dict[str, float | str] | None,
) -> Grinding:
    """The grind that takes as long as the machine's flow makes it; coarser flows faster."""
    kind = placed.kind
    steps = (setting - placed.usual_setting) / kind.step_setting
    flow = kind.grams_per_second * (1.0 + (0.015 if kind.is_coarser_higher else -0.015) * steps)
    seconds = grams / flow * max(0.85, dice.gauss(1.0, 0.02)) + dice.uniform(0.1, 0.4)
    return Grinding(
        started_at=_to_millisecond(started_at),
        seconds=round(seconds, 2),
        grams=round(grams, 1),
        setting=setting,
        purpose=purpose,
        coffee_lot=coffee_lot,
        brew=brew,
    )


def _espresso(dice: random.Random, grams: float, spread_seconds: float) -> dict[str, float | str]:
    brew: dict[str, float | str] = {
        "method": "espresso",
        "seconds": round(max(15.0, dice.gauss(27.5, spread_seconds)), 1),
        "beverage_grams": round(grams * max(1.5, dice.gauss(2.1, 0.08)), 1),
    }
    if dice.random() < 0.05:
        brew["tds_fraction"] = round(dice.gauss(0.09, 0.003), 4)
    return brew


def _percolation(dice: random.Random, grams: float) -> dict[str, float | str]:
    water_grams = grams * dice.gauss(16.5, 0.3)
    brew: dict[str, float | str] = {
        "method": "percolation",
        "seconds": round(max(90.0, dice.gauss(185.0, 14.0)), 0),
        "water_grams": round(water_grams, 0),
        "beverage_grams": round(water_grams - 2.1 * grams, 0),
    }
    if dice.random() < 0.08:
        brew["tds_fraction"] = round(dice.gauss(0.0137, 0.0005), 4)
    return brew


def _coffee_lot(placed: Placed, day: date) -> str:
    """Coffee changes week by week; guest and filter coffees are lots of their own."""
    year, week, _ = day.isocalendar()
    blend = {"espresso": "house", "line": "house", "lab": "trial"}.get(placed.role, placed.role)
    return f"{blend}-{year % 100:02d}{week:02d}"


def _wall(place: Place, day: date, hour: int) -> datetime:
    """An hour by the clock on the wall of the place, in UTC."""
    if hour == 24:
        day, hour = day + timedelta(days=1), 0
    return datetime.combine(day, time(hour), ZoneInfo(place.time_zone)).astimezone(UTC)


def _to_millisecond(at: datetime) -> datetime:
    return at.replace(microsecond=at.microsecond // 1000 * 1000)
