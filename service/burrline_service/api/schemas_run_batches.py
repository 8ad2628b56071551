"""Shapes of batches of runs and of what became of them."""

from __future__ import annotations

from types import MappingProxyType
from typing import Any

from marshmallow import ValidationError, fields

from .batches import Lines
from .fields import Array, Choice, Instant, StrictInteger, nullable
from .schemas_common import Answer, Body, FaultSchema, grinder_id
from .schemas_runs import NewRunSchema

LARGEST_WATCHED_COUNT = 500


class RunBatchSchema(Body):
    """Runs in any order, of any grinders; a bad line never blocks a good one."""

    document = MappingProxyType(
        {
            "dependentRequired": {
                "watched_from": ["watched_until"],
                "watched_until": ["watched_from"],
                "watched_grinder_ids": ["watched_from"],
            }
        }
    )

    runs = Lines(NewRunSchema, "runs")
    watched_from_at = Instant(
        "From here on the sender watched the grinders: what it does not report did not happen.",
        data_key="watched_from",
        example="2026-07-06T05:00:00Z",
    )
    watched_until_at = Instant(
        "Up to here it watched. Neither stands without the other.",
        data_key="watched_until",
        example="2026-07-06T09:00:00Z",
    )
    watched_grinder_ids = Array(
        grinder_id("A grinder that was watched."),
        "Which grinders were watched; without it, those of these runs.",
        high=LARGEST_WATCHED_COUNT,
        is_unique=True,
    )

    def load(self, data: Any, **kwargs: Any) -> Any:
        """Load, then hold the ends of the watched time against each other."""
        loaded = super().load(data, **kwargs)
        from_at, until_at = loaded.get("watched_from_at"), loaded.get("watched_until_at")
        if "watched_grinder_ids" in loaded and from_at is None:
            raise ValidationError({"watched_from": ["is required beside watched_grinder_ids"]})
        if (from_at is None) != (until_at is None):
            missing = "watched_from" if from_at is None else "watched_until"
            raise ValidationError({missing: ["is required beside the other end"]})
        if from_at is not None and not from_at < until_at:
            raise ValidationError({"watched_until": ["must be later than watched_from"]})
        return loaded


class BatchProblemSchema(Answer):
    """A line that was not recorded, and why."""

    index = StrictInteger("The line's place in `runs`, from 0.")
    run_id = nullable(fields.String, metadata={"description": "Its run id, where readable."})
    outcome = Choice(
        "`conflict`: the id was used before with other content. `rejected`: see `errors`.",
        ("conflict", "rejected"),
    )
    errors = Array(fields.Nested(FaultSchema), "What is wrong with it; pointers from the body.")


class RunBatchOutcomeSchema(Answer):
    """What became of a batch: the counts add up to `received`."""

    received = StrictInteger("Lines in the batch. Compare it with what you sent.")
    accepted = StrictInteger("Lines recorded now.")
    duplicates = StrictInteger("Lines recorded before.")
    conflicts = StrictInteger("Lines whose run id has other content.")
    rejected = StrictInteger("Lines refused.")
    problems = Array(fields.Nested(BatchProblemSchema), "Every conflict and refusal.")
