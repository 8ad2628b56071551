"""The setting that brings a response back, on a dial that has steps, ends and a direction."""

from __future__ import annotations

import math
from typing import Literal

from .calibration_answers import RedialAnswer
from .calibration_sentences import redial_sentence
from .records import Grind
from .settling_measures import Limits, significant


def redial(
    response: Literal["d50", "flow"],
    from_setting: float,
    shift_setting: tuple[float, float, float],
    grind: Grind | None,
    *,
    is_higher_coarser: bool,
    retained_grams: float | None,
) -> RedialAnswer:
    """Turn a shift of the dial, with its limits, into whole steps that can be set.

    ``n = floor(shift / step + 1 / 2)`` counted towards the coarser side: ties go coarser

    Parameters
    ----------
    response : str
        ``d50`` or ``flow``.
    from_setting : float
        The setting the shift counts from.
    shift_setting : tuple of float
        Low limit, best and high limit of the shift, in units of the dial; limits may be infinite.
    grind : Grind or None
        What the plate says of the dial.
    is_higher_coarser : bool
        The direction of the dial.
    retained_grams : float or None
        What to grind away after the change.

    Returns
    -------
    RedialAnswer
        Verdicts: ``stay`` (less than half a step), ``turn``, ``beyond_dial``, ``slope_unclear``
        (the setting has no limits; the best one is told all the same, but none is proposed).

    Raises
    ------
    TypeError
        A number is none.

    Valid
    -----
    Steps count from the present setting. Without a known step nothing is rounded.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> grind = Grind(setting_step=0.5, coarser="higher")
    >>> found = redial("d50", 5.0, (-1.3, -1.1, -0.9), grind, is_higher_coarser=True,
    ...     retained_grams=4.0)
    >>> found.verdict, found.setting, found.steps_count
    ('turn', 4.0, -2)
    """
    low, best, high = shift_setting
    exact = Limits(
        significant(from_setting + low),
        significant(from_setting + best),
        significant(from_setting + high),
    )
    if not all(map(math.isfinite, shift_setting)):
        return _answer(response, "slope_unclear", from_setting, exact, None, None, retained_grams)
    step = None if grind is None else grind.setting_step
    verdict, wanted, count = "turn", from_setting + best, None
    sign = 1 if is_higher_coarser else -1
    if step:
        count = math.floor(sign * best / step + 0.5 + 1e-9)
        wanted = round(from_setting + sign * count * step, 9)
        verdict = "turn" if count else "stay"
    ends = (None, None) if grind is None else (grind.low_setting, grind.high_setting)
    is_below = ends[0] is not None and wanted < ends[0] - 1e-9
    is_above = ends[1] is not None and wanted > ends[1] + 1e-9
    if is_below or is_above:
        return _answer(response, "beyond_dial", from_setting, exact, None, None, retained_grams)
    return _answer(response, verdict, from_setting, exact, wanted, count, retained_grams)


def _answer(
    response: Literal["d50", "flow"],
    verdict: str,
    from_setting: float,
    exact: Limits,
    setting: float | None,
    count: int | None,
    retained_grams: float | None,
) -> RedialAnswer:
    made = RedialAnswer(
        response=response,
        verdict=verdict,
        sentence="",
        from_setting=significant(from_setting),
        exact_setting=exact,
        setting=significant(setting),
        steps_count=count,
        purge_grams=retained_grams,
    )
    return RedialAnswer(**{**made.__dict__, "sentence": redial_sentence(made)})
