"""Shapes of alerts and of the feed of what was told about them."""

from __future__ import annotations

from typing import get_args, get_type_hints

from marshmallow import fields

from ..core.alert_records import EVENT_TYPES
from ..core.alert_settings import KINDS
from ..core.answers import Alert
from .cursors import LONGEST_CURSOR
from .fields import Array, Choice, Instant, QueryInteger, StrictBoolean, Text, nullable
from .operation import ALERT_ID
from .schemas_common import Answer, Paging, Query, cursor_of_next, grinder_id, items_of, site_id

ALERT_KINDS = KINDS
SEVERITIES = get_args(get_type_hints(Alert)["severity"])
LONGEST_WAIT_SECONDS = 25


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
    """A condition of a grinder, from when until when it held.

    Alerts follow from the facts and the rules of their time alone, so one that is told of late
    appears where it belongs. Whether somebody was told stands beside: null until it was noticed,
    and in answers for a past instant.
    """

    alert_id = nullable(
        Text,
        "The alert's id, once it was noticed.",
        pattern=ALERT_ID,
        example="019857c1-4a10-7c22-9d3e-5b0c1f2e9d3a",
    )
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
                "and `cycle_seconds`; `run_seconds` and `longest_run_seconds`; `flow_fraction` of "
                "the usual flow and `run_count`; `open_seconds`; `behind_seconds`; `due_grams`; "
                "`burr_grams`; `rated_life_grams`."
            )
        },
    )
    noticed_at = nullable(Instant, "When burrline noticed it and told of it.")
    is_late = nullable(
        StrictBoolean,
        "Whether its facts came so late that nobody was called: it is recorded, no more.",
    )
    acknowledged_at = nullable(Instant, "When somebody said that they had seen it.")
    acknowledged_by = nullable(Text, "The id of the key that said so.", example="Qm3xT9Lk")


class AlertPageSchema(Answer):
    """One page of alerts."""

    items = items_of(AlertSchema, "alerts")
    next_cursor = cursor_of_next()


class OpenAlertSchema(Answer):
    """An alert that is open at the instant of a status."""

    alert_id = nullable(
        Text,
        "The alert's id, once it was noticed; null for a past instant.",
        pattern=ALERT_ID,
        example="019857c1-4a10-7c22-9d3e-5b0c1f2e9d3a",
    )
    kind = Choice("What holds.", ALERT_KINDS)
    severity = Choice("How much it matters.", SEVERITIES)
    opened_at = Instant("Since when.")


class FeedQuerySchema(Query):
    cursor = Text(
        "Where to go on: `next_cursor` of the answer before, unchanged; without it, `start`.",
        low=0,
        high=LONGEST_CURSOR,
    )
    start = Choice(
        "Where to begin without a cursor: at the `first` event there is (the default), or after "
        "the `latest`.",
        ("first", "latest"),
    )
    wait_seconds = QueryInteger(
        "How long to wait for an event when there is none, 0 to 25; 0 without it.",
        low=0,
        high=LONGEST_WAIT_SECONDS,
        example=20,
    )


class EventSchema(Answer):
    """Something that was told: an alert opened or closed, or a burr set's stage changed."""

    event_id = Text("The event's id: tell by it whether you had it before.")
    type = Choice("What it tells.", EVENT_TYPES)
    at = Instant("When it happened.")
    is_late = StrictBoolean("Whether it came too late to call anybody.")
    is_held = StrictBoolean("Whether quiet hours hold it back from those who are called.")
    data = fields.Dict(
        keys=fields.String(),
        metadata={
            "description": (
                "Of an alert: `alert_id`, `kind`, `severity`, `grinder_id`, `site_id`, "
                "`opened_at`, `closed_at`, `noticed_at`, `is_late`, `facts`, and `reason`: "
                "`withdrawn` when its facts were taken back, `joined` when it turned out to be "
                "part of another, `part` and `again` when facts told late changed what was told "
                "before; else null. Of a stage: `burr_set_id`, `grinder_id`, `site_id`, `at`, "
                "`from_stage`, `to_stage`, `basis`, `verdict`, `burr_grams`, `is_late`."
            )
        },
    )


class FeedSchema(Answer):
    """What came after a cursor, in the order in which it was told."""

    items = Array(fields.Nested(EventSchema), "The events, at most 200.")
    next_cursor = Text(
        "Send it as `cursor` for what comes next; keep it once you are done with these.",
        low=0,
        high=LONGEST_CURSOR,
    )
