"""Break-in by expectation: what burr shape and size let one expect before anything is measured.

The grind approaches its settled value exponentially with the grams ground, ``R(m) = A exp(-m /
tau)``. How far (A) and how fast (tau) is a rule of thumb per class of burrs, kept wide. It tells
where to look and when to measure; it can never tell that a set has settled.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from .answers import BreakIn
from .records import BurrSet
from .sentences import break_in_sentence

SMALLEST_CHANGE_FRACTION = 0.03
"""Change of D50 that does not matter: a single measurement within the repeatability asked by
ISO 13320-1:1999, 6.4 (CV below 3 % at x50) cannot show less."""
EXPECTED_PROBABILITY = 0.95
"""The kilograms "expected" are those enough for 95 of 100 sets of the class."""
NEW_FRACTION = 0.01
"""Below this share of the expected kilograms a set is called new (our choice, no source)."""
SMALL_CONICAL_MILLIMETRES = 50.0
"""Up to here a conical set counts as small (our choice: the trade's fact is on small ones)."""
FLAT_RANGE_MILLIMETRES = (40.0, 120.0)
"""Diameters to which the power law through 64 and 98 mm is stretched; beyond, nobody knows."""

_NODES = tuple(step / 20 for step in range(-160, 161))  # standard deviations of ln tau
_WEIGHTS = tuple(0.05 / math.sqrt(2 * math.pi) * math.exp(-node * node / 2) for node in _NODES)


@dataclass(frozen=True)
class BurrClass:
    """A prior: ln tau ~ N(ln tau_grams, log_tau_sd), A ~ N(0, change_fraction) as a part of D50."""

    name: str
    tau_grams: float
    log_tau_sd: float
    change_fraction: float


FLAT_98 = BurrClass("98 mm flat burrs", 6500.0, 0.5, 0.10)
FLAT_64 = BurrClass("64 mm flat burrs", 2500.0, 0.5, 0.10)
SMALL_CONICAL = BurrClass("small conical burrs", 1500.0, 0.5, 0.03)
VAGUE = BurrClass("burrs of this shape and size", 6000.0, 1.2, 0.10)


def class_of(geometry: str, diameter_millimetres: float | None) -> BurrClass:
    """Choose the class of burrs whose experience applies to a set.

    ``tau = 6.5 kg (d / 98 mm)^2.24, sd of ln tau 0.7`` for flat sets other than 64 and 98 mm

    Parameters
    ----------
    geometry : str
        ``flat``, ``conical`` or ``other``.
    diameter_millimetres : float or None
        Outer diameter in mm; None = unknown.

    Returns
    -------
    BurrClass
        The prior; the vague one for other shapes, for a flat set without diameter or outside 40
        to 120 mm, and for a conical set above 50 mm.

    Raises
    ------
    ValueError
        The diameter is not positive and finite.

    Valid
    -----
    A convenience through two sizes of which the trade tells something; 0.5 mm around them counts.

    Source
    ------
    Common practice, no source: 98 mm flat move most within 5 kg, measurably at 15, marginally at
    20; 64 mm flat mostly within 5 kg; small conical little or none. Turned into numbers here.

    Examples
    --------
    >>> class_of("flat", 64.0).tau_grams, class_of("other", None).name
    (2500.0, 'burrs of this shape and size')
    """
    diameter = diameter_millimetres
    if diameter is not None and not (math.isfinite(diameter) and diameter > 0):
        raise ValueError(f"diameter_millimetres must be positive and finite, not {diameter}")
    if geometry == "conical" and (diameter is None or diameter <= SMALL_CONICAL_MILLIMETRES):
        return SMALL_CONICAL
    low, high = FLAT_RANGE_MILLIMETRES
    if geometry != "flat" or diameter is None or not low <= diameter <= high:
        return VAGUE
    for known, millimetres in ((FLAT_98, 98.0), (FLAT_64, 64.0)):
        if abs(diameter - millimetres) <= 0.5:
            return known
    return BurrClass(f"{diameter:g} mm flat burrs", 6500.0 * (diameter / 98.0) ** 2.24, 0.7, 0.10)


@lru_cache(maxsize=1024)
def settling_grams(burr_class: BurrClass, probability: float) -> float:
    """Give the grams that are enough, with a probability, for the rest of the change not to matter.

    ``P(m_delta < x) = E_tau[erf(delta exp(x / tau) / (A_sd sqrt 2))]``, solved for x; delta is
    3 % of D50.

    Parameters
    ----------
    burr_class : BurrClass
        The prior of tau (log-normal) and of the change (normal, mean 0).
    probability : float
        Between 0 and 1, both excluded.

    Returns
    -------
    float
        Grams ground since new; 0 when that share of sets never had so much to change.

    Raises
    ------
    ValueError
        The probability is not between 0 and 1.

    Valid
    -----
    The trapezoid rule over 8 standard deviations of ln tau either side; x to 0.01 g.

    Source
    ------
    Derived here from R(m) = A exp(-m / tau); see the tests against an independent integral and
    against drawn burrs.

    Examples
    --------
    >>> round(settling_grams(FLAT_98, 0.95) / 1000), round(settling_grams(SMALL_CONICAL, 0.5))
    (18, 0)
    """
    if not 0 < probability < 1:
        raise ValueError(f"probability must lie between 0 and 1, not {probability}")
    if _settled_probability(burr_class, 0.0) >= probability:
        return 0.0
    low, high = 0.0, burr_class.tau_grams
    while _settled_probability(burr_class, high) < probability:
        low, high = high, 2 * high
    while high - low > 0.01:
        middle = (low + high) / 2
        if _settled_probability(burr_class, middle) < probability:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def expected_break_in(
    burr_set: BurrSet | None, burr_grams: float | None, burr_estimated_grams: float | None = 0.0
) -> BreakIn:
    """Tell the break-in stage that burr shape, size and kilograms let one expect.

    ``remaining = max(0, q_p - prior - burr_grams - estimated)`` for p = 0.025, 0.5; for the high
    limit, p = 0.975, without the estimated grams

    Parameters
    ----------
    burr_set : BurrSet or None
        The set fitted at the instant asked for; None = none is.
    burr_grams : float or None
        Grams through it since tracking began; None only without a set.
    burr_estimated_grams : float or None
        Grams beside those that nobody weighed; None = there are some, nobody knows how many.

    Returns
    -------
    answers.BreakIn
        Stage ``unknown`` (no set), ``new``, ``breaking_in``, or ``undecided`` once the 95 %
        kilograms are past or the grams before tracking are unknown; two-sided 95 % limits of the
        grams to go, None where unknown. ``next_checkpoint_grams`` counts like ``burr_grams``.

    Raises
    ------
    ValueError
        A number of grams is negative or not finite, or a set comes without its grams.

    Valid
    -----
    Grams rounded to 1 g; the middle of the grams to go is None once it is passed. Never says
    settled: that takes a measurement, and past the 95 % kilograms it does not say how many are
    left. The low limit of the grams to go is 0 for every class so far: over a fifth of the sets
    never had enough to change.

    Source
    ------
    ``class_of`` and ``settling_grams``.

    Examples
    --------
    >>> expected_break_in(None, None).verdict
    'no_burr_set'
    """
    if burr_set is None:
        sentence = "No burr set is fitted, so there is no break-in to follow."
        return BreakIn("unknown", "expected", "no_burr_set", sentence, None, None, None, None, None)
    burr_grams = _checked("burr_grams", burr_grams)
    for name in ("prior_grams", "low_prior_grams", "high_prior_grams"):
        if getattr(burr_set, name) is not None:
            _checked(name, getattr(burr_set, name))
    burr_class = class_of(burr_set.geometry, burr_set.diameter_millimetres)
    enough = settling_grams(burr_class, EXPECTED_PROBABILITY)
    low, best, high = (settling_grams(burr_class, p) for p in (0.025, 0.5, 0.975))
    prior = burr_set.prior_grams
    least = burr_grams + (burr_set.low_prior_grams or 0.0 if prior is None else prior)
    likely = least
    most = burr_set.high_prior_grams if prior is None else prior
    most = math.inf if most is None else burr_grams + most
    if burr_estimated_grams is None:
        most = math.inf
    else:
        likely += _checked("burr_estimated_grams", burr_estimated_grams)
        most += burr_estimated_grams
    stage, verdict = _stage(prior is not None, burr_estimated_grams is not None, likely, enough)
    is_measurement_due = stage == "undecided"
    is_past = verdict == "past_expected_kilograms"  # an expectation cannot say that nothing is left
    return BreakIn(
        stage=stage,
        basis="expected",
        verdict=verdict,
        sentence=break_in_sentence(
            verdict,
            class_name=burr_class.name,
            is_vague=burr_class is VAGUE,
            pre_treated=burr_set.pre_treated,
            through_grams=likely,
            enough_grams=enough,
        ),
        burr_grams=burr_grams,
        low_remaining_grams=_left(low, most),
        # past the middle of the expectation nothing more can be said of the middle
        remaining_grams=None if is_measurement_due else _left(best, likely) or None,
        high_remaining_grams=None if is_past else _left(high, least),
        next_checkpoint_grams=(
            burr_grams if is_measurement_due else burr_grams + _left(enough, likely)
        ),
    )


def _settled_probability(burr_class: BurrClass, grams: float) -> float:
    """P(m_delta < grams); 1 - erf of the complement keeps the upper tail exact."""
    ratio = SMALLEST_CHANGE_FRACTION / (burr_class.change_fraction * math.sqrt(2))
    outside = 0.0
    for node, weight in zip(_NODES, _WEIGHTS, strict=True):
        exponent = grams / (burr_class.tau_grams * math.exp(burr_class.log_tau_sd * node))
        if exponent < 30:  # beyond, erfc is 0 to the last digit
            outside += weight * math.erfc(ratio * math.exp(exponent))
    return 1.0 - outside


def _stage(
    is_prior_known: bool, are_runs_known: bool, through_grams: float, enough_grams: float
) -> tuple[Literal["new", "breaking_in", "undecided"], str]:
    if through_grams >= enough_grams:
        return "undecided", "past_expected_kilograms"
    if not is_prior_known:
        return "undecided", "prior_kilograms_unknown"
    if not are_runs_known:
        return "undecided", "run_kilograms_unknown"
    if through_grams <= NEW_FRACTION * enough_grams:
        return "new", "new_burrs"
    return "breaking_in", "within_expected_kilograms"


def _left(enough_grams: float, through_grams: float) -> float:
    return float(round(max(0.0, enough_grams - through_grams)))


def _checked(name: str, grams: float | None) -> float:
    if grams is None or not (math.isfinite(grams) and grams >= 0):
        raise ValueError(f"{name} must be finite and not negative, not {grams}")
    return grams
