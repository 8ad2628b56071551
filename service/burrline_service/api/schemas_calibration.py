"""Shape of the calibration: slopes, settings to go back to, the ladder to measure."""

from __future__ import annotations

from typing import Any

from marshmallow import fields

from ..core.records import COARSER
from .fields import Array, Choice, Inner, Instant, StrictBoolean, StrictFloat, StrictInteger, Text
from .fields import nullable as maybe
from .operation import CHECKPOINT_ID
from .schemas_common import Answer, Query, SaidSchema, burr_set_id, grinder_id
from .schemas_grind import PooledSizesSchema
from .schemas_limits import limits, sentence
from .schemas_motor import QueryNumber

REFERENCE_BASES = ("asked", "asked_checkpoint", "settled_checkpoint", "steadied_flow")
FLOW_BASES = ("asked", "steadied_flow")


class CalibrationQuerySchema(Query):
    reference_d50_micrometres = QueryNumber(
        "The D50 to bring back, in micrometres; without it, and without "
        "`reference_checkpoint_id`, that of the first checkpoint that proved the set settled.",
        above=0,
        high=10_000,
        example=320.0,
    )
    reference_checkpoint_id = Text(
        "The checkpoint whose D50 is to be brought back; not together with a D50.",
        pattern=CHECKPOINT_ID,
        example="flat-64-a-05kg",
    )
    reference_grams_per_second = QueryNumber(
        "The flow to bring back, in grams per second. Without it, the one that the runs say it has "
        "steadied at.",
        above=0,
        high=1000,
        example=2.4,
    )
    as_of = Instant("The past instant to answer for; without it, now.")


class GrindSlopeSchema(Answer):
    """How far the dial moves the grind; a step counts towards the coarser side."""

    log_d50_per_setting = limits("Change of ln D50 per unit of the dial, upwards")
    d50_micrometres_per_step = limits("Change of D50 per step at the reference, in micrometres")
    fines_fraction_per_step = limits("Change of the fines per step, as a fraction")


class FlowSlopeSchema(Answer):
    """How far the dial moves the flow, as the runs tell; a step counts towards coarser."""

    verdict = Text("`calibrated`, or why not, as a code.", low=0, high=100)
    sentence = sentence()
    log_flow_per_setting = limits("Change of ln flow per unit of the dial, upwards")
    grams_per_second_per_step = limits("Change of the flow per step, in grams per second")


class ReferenceSchema(Answer):
    """What is to be brought back."""

    basis = Choice("Where it comes from.", REFERENCE_BASES)
    checkpoint_id = maybe(Text, "The checkpoint it is of.", pattern=CHECKPOINT_ID)
    d50_micrometres = maybe(StrictFloat, "D50, in micrometres; null: none is known.")
    grams_per_second = maybe(StrictFloat, "Flow, in grams per second; null: none is known.")
    flow_basis = maybe(
        Choice,
        "Where the flow comes from: asked for, else what the runs say it steadied at.",
        FLOW_BASES,
    )


class RedialSchema(Answer):
    """The setting that brings a response back."""

    response = Choice("Which.", ("d50", "flow"))
    verdict = Choice(
        "`turn`; `stay` (less than half a step); or why no setting is proposed.",
        ("turn", "stay", "beyond_dial", "slope_unclear", "no_reference", "reference_unusable"),
    )
    sentence = sentence()
    from_setting = maybe(StrictFloat, "The setting it counts from: the latest one measured.")
    exact_setting = limits("The setting before rounding; no limits where the slope may be 0")
    setting = maybe(
        StrictFloat, "The setting to turn to, in whole steps; null: none can be proposed."
    )
    steps_count = maybe(StrictInteger, "Whole steps towards the coarser side; null: no step known.")
    purge_grams = maybe(
        StrictFloat, "What to grind away after the change, in grams; null: unknown."
    )


class ShiftSchema(Answer):
    """Better, or only coarser: the break-in as steps of the dial, and the fines beside them."""

    verdict = Text(
        "`only_coarser` when the whole interval lies within the change of fines that matters, "
        "`fewer_fines`, `more_fines`, `undecided`, or why nothing can be said.",
        low=0,
        high=100,
    )
    sentence = sentence()
    from_grams = maybe(StrictFloat, "From which age of the set, in grams.")
    to_grams = maybe(StrictFloat, "To which age of the set, in grams.")
    equal_steps = limits("The break-in is equal to so many steps towards coarser")
    log_d50_change = limits("Change of ln D50 at one setting")
    fines_change = limits("Change of the fines at one setting, as a fraction")
    fines_change_at_equal_d50 = limits("Change of the fines at an equal D50, as a fraction")


class LadderSchema(Answer):
    """Three settings to measure in one sitting, in this order."""

    settings = Array(
        StrictFloat("A setting of the dial."),
        "The usual one last; empty where it, or how far to move it, is not known.",
    )
    doses_count = StrictInteger("Doses at each setting.", example=3)
    dose_grams = StrictFloat("Each dose, in grams.", example=25)
    purge_grams = maybe(
        StrictFloat, "What to grind away after each change, in grams; null: unknown."
    )
    total_grams = maybe(StrictFloat, "All of it, in grams; null: the purge is unknown.")
    sentence = sentence()


class GradedCheckpointSchema(Answer):
    """A checkpoint as the calibration sees it."""

    checkpoint_id = Text(
        "The checkpoint.", pattern=CHECKPOINT_ID, attribute="checkpoint.checkpoint_id"
    )
    grinder_id = grinder_id("Where it was ground.", attribute="checkpoint.grinder_id")
    ground_at = Instant("When.", attribute="checkpoint.ground_at")
    session_id = maybe(
        Text, "The sitting it was measured in.", high=200, attribute="checkpoint.session_id"
    )
    setting = maybe(StrictFloat, "The grind setting.", attribute="checkpoint.setting")
    burr_grams = maybe(
        StrictFloat, "Grams through the set by then.", attribute="checkpoint.burr_grams"
    )
    coffee_lot = maybe(Text, "Which coffee.", high=200, attribute="checkpoint.coffee_lot")
    pooled = Inner(PooledSizesSchema, "Its doses together.", attribute="checkpoint.pooled")
    is_used = StrictBoolean("Whether it is part of the fit.")
    left_out = Array(fields.Nested(SaidSchema), "Why it, or some value of it, is left out.")


class CalibrationSchema(Answer):
    """How the dial of a grinder moves its grind, with all it rests on.

    Intervals are two-sided 95 %; null is what is not known.
    """

    grinder_id = grinder_id("The grinder.")
    burr_set_id = maybe(burr_set_id, "The set that is in; null: none is recorded.")
    as_of = Instant("The instant this answer is for.")
    verdict = Text(
        "`calibrated`, or why not: `no_checkpoints`, `setting_unrecorded`, `too_few_checkpoints`, "
        "`one_setting_only`, `no_replicates`, `setting_confounded`, `slope_unclear`, "
        "`no_burr_set`.",
        low=0,
        high=100,
    )
    sentence = sentence()
    burr_grams = maybe(StrictFloat, "Grams through the set at which the settings are told.")
    setting = maybe(StrictFloat, "The setting of the latest checkpoint used.")
    zero_setting = maybe(StrictFloat, "Where the burrs touch, as last recorded.")
    setting_step = maybe(
        StrictFloat,
        "One step of the dial; null: not recorded, a step then means one unit.",
        attribute="step_setting",
    )
    coarser = maybe(Choice, "The direction of the dial, by the plate.", COARSER)
    grind = Inner(GrindSlopeSchema, "What a step does to the grind.")
    flow = Inner(FlowSlopeSchema, "What a step does to the flow.")
    reference = maybe(Inner, ReferenceSchema, "What is to be brought back; null: nothing known.")
    redials = Array(fields.Nested(RedialSchema), "How to turn the dial, by response.")
    break_in_shift = Inner(ShiftSchema, "Whether the break-in made it better, or only coarser.")
    ladder = maybe(Inner, LadderSchema, "What to measure; null: nothing is missing.")
    checkpoints: Any = Array(
        fields.Nested(GradedCheckpointSchema), "Of this set, in the order of time."
    )
    cautions = Array(fields.Nested(SaidSchema), "What to heed.")
