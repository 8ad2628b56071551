"""The demo's checkpoints: two burr sets measured, one that has settled and one that has not.

Made up: a sieve stack in the café, a laser in the lab, three doses each time. The grind is two
log-normal heaps, fines and the rest; with the kilograms the rest gets coarser and the fines fewer,
``y(m) = settled + (start - settled) exp(-m / tau)``.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

from .days import Grinding
from .fleet import Placed

APERTURES_MICROMETRES = (600.0, 500.0, 425.0, 355.0, 300.0, 250.0, 212.0, 150.0, 106.0, 75.0)
EDGES_MICROMETRES = tuple(round(10 * 1.26**step, 1) for step in range(25))
DOSE_COUNT, DOSE_GRAMS = 3, 25.0
FINES_MICROMETRES, FINES_LOG_SD, COARSE_LOG_SD = 55.0, 0.6, 0.38


@dataclass(frozen=True)
class Settles:
    """How the grind of one set moves with the kilograms, and how far its doses scatter."""

    start_micrometres: float
    settled_micrometres: float
    start_fines_fraction: float
    settled_fines_fraction: float
    tau_grams: float
    scatter_fraction: float = 0.008


CAFE = Settles(345.0, 380.0, 0.17, 0.14, 2_200.0)
LAB = Settles(640.0, 840.0, 0.12, 0.07, 7_500.0, scatter_fraction=0.004)


def checkpoints_of(
    placed: Placed, burr_set_id: str, fitted_at: datetime, grinds: list[Grinding], now: datetime
) -> list[dict[str, Any]]:
    """The bodies of ``add_checkpoint`` for the set of a grinder that is measured, in order.

    ``grinds`` are those of the grinder; they tell what was through the set by each checkpoint.
    """
    is_lab = placed.role == "lab"
    settles = LAB if is_lab else CAFE
    bodies = []
    for number, ground_at in enumerate(_instants(placed, fitted_at, grinds)):
        if ground_at > now:
            break
        through_grams = math.fsum(
            grind.grams for grind in grinds if fitted_at <= grind.started_at < ground_at
        )
        dice = random.Random(f"{burr_set_id} checkpoint {number}")
        body: dict[str, Any] = {
            "checkpoint_id": f"{burr_set_id}-check-{number}",
            "ground_at": ground_at,
            "setting": placed.usual_setting,
            "coffee_lot": "reserved-test-lot",
            "method": "laser" if is_lab else "sieve",
            "replicates": [
                {
                    "dose_grams": DOSE_GRAMS,
                    "distribution": _dose(settles, through_grams, dice, is_lab),
                }
                for _ in range(DOSE_COUNT)
            ],
        }
        body |= {"instrument_id": "lab-laser"} if is_lab else {"sieve_set_id": "bar-sieves"}
        bodies.append(body)
    return bodies


def _instants(placed: Placed, fitted_at: datetime, grinds: list[Grinding]) -> Iterator[datetime]:
    """When the doses were ground: before the first coffee, then as the kilograms grow."""
    yield fitted_at + timedelta(minutes=5)
    if placed.part == "breaking_in":
        batches = [grind for grind in grinds if grind.purpose == "break_in"]
        for batch in batches[1::2]:
            yield (batch.ended_at + timedelta(minutes=20)).replace(microsecond=0)
        return
    for days in (1, 2, 4, 8, 12):
        yield fitted_at + timedelta(days=days)


def _dose(
    settles: Settles, through_grams: float, dice: random.Random, is_lab: bool
) -> dict[str, Any]:
    left = math.exp(-through_grams / settles.tau_grams)
    coarse = settles.settled_micrometres
    coarse += (settles.start_micrometres - settles.settled_micrometres) * left
    fines = settles.settled_fines_fraction
    fines += (settles.start_fines_fraction - settles.settled_fines_fraction) * left
    coarse *= math.exp(dice.gauss(0.0, settles.scatter_fraction))
    fines += dice.gauss(0.0, 0.002)
    if is_lab:
        passed = [_passed_fraction(edge, coarse, fines) for edge in EDGES_MICROMETRES]
        shares = [high - low for low, high in pairwise(passed)]
        total = math.fsum(shares)
        return {
            "kind": "classes",
            "edge_micrometres": list(EDGES_MICROMETRES),
            "volume_fraction": [share / total for share in shares],
        }
    passed = [_passed_fraction(size, coarse, fines) for size in APERTURES_MICROMETRES]
    shares = [above - below for above, below in zip((1.0, *passed), (*passed, 0.0), strict=True)]
    return {
        "kind": "sieve",
        "aperture_micrometres": list(APERTURES_MICROMETRES),
        "retained_grams": [round(share * DOSE_GRAMS, 2) for share in shares],
    }


def _passed_fraction(size_micrometres: float, coarse: float, fines: float) -> float:
    return fines * _below(size_micrometres, FINES_MICROMETRES, FINES_LOG_SD) + (1 - fines) * _below(
        size_micrometres, coarse, COARSE_LOG_SD
    )


def _below(size: float, median: float, log_sd: float) -> float:
    """The log-normal law: the share finer than a size."""
    return 0.5 * math.erfc(-math.log(size / median) / (log_sd * math.sqrt(2)))
