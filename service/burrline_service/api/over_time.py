"""Operations that answer over a stretch of time: throughput."""

from __future__ import annotations

from ..actions import history
from ..core.errors import FutureInstant, InstantArchived
from .operation import Operation
from .schemas_over_time import (
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
)
