"""Better, or only coarser? The break-in as steps of the dial, and the fines beside them."""

from __future__ import annotations

import numpy as np

from .calibration_answers import ShiftAnswer
from .calibration_sentences import shift_sentence
from .equal_d50 import fines_at_crossing
from .grind_answers import UNKNOWN
from .setting_fit import SettingFit
from .setting_lines import bounded_response, crossing, line_at, room_ratio
from .settling_limits import union_limits
from .settling_measures import Limits, significant


def shift_by_break_in(
    d50: SettingFit,
    fines: SettingFit | None,
    *,
    to_grams: float,
    step_setting: float = 1.0,
    is_higher_coarser: bool = True,
) -> ShiftAnswer:
    """Split the change by break-in into what the dial could do, too, and the rest.

    ``n = change of ln D50 / (slope step);  rest = change of fines - slope of fines change of ln
    D50 / slope of ln D50``

    Parameters
    ----------
    d50, fines : SettingFit or None
        Fits of ln D50 and of the fines on setting and age.
    to_grams : float
        Up to which age; from the first step's on.
    step_setting : float
        One step of the dial, > 0.
    is_higher_coarser : bool
        The direction of the dial; steps count towards the coarser side.

    Returns
    -------
    ShiftAnswer
        Verdicts: ``only_coarser`` (all of the interval is within the change of fines that
        matters), ``fewer_fines``, ``more_fines``, ``undecided``; or ``one_age_only``,
        ``no_fines``, ``shift_unclear``.

    Raises
    ------
    ValueError
        The step is not positive.

    Valid
    -----
    At one setting, coffee and seating. "Only coarser" is never said because no difference could be
    shown.

    Source
    ------
    Derived here: the setting is the instrument, so the scatter of D50 does not flatten the slope
    of fines on ln D50; the limits as in ``crossing_limits`` and ``fines_at_crossing``.

    Examples
    --------
    >>> from burrline_service.core.setting_fit import fit_setting
    >>> from burrline_service.core.setting_steps import example_steps
    >>> shift_by_break_in(fit_setting(example_steps(), "d50"), None, to_grams=0.0).verdict
    'one_age_only'
    """
    if not step_setting > 0:
        raise ValueError(f"a step of the dial must be positive, not {step_setting}")
    from_grams = d50.origin_grams
    if d50.age_place is None:
        return _open("one_age_only")
    line = line_at(d50, to_grams, reference_grams=from_grams)
    low, best, high = crossing(d50, line)
    # where the dial would have to go to undo it, the other way round: what it would have done
    sign = -1.0 if is_higher_coarser else 1.0
    ends = sorted((sign * low / step_setting, sign * high / step_setting))
    steps = Limits(
        bounded_steps_setting(ends[0]),
        bounded_steps_setting(sign * best / step_setting),
        bounded_steps_setting(ends[1]),
    )
    change = _limits(d50, line.start_response, line.start_squares)
    if fines is None:
        return _open("no_fines", from_grams, to_grams, steps, change)
    if fines.age_place is None:
        return _open("one_age_only", from_grams, to_grams, steps, change)
    other = line_at(fines, to_grams, reference_grams=from_grams)
    fines_change = _limits(fines, other.start_response, other.start_squares)
    room = room_ratio(d50, fines)
    together = d50.misfit_ratio + fines.misfit_ratio
    rest = fines_at_crossing(line, other, room, int(together.argmin()))
    if rest.low is None or rest.high is None or steps.low is None or steps.high is None:
        verdict = "shift_unclear"
    elif max(abs(rest.low), abs(rest.high)) <= fines.change_response:
        verdict = "only_coarser"
    elif rest.high < 0:
        verdict = "fewer_fines"
    else:
        verdict = "more_fines" if rest.low > 0 else "undecided"
    return ShiftAnswer(
        verdict=verdict,
        sentence=shift_sentence(verdict, steps, rest),
        from_grams=significant(from_grams),
        to_grams=significant(to_grams),
        equal_steps=steps,
        log_d50_change=change,
        fines_change=fines_change,
        fines_change_at_equal_d50=rest,
    )


def bounded_steps_setting(count_setting: float) -> float | None:
    """Round a number of steps; one that no dial has is none.

    ``|n| > 10 000 -> None``

    Parameters
    ----------
    count_setting : float
        Steps.

    Returns
    -------
    float or None
        Nine significant digits.

    Raises
    ------
    TypeError
        It is no number.

    Valid
    -----
    Everywhere.

    Source
    ------
    Our choice: no dial has so many steps.

    Examples
    --------
    >>> bounded_steps_setting(2.5), bounded_steps_setting(float("inf"))
    (2.5, None)
    """
    return significant(count_setting) if abs(count_setting) <= 10_000 else None


def _limits(fit: SettingFit, value: object, squares: object) -> Limits:
    values, room = np.asarray(value), room_ratio(fit)
    low, high = union_limits(values, np.sqrt(np.asarray(squares)), -room, 0.0)
    best = float(values[int(fit.misfit_ratio.argmin())])
    return Limits(bounded_response(low), significant(best), bounded_response(high))


def _open(
    verdict: str,
    from_grams: float | None = None,
    to_grams: float | None = None,
    steps: Limits = UNKNOWN,
    change: Limits = UNKNOWN,
) -> ShiftAnswer:
    return ShiftAnswer(
        verdict=verdict,
        sentence=shift_sentence(verdict, steps, UNKNOWN),
        from_grams=significant(from_grams),
        to_grams=significant(to_grams),
        equal_steps=steps,
        log_d50_change=change,
    )
