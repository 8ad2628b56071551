"""Operations on the grind: samples summed up, checkpoints of a burr set."""

from __future__ import annotations

from ..actions import checkpoints
from ..core.errors import AlreadyExists, SampleRefused
from . import schemas_checkpoints as shapes
from .checkpoint_examples import (
    CHECKPOINT,
    CHECKPOINT_WITH_SAMPLES,
    NEW_CHECKPOINT,
    SAMPLE,
    SUMMARY,
)
from .entries import ONCE
from .entry_examples import VOIDED_AT
from .operation import Link, Operation
from .schemas_entries import EntryFilterSchema
from .schemas_grind import SampleSummarySchema, SampleToSummarizeSchema

TAG = "Grind"

OPERATIONS = (
    Operation(
        name="summarize_sample",
        method="POST",
        path="/v1/grind-samples/summary",
        tag=TAG,
        summary="Sum up one grind sample",
        description=(
            "Percentiles, span, fines, modes, mean sizes and fitted laws of one distribution; "
            "nothing is kept. What the distribution cannot tell is null, with the reason. A table "
            "that could be read in two ways is refused, never guessed at."
        ),
        act=checkpoints.summarize_sample,
        scope="read",
        takes=SampleToSummarizeSchema,
        gives=SampleSummarySchema,
        refuses=(SampleRefused,),
        takes_example=SAMPLE,
        gives_example=SUMMARY,
    ),
    Operation(
        name="add_checkpoint",
        method="POST",
        path="/v1/grinders/<grinder_id>/checkpoints",
        tag=TAG,
        summary="Record a checkpoint",
        description=(
            "The grind of the burr set at one moment of its life, measured in doses ground one "
            "after another at one setting: three of 25 g, each ground cool, make a good one. "
            "`ground_at` decides the kilograms, which are counted from the runs unless you know "
            "better; a checkpoint adds none. The same checkpoint again is once."
        ),
        act=checkpoints.add_checkpoint,
        scope="care:write",
        takes=shapes.NewCheckpointSchema,
        gives=shapes.CheckpointWithSamplesSchema,
        status=201,
        tells_new=True,
        statuses=ONCE,
        refuses=(AlreadyExists, SampleRefused),
        is_replayable=True,
        links=(
            Link("get_checkpoint", {"checkpoint_id": "$response.body#/checkpoint_id"}),
            Link("void_checkpoint", {"checkpoint_id": "$response.body#/checkpoint_id"}),
        ),
        takes_example=NEW_CHECKPOINT,
        gives_example=CHECKPOINT_WITH_SAMPLES,
    ),
    Operation(
        name="list_checkpoints",
        method="GET",
        path="/v1/grinders/<grinder_id>/checkpoints",
        tag=TAG,
        summary="List a grinder's checkpoints",
        description=(
            "Every checkpoint, voided ones marked, in the order of `ground_at`, without their "
            "distributions."
        ),
        act=checkpoints.list_checkpoints,
        scope="read",
        query=EntryFilterSchema,
        gives=shapes.CheckpointPageSchema,
        is_list=True,
        gives_example={"items": [CHECKPOINT], "next_cursor": None},
    ),
    Operation(
        name="get_checkpoint",
        method="GET",
        path="/v1/checkpoints/<checkpoint_id>",
        tag=TAG,
        summary="Read a checkpoint",
        description="The checkpoint with every distribution as it was sent.",
        act=checkpoints.get_checkpoint,
        scope="read",
        gives=shapes.CheckpointWithSamplesSchema,
        gives_example=CHECKPOINT_WITH_SAMPLES,
    ),
    Operation(
        name="void_checkpoint",
        method="POST",
        path="/v1/checkpoints/<checkpoint_id>/void",
        tag=TAG,
        summary="Void a checkpoint",
        description=(
            "As if it had never been measured. It stays readable, marked. Voiding it again "
            "changes nothing. There is no body."
        ),
        act=checkpoints.void_checkpoint,
        scope="care:write",
        gives=shapes.CheckpointWithSamplesSchema,
        gives_example={**CHECKPOINT_WITH_SAMPLES, "voided_at": VOIDED_AT},
    ),
)
