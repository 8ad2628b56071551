"""Where the next checkpoint decides most."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from .prior import EXPECTED_PROBABILITY, BurrClass, settling_grams
from .settling import Settling
from .settling_fit import Fits, believed, bounds_to_come, combine_profiles
from .settling_posterior import make_posterior
from .settling_profile import GRID_GRAMS, LARGEST_TAU_GRAMS, Profile, profile_curve
from .settling_quantiles import tau_quantiles
from .settling_series import FEWEST_CHECKPOINTS_COUNT, Series, within_variance

FIRST_SHARES = (0.25, 0.5, 1.0)
"""The first checkpoints after the one at the start, as parts of the kilograms that are enough for
most such burrs: for 98 mm flat burrs near 5, 10 and 20 kg (common practice, no source)."""
FACTORS_RATIO = (1.25, 1.5, 2.0, 3.0)
"""How much farther out than the last checkpoint the next one may lie."""
ENOUGH_SHARE = 0.8
_NODES = (0.1, 0.3, 0.5, 0.7, 0.9)


def next_checkpoint_grams(
    settling: Settling, burr_class: BurrClass, *, current_grams: float
) -> float | None:
    """Choose the kilograms of the next checkpoint, so that it decides most.

    ``the least m of (now, 1.25 M, 1.5 M, 2 M, 3 M) at which the rule would decide for 4 of 5 tau of
    the posterior, else that at which it decides most often, else 1.5 M``

    Parameters
    ----------
    settling : Settling
        The checkpoints so far.
    burr_class : BurrClass
        What such burrs usually do.
    current_grams : float
        Grams through the burrs now, counted like the checkpoints.

    Returns
    -------
    float or None
        Grams counted like the checkpoints, rounded to 10 g and never less than now; None once
        settled.

    Raises
    ------
    ValueError
        The current grams are not finite.

    Valid
    -----
    What would be measured is taken at its expectation, with as many doses as before.

    Source
    ------
    Derived here: a far checkpoint tells more than more doses at a near one.

    Examples
    --------
    >>> from burrline_service.core.prior import FLAT_98
    >>> from burrline_service.core.settling import assess_settling
    >>> next_checkpoint_grams(assess_settling([]), FLAT_98, current_grams=0.0)
    0.0
    """
    if not math.isfinite(current_grams):
        raise ValueError(f"current_grams must be finite, not {current_grams}")
    if settling.decision == "settled":
        return None
    if settling.origin_grams is None or settling.at_grams is None:
        return current_grams
    origin, fits = settling.origin_grams, settling.fits
    if fits is None:
        return _rounded(_early(settling, burr_class, origin), current_grams)
    reach = max(settling.at_grams - origin, 1.0)
    chosen = [fit.series for fit in fits.fits]
    posterior = make_posterior(chosen[0], burr_class)
    tau = [tau_quantiles(posterior, (q, q, q)).best or GRID_GRAMS[0] for q in _NODES]
    places = sorted({int(np.abs(np.log(GRID_GRAMS / one)).argmin()) for one in tau})
    found, most = 1.5 * reach, 0.0
    candidates = sorted({max(current_grams - origin, f * reach) for f in FACTORS_RATIO})
    if current_grams - origin > 1.05 * reach:
        candidates = sorted({current_grams - origin, *candidates})
    for grams in candidates:
        share = _deciding_share(chosen, fits, places, grams, settling.decision)
        if share > most:
            found, most = grams, share
        if share >= ENOUGH_SHARE:
            break
    return _rounded(origin + found, current_grams)


def _early(settling: Settling, burr_class: BurrClass, origin_grams: float) -> float:
    """The next of the first four checkpoints; past them (replicates lack) a little farther."""
    taken = max((series.distinct_count for series in settling.series), default=0)
    place = min(max(taken, 1), FEWEST_CHECKPOINTS_COUNT - 1) - 1
    enough = settling_grams(burr_class, EXPECTED_PROBABILITY)
    last = (settling.at_grams or origin_grams) - origin_grams
    if taken >= FEWEST_CHECKPOINTS_COUNT:
        return origin_grams + 1.25 * last
    return origin_grams + max(FIRST_SHARES[place] * enough, 1.25 * last)


def _rounded(grams: float, current_grams: float) -> float:
    return max(current_grams, round(grams / 10) * 10.0)


def _deciding_share(
    chosen: Sequence[Series], fits: Fits, places: Sequence[int], grams: float, decision: str
) -> float:
    """The share of tau at which one more checkpoint there would bring a verdict."""
    ahead = [
        _with_expected(series, fit.profile, places, grams)
        for series, fit in zip(chosen, fits.fits, strict=True)
    ]
    together = [
        profile_curve(
            series.grams,
            series.means_response,
            series.sd_response,
            levels_count=series.levels_count,
            tau_grams=GRID_GRAMS[GRID_GRAMS <= LARGEST_TAU_GRAMS],
        )
        for series in ahead
    ]
    count = 0
    for node in range(len(places)):
        profiles = [_one_of(profile, node) for profile in together]
        found = combine_profiles(ahead, profiles).fits
        bounds = [bounds_to_come(believed(fit), grams) for fit in found]
        deltas = [series.change_response for series in chosen]
        pairs = list(zip(bounds, deltas, strict=True))
        is_settled = all(most < delta for (_, most), delta in pairs)
        is_moving = decision == "undecided" and any(least > delta for (least, _), delta in pairs)
        count += is_settled or is_moving
    return count / len(places)


def _one_of(profile: Profile, node: int) -> Profile:
    """One set out of several of the same design."""
    return replace(
        profile,
        misfit_ratio=profile.misfit_ratio[node],
        change_response=profile.change_response[node],
        level_response=profile.level_response[node],
        flat_ratio=profile.flat_ratio[node],
        line_ratio=profile.line_ratio[node],
        step_ratio=profile.step_ratio[node],
    )


def _with_expected(series: Series, profile: Profile, places: Sequence[int], grams: float) -> Series:
    """The series with one more checkpoint, as each of some tau would have it."""
    nodes = np.array(places)
    grown = -np.expm1(-grams / profile.tau_grams[nodes])
    arm = grown - profile.lever_ratio[nodes]
    values = profile.level_response[0] + profile.change_response[nodes] * arm
    means = np.broadcast_to(series.means_response, (len(nodes), len(series.means_response)))
    _, variance = within_variance(series)
    doses = float(np.median(series.replicates_count))
    start = np.zeros((1, series.levels_count.shape[1]))
    start[0, 0] = 1.0
    return replace(
        series,
        grams=np.append(series.grams, grams),
        means_response=np.column_stack([means, values]),
        replicates_count=np.append(series.replicates_count, doses),
        sd_response=np.append(series.sd_response, math.sqrt(max(variance, 1e-18))),
        shift_sd_response=np.append(series.shift_sd_response, 0.0),
        levels_count=np.vstack([series.levels_count, start]),
        within_squares=series.within_squares * (1 + (doses - 1) / series.freedom_count),
        freedom_count=series.freedom_count + int(doses) - 1,
    )
