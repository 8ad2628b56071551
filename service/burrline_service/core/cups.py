"""Cups: how much of the coffee they took out, and how far shot times scatter.

Evidence beside the grind, never a verdict: water, puck and people scatter as well.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from .quality import HIGHEST_EXTRACTION_FRACTION
from .replicates import pool

NORMAL_KURTOSIS_RATIO = 3.0
FEWEST_FREEDOM_COUNT = 4


@dataclass(frozen=True)
class Cup:
    """What counts of a run with a brew; ``dose_grams`` is None unless it was weighed."""

    at: datetime
    method: str
    dose_grams: float | None
    seconds: float | None = None
    beverage_grams: float | None = None
    water_grams: float | None = None
    tds_fraction: float | None = None
    setting: float | None = None
    coffee_lot: str | None = None


@dataclass(frozen=True)
class Spread:
    """Shot times about the mean of their setting and coffee, pooled."""

    cup_count: int
    group_count: int
    freedom_count: int
    mean_seconds: float
    sd_seconds: float
    kurtosis_ratio: float


Refused = Literal["dose_not_weighed", "tds_unknown", "drink_unknown", "water_unknown",
                  "impossible", "implausible"]  # fmt: skip


def extraction_fraction(cup: Cup) -> float | Refused:
    """Give how much of the dose went into solution.

    ``espresso, percolation: tds beverage / dose;  immersion: water tds / ((1 - tds) dose)``

    Parameters
    ----------
    cup : Cup
        With its masses and dissolved solids.

    Returns
    -------
    float or str
        The extraction yield, or why there is none: a mass or the solids are not known, more came
        out than was in (``impossible``), or more than coffee gives up (``implausible``, 35 %).

    Raises
    ------
    AttributeError
        It is no cup.

    Valid
    -----
    Percolation leaves nothing that counts in the liquid the grounds retain; in immersion that
    liquid is as strong as the cup, so all of the water counts. Moisture and gas of the dose are
    not taken off.

    Source
    ------
    Definition of the extraction yield, dissolved mass over dose; the balance of an immersion,
    dissolved = tds (water + dissolved), is derived here. Both are common practice, no source.

    Examples
    --------
    >>> from datetime import UTC
    >>> at = datetime(2026, 5, 4, tzinfo=UTC)
    >>> round(extraction_fraction(
    ...     Cup(at, "espresso", 18.0, beverage_grams=36.0, tds_fraction=0.10)
    ... ), 6)
    0.2
    """
    dose, tds = cup.dose_grams, cup.tds_fraction
    if dose is None:
        return "dose_not_weighed"
    if tds is None:
        return "tds_unknown"
    drink = cup.water_grams if cup.method == "immersion" else cup.beverage_grams
    if drink is None:
        return "water_unknown" if cup.method == "immersion" else "drink_unknown"
    if not (0 < dose < math.inf and 0 <= tds < 1 and 0 < drink < math.inf):
        return "impossible"
    found = tds * drink / dose
    if cup.method == "immersion":
        found /= 1 - tds
    if found > 1:
        return "impossible"
    return "implausible" if found > HIGHEST_EXTRACTION_FRACTION else found


def spread_of(cups: Iterable[Cup]) -> tuple[Spread | None, dict[str, int]]:
    """Pool how far espresso shots scatter about the mean of their own setting and coffee.

    ``s^2 = SSW / nu;  kurtosis = N sum r^4 / (sum r^2)^2``

    Parameters
    ----------
    cups : iterable of Cup
        In any order; only espresso counts.

    Returns
    -------
    tuple
        The spread, None with fewer than 4 degrees of freedom; and how many shots were left out by
        ``seconds_unknown``, ``setting_unknown`` and ``alone``.

    Raises
    ------
    ValueError
        A time is not finite.

    Valid
    -----
    A setting that was not recorded leaves the shot out: people turn the dial to hold the time.

    Source
    ------
    NIST/SEMATECH e-Handbook of Statistical Methods, 7.4.3 (pooled variance) and 1.3.5.11
    (kurtosis).

    Examples
    --------
    >>> spread_of([])
    (None, {})
    """
    groups: dict[tuple[float, str], list[float]] = {}
    left_out: dict[str, int] = {}
    for cup in cups:
        if cup.method != "espresso":
            continue
        if cup.seconds is None or not cup.seconds > 0:
            left_out["seconds_unknown"] = left_out.get("seconds_unknown", 0) + 1
        elif cup.setting is None:
            left_out["setting_unknown"] = left_out.get("setting_unknown", 0) + 1
        else:
            groups.setdefault((cup.setting, cup.coffee_lot or ""), []).append(cup.seconds)
    alone = sum(len(group) == 1 for group in groups.values())
    if alone:
        left_out["alone"] = alone
    kept = [tuple(sorted(groups[key])) for key in sorted(groups) if len(groups[key]) > 1]
    if sum(len(group) - 1 for group in kept) < FEWEST_FREEDOM_COUNT:
        return None, left_out
    pooled = pool(kept)
    count = sum(pooled.counts)
    rests = [
        value - mean for group, mean in zip(kept, pooled.means, strict=True) for value in group
    ]
    squares = math.fsum(rest**2 for rest in rests)
    fourths = math.fsum(rest**4 for rest in rests)
    return Spread(
        cup_count=count,
        group_count=len(kept),
        freedom_count=pooled.freedom_count,
        mean_seconds=math.fsum(value for group in kept for value in group) / count,
        sd_seconds=math.sqrt(pooled.within_squares / pooled.freedom_count),
        kurtosis_ratio=count * fourths / squares**2 if squares > 0 else NORMAL_KURTOSIS_RATIO,
    ), left_out
