"""Operations that answer over a stretch of time: throughput and alerts."""

from __future__ import annotations

from ..actions import alerting, history
from ..core.errors import FutureInstant, InstantArchived, NotFound
from .operation import Operation
from .schemas_over_time import (
    AlertFilterSchema,
    AlertPageSchema,
    HistorySchema,
    ThroughputQuerySchema,
)

HISTORY = {
    "grinder_id": "bar-1",
    "time_zone": "Europe/Lisbon",
    "by": "day",
    "as_of": "2026-07-06T09:10:00.000Z",
    "buckets": [
        {
            "from": "2026-07-05T23:00:00.000Z",
            "to": "2026-07-06T23:00:00.000Z",
            "grams": 582.4,
            "estimated_grams": 0.0,
            "cleaning_grams": 0.0,
            "run_count": 32,
            "run_seconds": 236.8,
            "grams_by_purpose": {"service": 564.4, "dial_in": 18.0},
            "open_seconds": 11400.0,
            "covered_seconds": 11400.0,
        }
    ],
}
ALERT = {
    "kind": "motor_overheat",
    "severity": "alert",
    "grinder_id": "bar-1",
    "site_id": "mill-lane",
    "opened_at": "2026-07-06T08:40:12.000Z",
    "closed_at": "2026-07-06T08:58:30.000Z",
    "facts": {"peak_celsius": 79.5, "limit_celsius": 75.0},
}

OPERATIONS = (
    Operation(
        name="get_throughput",
        method="GET",
        path="/v1/grinders/<grinder_id>/throughput",
        tag="Status",
        summary="What went through a grinder hour by hour, day by day or week by week",
        description=(
            "Exact sums by the clock of the site's time zone, at most 1000 buckets; weeks begin "
            "on Monday. Tallies accumulate evenly over their stretch of time. A run counts "
            "where it began, a moved clock put right. Where single runs are archived, a bucket "
            "that begins amid an hour (UTC) counts from the next full one on."
        ),
        act=history.get_throughput,
        scope="read",
        query=ThroughputQuerySchema,
        gives=HistorySchema,
        refuses=(FutureInstant, InstantArchived),
        gives_example=HISTORY,
    ),
    Operation(
        name="list_alerts",
        method="GET",
        path="/v1/alerts",
        tag="Alerts",
        summary="What held for the motors of this key's grinders, the latest first",
        description=(
            "`motor_overheat`: from a reading at or over the limit until one 5 K below it, or 15 "
            "minutes without a reading. `motor_heating`: a forecast, made after runs and readings, "
            "that with the use of late the limit is likely to be reached within 10 minutes; only "
            "where the readings tell how the motor warms. `duty_exceeded`: while the known on-time "
            "of the trailing cycle is over the plate's rating, until it is at nine tenths of it. "
            "`long_run`: a run "
            "past 10 minutes, until its end. An overheated motor may have a thermal cut-out that "
            "lets it start again by itself: unplug it before touching it, and never switch it on "
            "from afar."
        ),
        act=alerting.list_alerts,
        scope="read",
        query=AlertFilterSchema,
        gives=AlertPageSchema,
        is_list=True,
        refuses=(FutureInstant, NotFound),
        gives_example={"items": [ALERT], "next_cursor": None},
    ),
)
