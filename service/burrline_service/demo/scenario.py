"""The demo's story: sites, grinders, burr sets and runs of an invented chain, up to an instant.

Pure: the same instant gives the same story to the last byte. Dice are seeded by what they are
thrown for, the clock is handed in, and nothing is read or sent.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from .days import Grinding, grinds_of_day
from .episodes import episode, is_quiet, new_burrs_at, retired_at
from .fleet import GRINDERS, PLACES, Burrs, Placed
from .grind import checkpoints_of
from .measuring import Measured

DAY_COUNT = 14

PLACE_OF = {place.site_id: place for place in PLACES}
NEW_BURRS = Burrs(0, 0.0)


def sites() -> list[dict[str, Any]]:
    """The bodies of ``create_site``."""
    return [
        {"site_id": place.site_id, "name": place.name, "time_zone": place.time_zone}
        for place in PLACES
    ]


def grinders(now: datetime) -> list[dict[str, Any]]:
    """The bodies of ``create_grinder``."""
    bodies = []
    for number, placed in enumerate(GRINDERS, 1):
        size = f"{placed.kind.diameter_millimetres:.0f}"
        body = {
            "grinder_id": placed.grinder_id,
            "site_id": placed.site_id,
            "name": placed.name,
            "serial": f"U{size}-{number * 137 % 1000:03d}{number:02d}",
            **placed.kind.plate,
        }
        gone_at = retired_at(placed, now)
        if gone_at is not None:
            body["retired_at"] = gone_at
        bodies.append(body)
    return bodies


def burr_sets(now: datetime) -> list[tuple[str, dict[str, Any]]]:
    """Grinder and body of each ``fit_burr_set``, a grinder's older set before its newer one."""
    bodies = []
    for placed in GRINDERS:
        if placed.burrs is not None:
            days = timedelta(days=placed.burrs.fitted_days)
            fitted_at = (now - days).replace(hour=9, minute=0, second=0, microsecond=0)
            bodies.append((placed.grinder_id, _burr_set(placed, placed.burrs, fitted_at, "a")))
        new_at = new_burrs_at(placed, now)
        if new_at is not None:
            bodies.append((placed.grinder_id, _burr_set(placed, NEW_BURRS, new_at, "b")))
    return bodies


def runs_of(placed: Placed, now: datetime, day_count: int = DAY_COUNT) -> list[dict[str, Any]]:
    """The runs of one grinder in the days before ``now``, in order, as ``add_runs`` takes them."""
    measured = Measured(placed, PLACE_OF[placed.site_id])
    return [measured.run(grind) for grind in _grinds(placed, now, day_count)]


def checkpoints(now: datetime, day_count: int = DAY_COUNT) -> list[tuple[str, dict[str, Any]]]:
    """Grinder and body of each ``add_checkpoint``: of the sets whose grind is measured."""
    fitted = dict(burr_sets(now))  # the newest of each
    return [
        (placed.grinder_id, body)
        for placed in GRINDERS
        if placed.part in ("breaking_in", "measured")
        for body in checkpoints_of(
            placed,
            fitted[placed.grinder_id]["burr_set_id"],
            fitted[placed.grinder_id]["fitted_at"],
            _grinds(placed, now, day_count),
            now,
        )
    ]


def _grinds(placed: Placed, now: datetime, day_count: int) -> list[Grinding]:
    """What a grinder grinds, in order and never two at once."""
    since = now - timedelta(days=day_count)
    special, quiets = episode(placed, now)
    ordinary = (
        grind
        for grind in _ordinary(placed, since, now)
        if since <= grind.started_at and grind.ended_at <= now and not is_quiet(grind, quiets)
    )
    told = (grind for grind in special if grind.started_at >= since)
    return sorted((*ordinary, *told), key=lambda grind: grind.started_at)


def _ordinary(placed: Placed, since: datetime, now: datetime) -> Iterator[Grinding]:
    place = PLACE_OF[placed.site_id]
    zone = ZoneInfo(place.time_zone)
    day, last = since.astimezone(zone).date(), now.astimezone(zone).date()
    while day <= last:
        yield from grinds_of_day(placed, place, day)
        day += timedelta(days=1)


def _burr_set(placed: Placed, burrs: Burrs, fitted_at: datetime, letter: str) -> dict[str, Any]:
    kind = placed.kind
    body: dict[str, Any] = {
        "burr_set_id": f"{placed.grinder_id}-burrs-{letter}",
        "fitted_at": fitted_at,
        "geometry": kind.geometry,
        "diameter_millimetres": kind.diameter_millimetres,
        "burr_model": f"U{kind.diameter_millimetres:.0f}{kind.geometry[0].upper()}",
        "material": kind.material,
        "pre_treated": burrs.pre_treated,
        "prior_grams": burrs.prior_grams,
        "rated_life_grams": kind.rated_life_grams,
    }
    if burrs.low_prior_grams is not None:
        body["low_prior_grams"] = burrs.low_prior_grams
    return body
