"""How many kilograms are left, and until when: a forecast, never a verdict."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from .prior import BurrClass
from .settling import Settling
from .settling_measures import Limits, significant
from .settling_posterior import FINES_PER_D50_RATIO, Posterior, make_posterior
from .settling_quantiles import settled_probability, settling_quantiles, tau_quantiles

FEWEST_SETS_COUNT = 3
"""Measured sets of one model from which on they inform the forecasts of the others."""
_LEAST_SPREAD_RATIO = 0.25  # of ln tau between sets of one model (our choice, no source)
_CONFLICT_PROBABILITY = 0.1


@dataclass(frozen=True)
class MeasuredSet:
    """What the checkpoints of one burr set told: tau, its two-sided 95 % limits, and the change.

    ``change_fraction`` is that of D50 as a part of its start.
    """

    burr_set_id: str
    low_tau_grams: float
    tau_grams: float
    high_tau_grams: float
    change_fraction: float


@dataclass(frozen=True)
class Forecast:
    """Prior and measurements together; limits are the 2.5 % and 97.5 % quantiles.

    ``settles_at_grams`` counts like the checkpoints. ``is_prior_conflict`` tells that these burrs
    change farther, or at another pace, than their class.
    """

    response: str
    class_name: str
    settles_at_grams: Limits
    remaining_grams: Limits
    tau_grams: Limits
    now_probability: float
    class_probability: float
    is_prior_conflict: bool


def forecast_settling(
    settling: Settling, burr_class: BurrClass, *, current_grams: float
) -> Forecast | None:
    """Forecast the kilograms still needed, from the class of burrs and the checkpoints.

    ``P(|R(x)| < delta) = 0.025, 0.5, 0.975;  remaining = max(0, x - now)``

    Parameters
    ----------
    settling : Settling
        The checkpoints, whether or not they were enough for a verdict.
    burr_class : BurrClass
        What such burrs usually do, see ``prior.class_of`` and ``informed_class``.
    current_grams : float
        Grams through the burrs now, counted like the checkpoints.

    Returns
    -------
    Forecast or None
        By D50 where it was measured, else by the fines; None without any checkpoint.

    Raises
    ------
    ValueError
        The current grams are not finite.

    Valid
    -----
    From one checkpoint on.

    Source
    ------
    ``make_posterior``

    Examples
    --------
    >>> from burrline_service.core.prior import FLAT_98
    >>> from burrline_service.core.settling import assess_settling
    >>> forecast_settling(assess_settling([]), FLAT_98, current_grams=0.0) is None
    True
    """
    if not math.isfinite(current_grams):
        raise ValueError(f"current_grams must be finite, not {current_grams}")
    if not settling.series:
        return None
    series = settling.series[0]
    posterior = make_posterior(series, burr_class)
    low, best, high = settling_quantiles(posterior)
    left = [max(0.0, grams - current_grams) for grams in (low, best, high)]
    return Forecast(
        response=series.name,
        class_name=burr_class.name,
        settles_at_grams=Limits(significant(low), significant(best), significant(high)),
        remaining_grams=Limits(*map(significant, left)),
        tau_grams=tau_quantiles(posterior),
        now_probability=round(settled_probability(posterior, current_grams), 6),
        class_probability=round(posterior.class_probability, 6),
        is_prior_conflict=_is_conflict(settling, burr_class, posterior),
    )


def informed_class(burr_class: BurrClass, measured: Sequence[MeasuredSet]) -> BurrClass:
    """Let three or more measured sets of a model tell what the next set of it will do.

    ``ln tau of a set ~ N(mu, b^2), mu ~ N(m0, s0^2), its estimate x ~ N(ln tau, e^2):  mu' = (m0 /
    s0^2 + sum x / (b^2 + e^2)) / (1 / s0^2 + sum 1 / (b^2 + e^2)),  next ~ N(mu', b^2 + var mu')``

    Parameters
    ----------
    burr_class : BurrClass
        What is believed of such burrs without them.
    measured : sequence of MeasuredSet
        Sets of the same model with both limits of tau.

    Returns
    -------
    BurrClass
        The class itself while fewer than three sets have finite limits; never a wider one.

    Raises
    ------
    ValueError
        A change is not finite.

    Valid
    -----
    For forecasts only. Sets are taken to differ by at least 25 % in tau (our choice).

    Source
    ------
    Derived here: normal-normal updating; the spread between sets is that of their estimates less
    their errors.

    Examples
    --------
    >>> from burrline_service.core.prior import VAGUE
    >>> three = [MeasuredSet(name, 3e3, 4e3, 5e3, 0.1) for name in "abc"]
    >>> round(informed_class(VAGUE, three).tau_grams)
    4029
    """
    known = sorted(
        (
            one
            for one in measured
            if 0 < one.low_tau_grams <= one.tau_grams <= one.high_tau_grams < math.inf
        ),
        key=lambda one: (one.tau_grams, one.burr_set_id),
    )
    if len(known) < FEWEST_SETS_COUNT:
        return burr_class
    if not all(math.isfinite(one.change_fraction) for one in known):
        raise ValueError("every measured change must be finite")
    logs = [math.log(one.tau_grams) for one in known]
    errors = [math.log(one.high_tau_grams / one.low_tau_grams) / (2 * 1.96) for one in known]
    middle = math.fsum(logs) / len(logs)
    scatter = math.fsum((x - middle) ** 2 for x in logs) / (len(logs) - 1)
    mean_error = math.fsum(e * e for e in errors) / len(errors)
    between = max(scatter - mean_error, _LEAST_SPREAD_RATIO**2)
    own = 1 / burr_class.log_tau_sd**2
    weights = [1 / (between + e * e) for e in errors]
    precision = own + math.fsum(weights)
    centre = own * math.log(burr_class.tau_grams)
    centre = (centre + math.fsum(w * x for w, x in zip(weights, logs, strict=True))) / precision
    squares = math.fsum(one.change_fraction**2 for one in known)
    change = math.sqrt((3 * burr_class.change_fraction**2 + squares) / (3 + len(known)))
    return BurrClass(
        name=f"burrs of this model ({len(known)} sets measured)",
        tau_grams=math.exp(centre),
        log_tau_sd=min(math.sqrt(between + 1 / precision), burr_class.log_tau_sd),
        change_fraction=change,
    )


def forecast_instants(
    remaining_grams: Limits, *, now: datetime, usage_grams: float, usage_days: float
) -> tuple[datetime | None, datetime | None, datetime | None]:
    """Turn the kilograms that are left into instants, at the pace of late.

    ``t = now + remaining / (usage_grams / usage_days)``

    Parameters
    ----------
    remaining_grams : Limits
        Low, best and high.
    now : datetime
        Aware.
    usage_grams, usage_days : float
        What went through the burrs in how many of the last days, > 0.

    Returns
    -------
    tuple of datetime or None
        None where the kilograms are unknown, nothing was ground, or it lies over 100 years ahead.

    Raises
    ------
    ValueError
        The instant is naive, or usage is negative or no number.

    Valid
    -----
    While the pace stays.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> from datetime import UTC
    >>> noon = datetime(2026, 5, 4, 12, tzinfo=UTC)
    >>> when = forecast_instants(Limits(0.0, 5e3, None), now=noon, usage_grams=7e3, usage_days=7.0)
    >>> when[1].date().isoformat(), when[2]
    ('2026-05-09', None)
    """
    if now.utcoffset() is None:
        raise ValueError("the instant must be aware (have an offset)")
    if not (usage_grams >= 0 and usage_days > 0 and math.isfinite(usage_grams / usage_days)):
        raise ValueError(f"no pace in {usage_grams} g over {usage_days} days")

    def _instant(grams: float | None) -> datetime | None:
        if grams is None:
            return None
        days = 0.0 if grams == 0 else grams * usage_days / usage_grams if usage_grams else math.inf
        return now + timedelta(days=days) if days < 36_500 else None

    low, best, high = (
        _instant(grams)
        for grams in (remaining_grams.low, remaining_grams.best, remaining_grams.high)
    )
    return low, best, high


def _is_conflict(settling: Settling, burr_class: BurrClass, posterior: Posterior) -> bool:
    if posterior.class_probability < _CONFLICT_PROBABILITY:
        return True
    if _is_larger_change(settling, burr_class):
        return True
    tau, reach = settling.tau_grams, math.exp(1.96 * burr_class.log_tau_sd)
    if tau is None:
        return False
    is_above = tau.low is not None and tau.low > burr_class.tau_grams * reach
    return is_above or (tau.high is not None and tau.high < burr_class.tau_grams / reach)


def _is_larger_change(settling: Settling, burr_class: BurrClass) -> bool:
    """Whether a response surely changes by more than 95 of 100 such sets do."""
    for response in settling.responses:
        ratio = 1.0 if response.name == "d50" else FINES_PER_D50_RATIO
        usual = 1.96 * burr_class.change_fraction * ratio * abs(response.start.best or 0.0)
        low, high = response.change.low, response.change.high
        if (low is not None and low > usual) or (high is not None and high < -usual):
            return True
    return False
