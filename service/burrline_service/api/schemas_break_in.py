"""Shape of the break-in answer: verdict, fit, forecast, checkpoints, curve."""

from __future__ import annotations

from typing import Any

from marshmallow import fields

from ..core.entered import MEASURING_METHODS
from .fields import Array, Choice, Inner, Instant, StrictBoolean, StrictFloat, StrictInteger, Text
from .fields import nullable as maybe
from .operation import CHECKPOINT_ID
from .schemas_common import Answer, LimitsSchema, SaidSchema, burr_set_id, grinder_id
from .schemas_grind import PooledSizesSchema
from .schemas_status import BASES, STAGES
from .schemas_stream import StreamSchema

RESPONSES = ("d50", "fines")


def _limits(description: str) -> Any:
    return Inner(LimitsSchema, f"{description}; two-sided 95 % limits.")


class ResponseFitSchema(Answer):
    """What the checkpoints tell of one response, in the unit its place is named for.

    All null while it was not measured; the limits are null while there is no fit.
    """

    is_judged = StrictBoolean("Whether this response is part of the verdict.")
    start = _limits("Its level at the first checkpoint")
    settled = _limits("The level it approaches")
    remaining = _limits("The change still to come after the last checkpoint, signed")
    change = _limits("The whole change since the first checkpoint, signed")
    least_to_come = maybe(
        StrictFloat,
        "At least so much is still to come, either way (one-sided 95 %, tau up to 30 kg).",
        attribute="least_to_come_response",
    )
    most_to_come = maybe(
        StrictFloat,
        "At most so much is still to come, either way (one-sided 95 %, tau up to 30 kg).",
        attribute="most_to_come_response",
    )
    smallest_change = maybe(
        StrictFloat,
        "The smallest change that matters: settled means that less is to come.",
        attribute="smallest_change_response",
    )
    sitting_sd = maybe(
        StrictFloat,
        "Standard deviation between whole sittings of measuring.",
        attribute="sitting_sd_response",
    )
    sitting_basis = maybe(
        Choice, "What told `sitting_sd`.", ("control", "settled_checkpoints", "default")
    )
    dose_sd = maybe(
        StrictFloat,
        "Standard deviation between the doses of one checkpoint, pooled over all of them.",
        attribute="dose_sd_response",
    )


class FitSchema(Answer):
    """The curve `y(m) = settled + (start - settled) exp(-m / tau)` through the checkpoints.

    `m` counts from the first checkpoint.
    """

    tau_grams = _limits("How fast the change fades, in grams")
    settles_at_grams = _limits(
        "When less than the smallest change that matters is left, in grams through the set"
    )
    d50_micrometres = Inner(ResponseFitSchema, "The median size, in micrometres.")
    fines_fraction = Inner(ResponseFitSchema, "The fines, as a fraction.")


class PriorSchema(Answer):
    """What is believed of such burrs before this set is measured."""

    class_name = fields.String(metadata={"description": "Which burrs, in the plural."})
    measured_set_count = StrictInteger(
        "On how many other measured sets of this `burr_model` in the account it rests, whichever "
        "grinders they are in; 0: it is a rule of thumb for shape and size."
    )
    tau_grams = _limits("How fast such burrs settle, in grams")
    enough_grams = StrictFloat("Grams that are enough for 95 of 100 such sets.", example=18100)


class ForecastSchema(Answer):
    """What is expected from prior and checkpoints together; it never enters the verdict."""

    prior = Inner(PriorSchema, "What is believed before measuring.")
    checkpoint_count = StrictInteger(
        "On how many checkpoints it rests besides; 0: the prior alone."
    )
    response = maybe(Choice, "Which response was used; null: none.", RESPONSES)
    tau_grams = _limits("How fast the change fades, in grams")
    settles_at_grams = _limits("When it settles, in grams through the set")
    remaining_grams = _limits("How much is left until then, in grams")
    settled_probability = maybe(
        StrictFloat, "How likely it has settled by now, 0 to 1; null: nothing measured."
    )
    is_prior_conflict = StrictBoolean(
        "These burrs change farther, or at another pace, than their class: mind the fit instead."
    )


class DifferenceSchema(Answer):
    """A difference with its two-sided 95 % limits, in the response's unit."""

    change = StrictFloat("This less the one before.", attribute="change_response")
    low = maybe(StrictFloat, "The lower limit; null: scatter unknown.", attribute="low_response")
    high = maybe(StrictFloat, "The upper limit; null: scatter unknown.", attribute="high_response")
    verdict = Choice(
        "`no_change_shown` proves nothing about the change still to come.",
        ("rose", "fell", "no_change_shown", "scatter_unknown"),
    )


class ComparedSchema(Answer):
    """What changed since the checkpoint before."""

    response = Choice("D50 in micrometres, or fines as a fraction.", RESPONSES)
    before_checkpoint_id = Text("The checkpoint before.", pattern=CHECKPOINT_ID)
    difference = maybe(Inner, DifferenceSchema, "How far; null: see `reason`.")
    reason = maybe(Inner, SaidSchema, "Why the two cannot be compared; null: they can.")
    sentence = fields.String(metadata={"description": "The same for a person."})


class MeasuredCheckpointSchema(Answer):
    """A checkpoint as the verdict sees it."""

    checkpoint_id = Text(
        "The checkpoint.", pattern=CHECKPOINT_ID, attribute="checkpoint.checkpoint_id"
    )
    grinder_id = grinder_id("Where it was ground.", attribute="checkpoint.grinder_id")
    ground_at = Instant("When.", attribute="checkpoint.ground_at")
    burr_grams = maybe(
        StrictFloat,
        "Grams through the set by then; null: unknown.",
        attribute="checkpoint.burr_grams",
    )
    burr_grams_basis = maybe(
        Choice,
        "`given` with the checkpoint, or counted from `runs`.",
        ("given", "runs"),
        attribute="checkpoint.burr_grams_basis",
    )
    method = Choice("How it was measured.", MEASURING_METHODS, attribute="checkpoint.method")
    setting = maybe(StrictFloat, "The grind setting.", attribute="checkpoint.setting")
    coffee_lot = maybe(Text, "Which coffee.", high=200, attribute="checkpoint.coffee_lot")
    pooled = Inner(PooledSizesSchema, "Its doses together.", attribute="checkpoint.pooled")
    is_joined = StrictBoolean("Whether it is part of the curve.")
    left_out = Array(fields.Nested(SaidSchema), "Why it, or some value of it, is left out.")
    compared = Array(fields.Nested(ComparedSchema), "Beside the one before, by response.")


class CurvePointSchema(Answer):
    """A point of the curve with its band."""

    burr_grams = StrictFloat("Grams through the set.")
    low = maybe(StrictFloat, "Lower edge of the band, two-sided 95 %.", attribute="low_response")
    best = maybe(StrictFloat, "The curve.", attribute="best_response")
    high = maybe(StrictFloat, "Upper edge of the band, two-sided 95 %.", attribute="high_response")


class CurveSchema(Answer):
    """The fitted curve for drawing, at the level of the latest coffee and seating."""

    d50_micrometres = Array(fields.Nested(CurvePointSchema), "Empty without a fit of it.")
    fines_fraction = Array(fields.Nested(CurvePointSchema), "Empty without a fit of it.")


class StageChangeSchema(Answer):
    """The stage became another one."""

    at = Instant("When the doses that told it were ground.")
    from_stage = maybe(Choice, "What it was; null at the first.", STAGES)
    to_stage = Choice("What it became.", STAGES)
    basis = Choice("What that rests on.", BASES)
    verdict = Text("The reason, as a code.", low=0, high=100)
    burr_grams = maybe(StrictFloat, "Grams through the set then.")


class BreakInAnswerSchema(Answer):
    """How far the burr set in a grinder has broken in, with all it rests on.

    Intervals are two-sided 95 % where nothing else is said; null is what is not known.
    """

    grinder_id = grinder_id("The grinder.")
    burr_set_id = maybe(burr_set_id, "The set that is in; null: none is recorded.")
    as_of = Instant("The instant this answer is for.")
    stage = Choice(
        "`settled` is never said without a measurement or, `inferred`, a flow that has steadied.",
        STAGES,
    )
    basis = Choice("What the stage rests on.", BASES)
    verdict = Text("The reason, as a code.", low=0, high=100)
    sentence = Text("The same for a person.", low=0, high=1000)
    findings = Array(
        fields.String(metadata={"description": "A code."}),
        "Every code that holds for the checkpoints, not only the one of the verdict.",
    )
    settled_at = maybe(
        Instant, "When the doses that proved it settled were ground; null: it is not proven."
    )
    burr_grams = maybe(StrictFloat, "Grams through the set since tracking began.")
    total_burr_grams = maybe(
        StrictFloat, "The same and what went through before, in grams; null where unknown."
    )
    low_remaining_grams = maybe(
        StrictFloat,
        "Lower limit of what is left, in grams: of the fit where it has both limits, else of the "
        "forecast unless the checkpoints contradict it; null: unknown.",
    )
    remaining_grams = maybe(
        StrictFloat,
        "Likeliest of what is left, in grams; 0 only once measured as settled; null: unknown.",
    )
    high_remaining_grams = maybe(
        StrictFloat,
        "Upper limit of it, in grams; 0 only once measured as settled; null: unknown.",
    )
    next_checkpoint_grams = maybe(
        StrictFloat,
        "At so many grams through the set the next checkpoint decides most; null: none needed.",
    )
    rated_life_grams = maybe(StrictFloat, "What the set is rated for, in grams; null: not told.")
    fit = Inner(FitSchema, "What the checkpoints tell, without any prior.")
    forecast = maybe(Inner, ForecastSchema, "What is expected; null without a burr set.")
    checkpoints = Array(
        fields.Nested(MeasuredCheckpointSchema), "Of this set, in the order of time."
    )
    curve = Inner(CurveSchema, "The fitted curve.")
    cautions = Array(fields.Nested(SaidSchema), "What to heed.")
    changes = Array(
        fields.Nested(StageChangeSchema), "When measurements changed the stage, in order."
    )
    stream = maybe(
        Inner, StreamSchema, "What ordinary runs tell of the flow; null without a burr set."
    )
