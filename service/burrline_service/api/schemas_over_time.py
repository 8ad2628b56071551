"""Shapes of what is asked over a stretch of time: throughput and alerts."""

from __future__ import annotations

from typing import get_args, get_type_hints

from marshmallow import fields

from ..core.answers import Alert
from .fields import Array, Choice, Instant, StrictFloat, StrictInteger, Text, nullable
from .schemas_common import Answer, Paging, Query, cursor_of_next, grinder_id, items_of, site_id

SPANS = ("hour", "day", "week")
ALERT_KINDS = ("motor_overheat", "motor_heating", "duty_exceeded", "long_run")
SEVERITIES = get_args(get_type_hints(Alert)["severity"])


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


class AlertFilterSchema(Paging):
    grinder_id = grinder_id("Only this grinder.")
    site_id = site_id("Only what stands at this site.")
    kind = Choice("Only alerts of this kind.", ALERT_KINDS)
    state = Choice("Only open or only closed ones; without it, both.", ("open", "closed"))
    from_at = Instant(
        "Only what still held at or after this instant; without it, 7 days back. At most 92 days.",
        data_key="from",
    )
    to_at = Instant("Only what opened at or before this instant; without it, now.", data_key="to")
    as_of = Instant("The past instant to answer for; without it, now.")


class AlertSchema(Answer):
    """A condition of a grinder's motor, from when until when it held.

    Alerts follow from the runs, the readings and the plate of their time alone, so one that is
    told of late appears where it belongs.
    """

    kind = Choice("What held.", ALERT_KINDS)
    severity = Choice("How much it matters.", SEVERITIES)
    grinder_id = grinder_id("The grinder.")
    site_id = site_id("The site it stands at.")
    opened_at = Instant("When it began.")
    closed_at = nullable(Instant, "When it ended; null while it lasts.")
    facts = fields.Dict(
        keys=fields.String(),
        values=fields.Float(allow_none=True),
        metadata={
            "description": (
                "The numbers behind it: `peak_celsius` and `limit_celsius`; `lead_seconds`, "
                "`limit_celsius` and `reach_probability`; `peak_on_seconds`, `rated_on_seconds` "
                "and `cycle_seconds`; `run_seconds` and `longest_run_seconds`."
            )
        },
    )


class AlertPageSchema(Answer):
    """One page of alerts."""

    items = items_of(AlertSchema, "alerts")
    next_cursor = cursor_of_next()


class OpenAlertSchema(Answer):
    """An alert that is open at the instant of a status."""

    kind = Choice("What holds.", ALERT_KINDS)
    severity = Choice("How much it matters.", SEVERITIES)
    opened_at = Instant("Since when.")
