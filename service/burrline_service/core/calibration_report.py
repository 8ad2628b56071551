"""The calibration put together from the facts of one burr set and the plate of its grinder."""

from __future__ import annotations

import math
from collections.abc import Collection
from datetime import datetime

from .better_or_coarser import shift_by_break_in
from .calibration import Calibrated, calibrate, flow_answer, flow_shift_setting, scaled
from .calibration_answers import (
    CalibrationAnswer,
    FlowSlope,
    GradedAnswer,
    GrindSlopeAnswer,
    RedialAnswer,
    ReferenceAnswer,
    ShiftAnswer,
)
from .calibration_reference import choose_reference
from .calibration_sentences import CAUTIONS, VERDICTS, shift_sentence
from .grind_answers import UNKNOWN, Said
from .grind_sentences import CAUTIONS as OF_CHECKPOINTS
from .grind_sentences import LEFT_OUT
from .ladder import plan_ladder
from .records import Grind
from .redial import redial
from .setting_lines import crossing, line_at
from .setting_steps import Step, Steps, select_steps
from .settling_measures import Limits, significant
from .stage_facts import GrindFacts

AGED_SINCE_GRAMS = 1000.0


def report_calibration(
    facts: GrindFacts,
    as_of: datetime,
    *,
    grinder_id: str,
    grind: Grind | None,
    retained_grams: float | None,
    shown_grinder_ids: Collection[str],
    flow: FlowSlope | None = None,
    steadied_grams_per_second: float | None = None,
    reference_d50_micrometres: float | None = None,
    reference_checkpoint_id: str | None = None,
    reference_grams_per_second: float | None = None,
) -> CalibrationAnswer:
    """Tell what the dial does to the grind of a burr set, and how to turn it to go back.

    ``calibrate, redial, shift_by_break_in and plan_ladder of the same checkpoints``

    Parameters
    ----------
    facts : GrindFacts
        Of the set in the grinder.
    as_of : datetime
        Aware.
    grinder_id : str
        The grinder.
    grind : Grind or None
        What its plate says of the dial.
    retained_grams : float or None
        What stays in the grinder.
    shown_grinder_ids : collection of str
        Checkpoints made in other grinders count but are not listed.
    flow : FlowSlope or None
        What the stream of runs tells of the flow.
    steadied_grams_per_second : float or None
        The flow it steadied at, brought back unless another one is asked for.
    reference_d50_micrometres : float or None
        The D50 to bring back.
    reference_checkpoint_id : str or None
        Or the checkpoint whose D50 it is; without either, the first that proved the set settled.
    reference_grams_per_second : float or None
        The flow to bring back.

    Returns
    -------
    CalibrationAnswer
        Verdicts of ``calibrate``, ``no_burr_set`` and ``no_checkpoints``.

    Raises
    ------
    ValueError
        The instant is naive.

    Valid
    -----
    As ``fit_setting`` and ``stage_at``.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> from datetime import UTC
    >>> at = datetime(2026, 5, 4, tzinfo=UTC)
    >>> report_calibration(
    ...     GrindFacts(None, None), at, grinder_id="bar-1", grind=None, retained_grams=None,
    ...     shown_grinder_ids=(),
    ... ).verdict
    'no_burr_set'
    """
    steps = select_steps(
        facts.checkpoints, facts.seatings, first_zero_setting=facts.first_zero_setting
    )
    found = calibrate(steps.rows, facts.rule)
    verdict = found.verdict
    if facts.burr_set is None:
        verdict = "no_burr_set"
    elif not facts.checkpoints:
        verdict = "no_checkpoints"
    step = None if grind is None else grind.setting_step
    is_higher_coarser, is_contradicted = _direction(grind, found.log_d50_per_setting, flow)
    sign = 1.0 if is_higher_coarser else -1.0
    of_step = sign * (step or 1.0)
    latest = steps.rows[-1] if steps.rows else None
    at_grams = max(facts.burr_grams or 0.0, latest.age_grams if latest else 0.0)
    reference, reference_step = choose_reference(
        facts, as_of, steps, d50_micrometres=reference_d50_micrometres,
        checkpoint_id=reference_checkpoint_id, grams_per_second=reference_grams_per_second,
        steadied_grams_per_second=steadied_grams_per_second,
    )  # fmt: skip
    # what needs the dial's effect waits until it can be told from the age's
    is_told = verdict in ("calibrated", "slope_unclear") and found.d50 is not None
    d50_micrometres = _level(found, at_grams)
    if reference is not None and reference.d50_micrometres is not None:
        d50_micrometres = reference.d50_micrometres
    redials, shift = list[RedialAnswer](), _no_shift(verdict)
    if is_told and found.d50 is not None and latest is not None:
        redials.append(_redial_d50(
            found, latest, at_grams, reference, reference_step, grind, is_higher_coarser,
            retained_grams,
        ))  # fmt: skip
        shift = shift_by_break_in(
            found.d50, found.fines, to_grams=at_grams, step_setting=step or 1.0,
            is_higher_coarser=is_higher_coarser,
        )  # fmt: skip
    wanted = None if reference is None else reference.grams_per_second
    if flow is not None and flow.setting is not None and wanted is not None:
        turn = flow_shift_setting(flow, wanted)
        if turn is not None:
            redials.append(redial(
                "flow", flow.setting, turn, grind, is_higher_coarser=is_higher_coarser,
                retained_grams=retained_grams,
            ))  # fmt: skip
    rough = found.log_d50_per_setting.best if is_told else None
    slope = found.log_d50_per_setting if is_told else UNKNOWN
    usual = None if latest is None else latest.setting
    return CalibrationAnswer(
        grinder_id=grinder_id,
        burr_set_id=None if facts.burr_set is None else facts.burr_set.burr_set_id,
        as_of=as_of,
        verdict=verdict,
        sentence=VERDICTS[verdict],
        burr_grams=significant(at_grams) if steps.rows else facts.burr_grams,
        setting=usual,
        zero_setting=steps.zero_setting,
        step_setting=step,
        coarser=None if grind is None else grind.coarser,
        grind=GrindSlopeAnswer(
            log_d50_per_setting=slope,
            d50_micrometres_per_step=(
                UNKNOWN if d50_micrometres is None else scaled(slope, of_step * d50_micrometres)
            ),
            fines_fraction_per_step=scaled(found.fines_per_setting, of_step),
        ),
        flow=flow_answer(
            flow, step_setting=step or 1.0, sign_ratio=sign, reference_grams_per_second=wanted
        ),
        reference=reference,
        redials=tuple(redials),
        break_in_shift=shift,
        ladder=(
            None
            if verdict in ("calibrated", "no_burr_set")
            else plan_ladder(
                usual, grind, retained_grams=retained_grams, log_d50_per_setting_ratio=rough
            )
        ),
        checkpoints=_checkpoints(facts, steps, shown_grinder_ids),
        cautions=_cautions(
            facts, steps, found, redials, at_grams, is_contradicted=is_contradicted, step=step,
            retained_grams=retained_grams,
        ),
    )  # fmt: skip


def _direction(grind: Grind | None, slope: Limits, flow: FlowSlope | None) -> tuple[bool, bool]:
    """Whether higher is coarser, and whether what was measured contradicts the plate."""
    told = None if grind is None or grind.coarser is None else grind.coarser == "higher"
    low, best, high = slope.low, slope.best, slope.high
    if low is not None and high is not None and low * high > 0:
        return low > 0, told is not None and told != (low > 0)
    if told is not None:
        return told, False
    if best is None and flow is not None:
        return flow.best_ratio >= 0, False
    return best is None or best >= 0, False


def _level(found: Calibrated, at_grams: float) -> float | None:
    """D50 now at the latest step's setting."""
    if found.d50 is None:
        return None
    line = line_at(found.d50, at_grams)
    return math.exp(float(line.start_response[int(found.d50.misfit_ratio.argmin())]))


def _redial_d50(
    found: Calibrated,
    latest: Step,
    at_grams: float,
    reference: ReferenceAnswer | None,
    reference_step: Step | None,
    grind: Grind | None,
    is_higher_coarser: bool,
    retained_grams: float | None,
) -> RedialAnswer:
    assert found.d50 is not None
    if reference is None or reference.d50_micrometres is None:
        code = "no_reference"
        if reference is not None and reference.checkpoint_id is not None:
            code = "reference_unusable"
        return RedialAnswer("d50", code, VERDICTS[code], purge_grams=retained_grams)
    if reference_step is None:
        line = line_at(found.d50, at_grams, less_response=math.log(reference.d50_micrometres))
    else:
        line = line_at(found.d50, at_grams, reference=reference_step)
    last = found.d50.latest
    return redial(
        "d50",
        last.setting,
        crossing(found.d50, line),
        grind,
        is_higher_coarser=is_higher_coarser,
        retained_grams=retained_grams,
    )


def _no_shift(verdict: str) -> ShiftAnswer:
    return ShiftAnswer(verdict, shift_sentence(verdict, UNKNOWN, UNKNOWN))


def _checkpoints(
    facts: GrindFacts, steps: Steps, shown_grinder_ids: Collection[str]
) -> tuple[GradedAnswer, ...]:
    used = {row.checkpoint_id for row in steps.rows}
    left_out: dict[str, list[Said]] = {}
    for item in steps.left_out:
        said = Said(item.reason, LEFT_OUT[item.reason])
        left_out.setdefault(item.checkpoint_id, []).append(said)
    return tuple(
        GradedAnswer(one, one.checkpoint_id in used, tuple(left_out.get(one.checkpoint_id, ())))
        for one in sorted(facts.checkpoints, key=lambda c: (c.ground_at, c.checkpoint_id))
        if one.grinder_id in shown_grinder_ids
    )


def _cautions(
    facts: GrindFacts,
    steps: Steps,
    found: Calibrated,
    redials: list[RedialAnswer],
    at_grams: float,
    *,
    is_contradicted: bool,
    step: float | None,
    retained_grams: float | None,
) -> tuple[Said, ...]:
    codes = list(steps.cautions)
    if is_contradicted:
        codes.append("dial_contradicts_plate")
    if step is None:
        codes.append("step_unknown")
    if retained_grams is None:
        codes.append("retained_unknown")
    settings = {row.above_setting for row in steps.rows if row.log_d50_ratio}
    if found.verdict == "calibrated" and len(settings) == 2:
        codes.append("two_settings_only")
    dial = {row.setting for row in steps.rows if row.log_d50_ratio}
    proposed = [one.exact_setting.best for one in redials if one.response == "d50"]
    if any(one is not None and dial and not min(dial) <= one <= max(dial) for one in proposed):
        codes.append("outside_settings")
    last = max(
        (c.ground_at for c in facts.checkpoints if c.checkpoint_id in _ids(steps)), default=None
    )
    if last is not None and any(seating.at > last for seating in facts.seatings):
        codes.append("reseated_since")
    is_flat = found.d50 is not None and found.d50.age_place is None
    if is_flat and at_grams - max(row.age_grams for row in steps.rows) > AGED_SINCE_GRAMS:
        codes.append("aged_since")
    return tuple(Said(code, {**OF_CHECKPOINTS, **CAUTIONS}[code]) for code in codes)


def _ids(steps: Steps) -> set[str]:
    return {row.checkpoint_id for row in steps.rows}
