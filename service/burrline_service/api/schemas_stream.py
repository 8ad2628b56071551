"""What ordinary runs tell of the flow, as it is written in JSON."""

from __future__ import annotations

from marshmallow import fields

from .fields import Array, Instant, StrictFloat, StrictInteger, Text
from .fields import nullable as maybe
from .schemas_common import Answer, SaidSchema
from .schemas_limits import limits


class RunsLeftOutSchema(Answer):
    """Runs that tell nothing of the flow."""

    code = fields.String(metadata={"description": "Why, for a program."})
    run_count = StrictInteger("How many runs.")
    sentence = fields.String(metadata={"description": "The same for a person."})


class StreamSchema(Answer):
    """What ordinary runs tell of the flow at one setting, by the end of the last closed day.

    Inferred, never measured: it decides the stage only where no checkpoint does. Changes are of ln
    flow: 0.03 is 3 %.
    """

    verdict = Text(
        "`flow_steadied`, `not_steady`, `undecided` or `steady_so_far` (until three closes of a "
        "day in a row say so); or why nothing can be told: `setting_confounded`, "
        "`setting_unrecorded`, `feed_unrecorded`, `no_evidence`, `too_few_sessions`, "
        "`too_little_span`, `too_few_repeats`, `too_many_changes`.",
        low=0,
        high=100,
    )
    sentence = Text("The same for a person.", low=0, high=1000)
    next = Text("What to do next.", low=0, high=1000)
    steadied_at = maybe(
        Instant, "The end of the last hour with runs of the day that told it; null: not told."
    )
    steadied_grams = maybe(StrictFloat, "Grams through the set by then.")
    setting = maybe(
        StrictFloat,
        "The setting the flow is told at: that of most runs of the last day, as the dial reads "
        "now; null: unknown, also after a seating whose zero nobody told.",
    )
    grams_per_second = limits(
        "The flow by the end of the last closed day at that setting, in grams per second"
    )
    settled_grams_per_second = limits("The flow it approaches there, in grams per second")
    tau_grams = limits("How fast the change fades, in grams")
    least_to_come_ratio = maybe(
        StrictFloat,
        "At least so much of ln flow is still to come, either way (one-sided 97.5 %, tau up to 30 "
        "kg).",
    )
    most_to_come_ratio = maybe(
        StrictFloat,
        "At most so much of ln flow is still to come, either way (one-sided 97.5 %, tau up to 30 "
        "kg); null: open.",
    )
    smallest_change_ratio = maybe(
        StrictFloat, "The smallest change of ln flow that matters: steady means less is to come."
    )
    log_flow_per_setting = limits("Change of ln flow per unit of the dial, upwards")
    grams_per_second_per_step = limits(
        "Change of the flow per step of the dial towards coarser (one unit where the step is not "
        "recorded), in grams per second"
    )
    session_count = StrictInteger("Days with runs that count.")
    run_count = StrictInteger("Runs that count.")
    from_grams = maybe(StrictFloat, "Grams through the set at the first of them.")
    at_grams = maybe(StrictFloat, "Grams through the set at the end of the last closed day.")
    cautions = Array(fields.Nested(SaidSchema), "What to heed.")
    left_out = Array(
        fields.Nested(RunsLeftOutSchema), "Runs that do not count, by reason; today's, too."
    )
