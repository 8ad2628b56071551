"""Burr sets side by side: their curves on kilograms, and their fines at an equal D50."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime

from .better_or_coarser import shift_by_break_in
from .calibration import Calibrated, calibrate
from .calibration_answers import AtEqualD50, ComparedSet, SetComparison
from .calibration_sentences import CAUTIONS, VERDICTS, range_words
from .cup_spread import difference_limits
from .entered import Checkpoint
from .equal_d50 import fines_at_crossing
from .grind_answers import UNKNOWN, CurveAnswer, Said
from .joining import Joined, join_checkpoints
from .records import BurrSet
from .setting_lines import crossing, line_at, room_ratio
from .setting_steps import Step, Steps, select_steps
from .settling import Settling, assess_settling
from .settling_curve import curve_grams, draw_curves
from .settling_measures import Limits, ResponseFit, significant
from .settling_sentences import settling_sentence
from .stage_facts import GrindFacts


def compare_sets(
    each: Sequence[GrindFacts], as_of: datetime, *, d50_micrometres: float | None = None
) -> SetComparison:
    """Set burr sets beside each other, by their checkpoints and at an equal D50.

    ``fines_i = fines of set i at the setting where its D50 is the common one;  d_i = fines_i -
    fines_1``

    Parameters
    ----------
    each : sequence of GrindFacts
        The sets in the order asked for, each with its burr set.
    as_of : datetime
        What was ground later does not count.
    d50_micrometres : float or None
        Where to compare; None = the geometric mean of the sets' latest D50.

    Returns
    -------
    SetComparison
        Verdicts of ``assess_settling`` for the curves; at an equal D50 ``told``, a verdict of
        ``calibrate``, ``no_fines``, ``no_common_d50`` or ``shift_unclear``.

    Raises
    ------
    ValueError
        The D50 is not positive, or an instant is naive.

    Valid
    -----
    Sets that were not measured in the same way get no difference. Each set stands at its own
    latest age.

    Source
    ------
    Derived here; the limits of a difference as in ``difference_limits``.

    Examples
    --------
    >>> from datetime import UTC
    >>> compare_sets([], datetime(2026, 5, 4, tzinfo=UTC)).sets
    ()
    """
    if d50_micrometres is not None and not d50_micrometres > 0:
        raise ValueError(f"a D50 must be positive, not {d50_micrometres}")
    known = [[c for c in facts.checkpoints if c.ground_at <= as_of] for facts in each]
    steps = [
        select_steps(
            checkpoints,
            [seating for seating in facts.seatings if seating.at <= as_of],
            first_zero_setting=facts.first_zero_setting,
        )
        for facts, checkpoints in zip(each, known, strict=True)
    ]
    common = d50_micrometres
    if common is None:
        logs = [log for one in steps if (log := _latest_log_d50(one.rows)) is not None]
        common = math.exp(math.fsum(sorted(logs)) / len(logs)) if logs else None
    ways = [_way(one, checkpoints) for one, checkpoints in zip(steps, known, strict=True)]
    sets: list[ComparedSet] = []
    is_outside = False
    first: Limits | None = None
    for facts, one, checkpoints, way in zip(each, steps, known, ways, strict=True):
        found = calibrate(one.rows, facts.rule)
        at, is_beyond = _at_equal_d50(found, one, common)
        is_outside = is_outside or is_beyond
        if first is None:
            first = at.fines_fraction
        elif way is not None and way == ways[0]:
            less = difference_limits(at.fines_fraction, first)
            at = AtEqualD50(**{**at.__dict__, "less_first_fines_fraction": less})
        sets.append(_compared(facts, checkpoints, as_of, at))
    told = [way for way in ways if way is not None]
    lots = {frozenset(row.coffee_lot for row in one.rows) for one in steps if one.rows}
    codes = [
        *(["not_comparable"] if len(set(told)) > 1 else []),
        *(["lots_differ"] if len(lots) > 1 else []),
        *(["outside_settings"] if is_outside else []),
    ]
    return SetComparison(
        as_of=as_of,
        d50_micrometres=significant(common),
        sets=tuple(sets),
        cautions=tuple(Said(code, CAUTIONS[code]) for code in codes),
    )


def _compared(
    facts: GrindFacts, checkpoints: Sequence[Checkpoint], as_of: datetime, at: AtEqualD50
) -> ComparedSet:
    burr_set = facts.burr_set
    assert isinstance(burr_set, BurrSet)
    joined: Joined = join_checkpoints(
        checkpoints,
        [seating for seating in facts.seatings if seating.at <= as_of],
        first_zero_setting=facts.first_zero_setting,
        slope=facts.slope,
    )
    settling: Settling = assess_settling(joined.rows, facts.rule)
    last = settling.at_grams or 0.0
    curves = draw_curves(settling, curve_grams(settling, last))
    of = {response.name: response for response in settling.responses}
    d50, fines = of.get("d50"), of.get("fines")
    return ComparedSet(
        burr_set_id=burr_set.burr_set_id,
        burr_model=burr_set.burr_model,
        geometry=burr_set.geometry,
        diameter_millimetres=burr_set.diameter_millimetres,
        verdict=settling.verdict,
        sentence=settling_sentence(settling.verdict, settling),
        checkpoint_count=settling.checkpoint_count,
        tau_grams=settling.tau_grams or UNKNOWN,
        settles_at_grams=settling.settles_at_grams or UNKNOWN,
        d50_change_micrometres=_of(d50, "change"),
        fines_change_fraction=_of(fines, "change"),
        settled_d50_micrometres=_of(d50, "settled"),
        settled_fines_fraction=_of(fines, "settled"),
        at_equal_d50=at,
        curve=CurveAnswer(curves.get("d50", ()), curves.get("fines", ())),
    )


def _of(response: ResponseFit | None, name: str) -> Limits:
    if response is None:
        return UNKNOWN
    found = getattr(response, name)
    assert isinstance(found, Limits)
    return found


def _at_equal_d50(
    found: Calibrated, steps: Steps, d50_micrometres: float | None
) -> tuple[AtEqualD50, bool]:
    """The fines there, and whether that lies beyond the settings measured."""
    if found.d50 is None or found.verdict != "calibrated":
        return AtEqualD50(found.verdict, VERDICTS[found.verdict]), False
    if found.fines is None:
        return AtEqualD50("no_fines", VERDICTS["no_fines"]), False
    if d50_micrometres is None:
        return AtEqualD50("no_common_d50", VERDICTS["no_common_d50"]), False
    at_grams = max(row.age_grams for row in steps.rows)
    line = line_at(found.d50, at_grams, less_response=math.log(d50_micrometres))
    together = found.d50.misfit_ratio + found.fines.misfit_ratio
    there = fines_at_crossing(
        line,
        line_at(found.fines, at_grams),
        room_ratio(found.d50, found.fines),
        int(together.argmin()),
    )
    latest = found.d50.latest
    settings = [row.above_setting - latest.above_setting for row in steps.rows]
    turn = crossing(found.d50, line)[1]
    shift = shift_by_break_in(found.d50, found.fines, to_grams=at_grams)
    is_told = there.low is not None and there.high is not None
    words = range_words(there, "% of fines", 100.0)
    return AtEqualD50(
        verdict="told" if is_told else "shift_unclear",
        sentence=(
            f"At a D50 of {d50_micrometres:.4g} µm: {words}."
            if is_told
            else VERDICTS["shift_unclear"]
        ),
        fines_fraction=there,
        fines_change=shift.fines_change_at_equal_d50,
    ), not min(settings) <= turn <= max(settings)


def _latest_log_d50(rows: Sequence[Step]) -> float | None:
    logs = next((row.log_d50_ratio for row in reversed(rows) if row.log_d50_ratio), ())
    return math.fsum(logs) / len(logs) if logs else None


def _way(steps: Steps, checkpoints: Sequence[Checkpoint]) -> tuple[object, ...] | None:
    """How a set was measured: what must be alike for fines to be set against each other."""
    if not steps.rows:
        return None
    latest = steps.rows[-1].checkpoint_id
    one = next(c for c in checkpoints if c.checkpoint_id == latest)
    return (
        one.method, one.instrument_id, one.sieve_set_id, one.dispersant, one.fines_cut_micrometres,
    )  # fmt: skip
