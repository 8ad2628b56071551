"""Shapes of checkpoints: the grind measured at one moment of a burr set's life, in doses."""

from __future__ import annotations

from typing import Any

from marshmallow import fields

from ..core.entered import MEASURING_METHODS
from .fields import Array, Choice, Inner, Instant, StrictFloat, Text, nullable
from .operation import CHECKPOINT_ID
from .schemas_common import (
    Answer,
    Body,
    burr_set_id,
    created_at,
    cursor_of_next,
    grinder_id,
    items_of,
)
from .schemas_distributions import LARGEST_DOSE_GRAMS, DistributionSchema, fines_cut
from .schemas_entries import LARGEST_RPM
from .schemas_grind import PooledSizesSchema, SampleSizesSchema
from .schemas_grinders import LARGEST_SETTING

MOST_REPLICATES = 30
LARGEST_BURR_GRAMS = 1_000_000_000


class NewReplicateSchema(Body):
    """One dose of a checkpoint."""

    dose_grams = nullable(
        StrictFloat, "The dose, in grams.", low=0, high=LARGEST_DOSE_GRAMS, example=25.0
    )
    ground_at = nullable(
        Instant,
        "When this dose was ground, where the doses differ. The kilograms are then the mean of "
        "what was through the set at each dose.",
    )
    distribution = Inner(DistributionSchema, "Its particle sizes.", required=True)


class NewCheckpointSchema(Body):
    """The grind measured at one moment of a burr set's life, best in three doses or more."""

    checkpoint_id = Text(
        "The checkpoint's id, chosen by you, used once for ever; without it one is made.",
        pattern=CHECKPOINT_ID,
        example="flat-64-a-05kg",
    )
    ground_at = nullable(
        Instant, "When the doses were ground: it decides the kilograms. Without it, now."
    )
    measured_at = nullable(Instant, "When their sizes were measured, perhaps weeks later.")
    session_id = nullable(
        Text,
        "Samples measured in one sitting share it.",
        high=100,
        example="laser-2026-07-06",
    )
    setting = nullable(
        StrictFloat,
        "The grind setting, in the machine's own scale.",
        low=-LARGEST_SETTING,
        high=LARGEST_SETTING,
        example=5.0,
    )
    rpm = nullable(
        StrictFloat, "Burr speed, in revolutions per minute.", low=0, high=LARGEST_RPM, example=1400
    )
    burr_grams = nullable(
        StrictFloat,
        "Grams through the set by then, where you know better than the recorded runs. It counts "
        "like theirs: since tracking began, without `prior_grams`.",
        low=0,
        high=LARGEST_BURR_GRAMS,
        example=None,
    )
    method = Choice("How the sizes were measured.", MEASURING_METHODS, required=True)
    instrument_id = nullable(Text, "Which instrument.", high=100, example="laser-1")
    sieve_set_id = nullable(Text, "Which sieves: two sets never agree.", high=100)
    dispersant = nullable(Text, "What the grounds were dispersed in.", high=100)
    coffee_lot = nullable(Text, "Which coffee, in your own words.", high=200, example="lot-0712")
    fines_cut_micrometres = fines_cut()
    note = nullable(Text, "What else there is to say.", high=1000)
    replicates = Array(
        fields.Nested(NewReplicateSchema),
        "The doses, each measured by itself.",
        low=1,
        high=MOST_REPLICATES,
        required=True,
    )


class ReplicateSchema(Answer):
    """One dose of a checkpoint."""

    dose_grams = nullable(StrictFloat, "The dose, in grams.", example=25.0)
    ground_at = Instant("When it was ground.")
    sizes = Inner(SampleSizesSchema, "Its sizes.")


class ReplicateWithSampleSchema(ReplicateSchema):
    """One dose of a checkpoint, with its distribution as sent."""

    distribution = Inner(DistributionSchema, "Its particle sizes, as sent.")


class CheckpointSchema(Answer):
    """The grind measured at one moment of a burr set's life."""

    checkpoint_id = Text("The checkpoint's id.", pattern=CHECKPOINT_ID, example="flat-64-a-05kg")
    grinder_id = grinder_id("The grinder it was ground with.")
    burr_set_id = nullable(burr_set_id, "The set that was in; null: none is recorded.")
    ground_at = Instant("When the doses were ground.")
    measured_at = nullable(Instant, "When their sizes were measured.")
    session_id = nullable(Text, "Samples measured in one sitting share it.", high=100)
    setting = nullable(StrictFloat, "The grind setting, in the machine's own scale.", example=5.0)
    rpm = nullable(StrictFloat, "Burr speed, in revolutions per minute.", example=1400)
    burr_grams = nullable(
        StrictFloat,
        "Grams through the set by `ground_at`, of runs begun before it; the mean over the doses "
        "where they differ. Worked out whenever it is asked for, so a late run moves it. Null: no "
        "set is recorded, or a dose was ground while another one was in.",
        example=5012.4,
    )
    burr_grams_basis = nullable(
        Choice, "`given` with the checkpoint, or counted from `runs`.", ("given", "runs")
    )
    method = Choice("How the sizes were measured.", MEASURING_METHODS)
    instrument_id = nullable(Text, "Which instrument.", high=100)
    sieve_set_id = nullable(Text, "Which sieves.", high=100)
    dispersant = nullable(Text, "What the grounds were dispersed in.", high=100)
    coffee_lot = nullable(Text, "Which coffee, in your own words.", high=200, example="lot-0712")
    note = nullable(Text, "What else there is to say.", high=1000)
    fines_cut_micrometres = StrictFloat("What fines are finer than, in micrometres.", example=100)
    replicates = Array(fields.Nested(ReplicateSchema), "The doses.")
    pooled = Inner(PooledSizesSchema, "The doses together.")
    created_at = created_at("checkpoint")
    voided_at = nullable(Instant, "When it was voided; null: it counts.", example=None)


class CheckpointWithSamplesSchema(CheckpointSchema):
    """A checkpoint with every distribution as it was sent."""

    replicates: Any = Array(fields.Nested(ReplicateWithSampleSchema), "The doses, as sent.")


class CheckpointPageSchema(Answer):
    """One page of checkpoints, without their distributions."""

    items = items_of(CheckpointSchema, "checkpoints")
    next_cursor = cursor_of_next()
