"""The three settings to measure in one sitting, so that the dial's effect is free of all else."""

from __future__ import annotations

import math

from .calibration_answers import LadderAnswer
from .records import Grind

DOSES_COUNT = 3
DOSE_GRAMS = 25.0
"""Three doses of 25 g a setting (common practice, no source)."""
WANTED_LOG_CHANGE_RATIO = 0.06
"""How far apart two settings of a ladder should be in ln D50: twice the change that matters."""
STEPS_COUNT = 3
"""So many steps apart where nobody knows what one does (our choice, no source)."""
RANGE_FRACTION = 0.1


def plan_ladder(
    setting: float | None,
    grind: Grind | None,
    *,
    retained_grams: float | None,
    log_d50_per_setting_ratio: float | None = None,
) -> LadderAnswer:
    """Lay out a ladder of three settings around the usual one, which is measured last.

    ``apart = ceil(0.06 / |slope| / step) steps;  grams = 3 settings x 3 doses x 25 g + 3 purges``

    Parameters
    ----------
    setting : float or None
        The usual setting.
    grind : Grind or None
        What the plate says of the dial.
    retained_grams : float or None
        What stays in the grinder and is ground away after each change.
    log_d50_per_setting_ratio : float or None
        A rough slope of ln D50, where one is known.

    Returns
    -------
    LadderAnswer
        Without settings where the usual one, or how far to move it, is not known.

    Raises
    ------
    ValueError
        A number is not finite.

    Valid
    -----
    Inside low and high setting where they are known: at an end of the dial both others lie on one
    side. Coarser first, so that each purge is ground finer than what it drives out.

    Source
    ------
    Definition made here; three doses of 25 g are common practice, no source.

    Examples
    --------
    >>> grind = Grind(setting_step=0.5, low_setting=1.0, high_setting=10.0, coarser="higher")
    >>> ladder = plan_ladder(5.0, grind, retained_grams=4.0)
    >>> ladder.settings, ladder.total_grams
    ((6.5, 3.5, 5.0), 237.0)
    """
    purge = retained_grams
    total = 3 * DOSES_COUNT * DOSE_GRAMS + (0.0 if purge is None else 3 * purge)
    settings = _settings(setting, grind, log_d50_per_setting_ratio)
    named = "three settings" if not settings else ", then ".join(f"{one:g}" for one in settings)
    away = "what the grinder retains" if purge is None else f"{purge:g} g"
    return LadderAnswer(
        settings=settings,
        doses_count=DOSES_COUNT,
        dose_grams=DOSE_GRAMS,
        purge_grams=purge,
        total_grams=None if purge is None else total,
        sentence=(
            f"In one sitting, of one coffee, grind {DOSES_COUNT} doses of {DOSE_GRAMS:g} g at "
            f"{named}, the usual setting last, and enter them as three checkpoints of one "
            f"session_id. After each change of the setting grind {away} and throw it away first; "
            "let the grinder cool between the doses."
        ),
    )


def _settings(
    setting: float | None, grind: Grind | None, slope_ratio: float | None
) -> tuple[float, ...]:
    if setting is None or grind is None:
        return ()
    low = -math.inf if grind.low_setting is None else grind.low_setting
    high = math.inf if grind.high_setting is None else grind.high_setting
    step = grind.setting_step
    apart = None
    if slope_ratio:
        apart = WANTED_LOG_CHANGE_RATIO / abs(slope_ratio)
    elif step:
        apart = STEPS_COUNT * step
    elif math.isfinite(high - low):
        apart = RANGE_FRACTION * (high - low)
    if not apart:
        return ()
    if math.isfinite(high - low):
        apart = min(apart, (high - low) / 3)
    if step:
        apart = max(1, math.floor(apart / step + 0.999)) * step
    coarser = -1.0 if grind.coarser == "lower" else 1.0
    if not low <= setting <= high:
        return ()
    moves = (coarser * apart, -coarser * apart)
    found = [setting + move for move in moves if low <= setting + move <= high]
    if len(found) == 1:  # at an end of the dial
        far = setting + 2 * (found[0] - setting)
        found = sorted([far, *found], key=lambda one: -coarser * one)
    if len(found) < 2 or not all(low <= one <= high for one in found):
        return ()
    return tuple(round(one, 9) for one in (*found, setting))
