"""Shapes of what is asked over a stretch of time: throughput."""

from __future__ import annotations

from marshmallow import fields

from .fields import Array, Choice, Instant, StrictFloat, StrictInteger, Text, nullable
from .schemas_common import Answer, Query, grinder_id

SPANS = ("hour", "day", "week")


class ThroughputQuerySchema(Query):
    by = Choice("How long a bucket is, by the clock of the site; `day` without it.", SPANS)
    from_at = Instant(
        "Where the buckets begin; without it 2 days, 30 days or 26 weeks back.", data_key="from"
    )
    to_at = Instant("Where they end; without it, now.", data_key="to")
    as_of = Instant("The past instant to answer for; without it, now.")


class BucketSchema(Answer):
    """What went through in one local hour, day or week.

    No grams while all of the open time is covered means idleness; no grams uncovered means that
    nobody knows.
    """

    from_at = Instant("Where the bucket begins.", data_key="from")
    to_at = Instant("Where it ends; a day has 23 or 25 hours when the clock shifts.", data_key="to")
    grams = StrictFloat("Coffee, in grams.")
    estimated_grams = nullable(
        StrictFloat, "What nobody weighed, beside `grams`, in grams; null: it cannot be told."
    )
    cleaning_grams = StrictFloat("Cleaning material, in grams; no coffee.")
    run_count = StrictInteger("Runs that started in it.")
    run_seconds = StrictFloat("Motor-on time of these runs, in seconds.")
    grams_by_purpose = fields.Dict(
        keys=fields.String(),
        values=fields.Float(),
        metadata={
            "description": "Grams by the purpose of the run; purposes without grams left out."
        },
    )
    open_seconds = StrictFloat("Opening hours of the site in it, up to the instant, in seconds.")
    covered_seconds = StrictFloat("How much of them is known run by run, in seconds.")


class HistorySchema(Answer):
    """A grinder's throughput over time."""

    grinder_id = grinder_id("The grinder.")
    time_zone = Text("The site's time zone, by whose clock the buckets are cut.")
    by = Choice("How long a bucket is.", SPANS)
    as_of = Instant("The instant this answer is for.")
    buckets = Array(fields.Nested(BucketSchema), "Without gaps, the earliest first.")
