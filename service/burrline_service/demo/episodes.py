"""What happens in the story apart from ordinary days, told from the moment of filling back.

Break-in of a new burr set, and the last minutes of the grinders that are in trouble right now.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from .days import Grinding
from .fleet import Part, Placed

NEW_BURRS_AGO = {"breaking_in": timedelta(hours=76), "just_fitted": timedelta(hours=5)}
RETIRED_AGO = timedelta(days=6, hours=3)
BREAK_IN_BATCH_COUNT = 8
BREAK_IN_BATCH_GRAMS = 1000.0
BREAK_IN_REST_SECONDS = 1500.0
PURGE_COUNT, PURGE_GRAMS = 2, 40.0
QUIET_BEFORE_SECONDS = 900.0
"""Nothing ordinary in so many seconds before now, so that only the script fills the duty cycle."""

# Seconds of grinding and of pause, how many times, up to now.
SCRIPTS: dict[Part, tuple[float, float, int]] = {
    "overheating": (75.0, 12.0, 15),
    "warm": (60.0, 50.0, 24),
    "exceeded": (52.0, 18.0, 4),
    "near": (46.0, 35.0, 3),
}


@dataclass(frozen=True)
class Quiet:
    """A stretch in which a grinder's ordinary work rests, half-open."""

    from_at: datetime
    to_at: datetime


def new_burrs_at(placed: Placed, now: datetime) -> datetime | None:
    """When a grinder of the story got its new burr set, to the minute; None for the others."""
    ago = None if placed.part is None else NEW_BURRS_AGO.get(placed.part)
    return None if ago is None else (now - ago).replace(second=0, microsecond=0)


def retired_at(placed: Placed, now: datetime) -> datetime | None:
    """When a grinder of the story went out of use, to the minute; None for the others."""
    if placed.part != "retired":
        return None
    return (now - RETIRED_AGO).replace(second=0, microsecond=0)


def episode(placed: Placed, now: datetime) -> tuple[list[Grinding], list[Quiet]]:
    """A grinder's part in the story and when its ordinary work rests for it."""
    fitted_at, gone_at = new_burrs_at(placed, now), retired_at(placed, now)
    if gone_at is not None:
        return [], [Quiet(gone_at, now)]
    if placed.part == "breaking_in" and fitted_at is not None:
        grinds = _break_in(placed, fitted_at)
        return grinds, [Quiet(fitted_at - timedelta(hours=2), grinds[-1].ended_at)]
    if placed.part == "just_fitted" and fitted_at is not None:
        return _first_purges(placed, fitted_at), [Quiet(fitted_at - timedelta(hours=1), now)]
    if placed.part in SCRIPTS:
        grinds = _last_minutes(placed, SCRIPTS[placed.part], now)
        return grinds, [Quiet(_quiet_from(grinds, now), now)]
    return [], []


def is_quiet(grind: Grinding, quiets: Sequence[Quiet]) -> bool:
    return any(grind.ended_at > one.from_at and grind.started_at < one.to_at for one in quiets)


def _quiet_from(grinds: Sequence[Grinding], now: datetime) -> datetime:
    return min(grinds[0].started_at, now - timedelta(seconds=QUIET_BEFORE_SECONDS))


def _break_in(placed: Placed, fitted_at: datetime) -> list[Grinding]:
    """New burrs ground in by the kilogram, with rests, at a medium setting."""
    dice = random.Random(f"{placed.grinder_id} break-in {fitted_at.isoformat()}")
    at, grinds = fitted_at + timedelta(minutes=12), []
    for _ in range(BREAK_IN_BATCH_COUNT):
        grams = BREAK_IN_BATCH_GRAMS + dice.uniform(-15.0, 15.0)
        seconds = grams / placed.kind.grams_per_second * dice.gauss(1.0, 0.015)
        setting = placed.usual_setting
        grinds.append(
            Grinding(at, round(seconds, 2), round(grams, 1), setting, "break_in", "break-in-dark")
        )
        rest_seconds = BREAK_IN_REST_SECONDS + dice.randrange(600)
        at = (at + timedelta(seconds=round(seconds) + rest_seconds)).replace(microsecond=0)
    return grinds


def _first_purges(placed: Placed, fitted_at: datetime) -> list[Grinding]:
    seconds = round(PURGE_GRAMS / placed.kind.grams_per_second, 2)
    return [
        Grinding(
            fitted_at + timedelta(minutes=10 + 4 * n),
            seconds,
            PURGE_GRAMS,
            placed.usual_setting,
            "purge",
            "break-in-dark",
        )
        for n in range(PURGE_COUNT)
    ]


def _last_minutes(
    placed: Placed, script: tuple[float, float, int], now: datetime
) -> list[Grinding]:
    """Run upon run with short pauses, the last one ended a few seconds ago."""
    on_seconds, pause_seconds, count = script
    dice = random.Random(f"{placed.grinder_id} last minutes {now.isoformat()}")
    grinds: list[Grinding] = []
    ends_at = now - timedelta(seconds=4)
    for _ in range(count):
        seconds = round(on_seconds * dice.uniform(0.98, 1.02), 2)
        at = ends_at - timedelta(seconds=seconds)
        at = at.replace(microsecond=at.microsecond // 1000 * 1000)
        grams = round(seconds * placed.kind.grams_per_second * dice.uniform(0.97, 1.03), 1)
        grinds.append(
            Grinding(at, seconds, grams, placed.usual_setting, coffee_lot="house-rush-order")
        )
        ends_at = at - timedelta(seconds=pause_seconds * dice.uniform(0.9, 1.1))
    return grinds[::-1]
