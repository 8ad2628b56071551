"""Operations that answer how grinders are doing."""

from __future__ import annotations

from ..actions import report
from ..core.errors import FutureInstant, InstantArchived
from .operation import Operation
from .schemas_runs import AsOfSchema
from .schemas_status import FleetFilterSchema, StatusPageSchema, StatusSchema

TAG = "Status"
STATUS = {
    "grinder_id": "bar-1",
    "site_id": "mill-lane",
    "name": "Bar left",
    "as_of": "2026-07-06T09:10:00.000Z",
    "throughput": {
        "burr_set_id": "flat-64-a",
        "burr_grams": 2411.6,
        "total_burr_grams": 2411.6,
        "burr_run_count": 133,
        "burr_estimated_grams": 0.0,
        "grinder_grams": 2411.6,
        "grinder_estimated_grams": 0.0,
        "grinder_run_seconds": 981.2,
        "motor_run_seconds": 981.2,
        "today_grams": 582.4,
        "today_estimated_grams": 0.0,
        "last_run_at": "2026-07-06T09:08:41.000Z",
    },
    "duty": {
        "state": "ok",
        "on_seconds": 7.4,
        "cycle_seconds": 120.0,
        "rated_on_seconds": 30.0,
        "low_fraction": 0.0617,
        "high_fraction": 0.0617,
        "coverage_fraction": 1.0,
        "ready_at": "2026-07-06T09:10:00.000Z",
    },
    "motor": {
        "state": "ok",
        "reading_celsius": 41.5,
        "read_at": "2026-07-06T09:08:48.400Z",
        "sensor": "housing",
        "caution_celsius": 60.0,
        "limit_celsius": 75.0,
        "model": "identified",
        "estimate_celsius": 41.2,
        "low_celsius": 40.1,
        "high_celsius": 42.4,
        "seconds_to_limit": 711.4,
        "rest_seconds": 0.0,
    },
    "break_in": {
        "stage": "breaking_in",
        "basis": "expected",
        "verdict": "within_expected_kilograms",
        "sentence": (
            "2.4 kg are through the burrs; by a rule of thumb 6.9 kg are enough for most "
            "64 mm flat burrs."
        ),
        "burr_grams": 2411.6,
        "low_remaining_grams": 0.0,
        "remaining_grams": None,
        "high_remaining_grams": 6007.0,
        "next_checkpoint_grams": 6880.6,
    },
    "alerts": [],
}

OPERATIONS = (
    Operation(
        name="get_status",
        method="GET",
        path="/v1/grinders/<grinder_id>/status",
        tag=TAG,
        summary="How a grinder is doing",
        description=(
            "Kilograms, duty against the plate, the motor's latest reading against its limit with "
            "an estimate for now, and the break-in stage: measured where there are checkpoints, "
            "else by expectation. With `as_of`: the state at that instant, from every fact known "
            "now."
        ),
        act=report.get_status,
        scope="read",
        query=AsOfSchema,
        gives=StatusSchema,
        refuses=(FutureInstant, InstantArchived),
        gives_example=STATUS,
    ),
    Operation(
        name="get_fleet",
        method="GET",
        path="/v1/fleet",
        tag=TAG,
        summary="How all grinders are doing",
        description="The status of every grinder this key may see, in the order of their ids.",
        act=report.get_fleet,
        scope="read",
        query=FleetFilterSchema,
        gives=StatusPageSchema,
        is_list=True,
        gives_example={"items": [STATUS], "next_cursor": None},
    ),
)
