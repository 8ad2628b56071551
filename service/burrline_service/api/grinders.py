"""Operations on grinders."""

from __future__ import annotations

from ..actions import places
from ..core.errors import AlreadyExists, OutOfReach
from .operation import JSON, MERGE_PATCH, Link, Operation
from .schemas_grinders import (
    GrinderChangeSchema,
    GrinderFilterSchema,
    GrinderPageSchema,
    GrinderSchema,
    NewGrinderSchema,
)

TAG = "Grinders"
NEW_GRINDER = {
    "grinder_id": "bar-1",
    "site_id": "mill-lane",
    "name": "Bar left",
    "model": "Trial 64",
    "serial": "T64-00412",
    "rated_duty": {"kind": "intermittent", "on_seconds": 30, "cycle_seconds": 120},
    "motor": {"rated_watts": 350, "sensor": "housing", "caution_celsius": 60, "limit_celsius": 75},
    "grind": {"setting_step": 0.1, "coarser": "higher", "expected_grams_per_second": 2.4},
    "hopper_grams": 1200,
    "retained_grams": 2.5,
}
GRINDER = {
    "grinder_id": "bar-1",
    "site_id": "mill-lane",
    "name": "Bar left",
    "model": "Trial 64",
    "serial": "T64-00412",
    "rated_duty": {
        "kind": "intermittent",
        "on_seconds": 30.0,
        "cycle_seconds": 120.0,
        "duty_fraction": None,
    },
    "motor": {
        "rated_watts": 350.0,
        "thermal_class": None,
        "sensor": "housing",
        "caution_celsius": 60.0,
        "limit_celsius": 75.0,
        "fan": None,
    },
    "grind": {
        "setting_step": 0.1,
        "low_setting": None,
        "high_setting": None,
        "coarser": "higher",
        "expected_grams_per_second": 2.4,
    },
    "hopper_grams": 1200.0,
    "retained_grams": 2.5,
    "retired_at": None,
    "out_of_service": [{"from": "2026-07-02T09:00:00.000Z", "to": "2026-07-02T15:30:00.000Z"}],
    "created_at": "2026-07-01T06:04:37.112Z",
}

OPERATIONS = (
    Operation(
        name="create_grinder",
        method="POST",
        path="/v1/grinders",
        tag=TAG,
        summary="Create a grinder",
        description=(
            "A machine at a site, with what its plate or manual says. Only what is known is "
            "given: without a rated duty it is unrated, and no limit is ever invented."
        ),
        act=places.create_grinder,
        scope="manage",
        takes=NewGrinderSchema,
        gives=GrinderSchema,
        status=201,
        refuses=(AlreadyExists, OutOfReach),
        is_replayable=True,
        has_etag=True,
        location="/v1/grinders/<grinder_id>",
        links=tuple(
            Link(name, {"grinder_id": "$response.body#/grinder_id"})
            for name in (
                "get_grinder",
                "update_grinder",
                "get_status",
                "list_runs",
                "list_readings",
                "set_period",
                "record_care",
            )
        ),
        takes_example=NEW_GRINDER,
        gives_example=GRINDER,
    ),
    Operation(
        name="list_grinders",
        method="GET",
        path="/v1/grinders",
        tag=TAG,
        summary="List grinders",
        description="The grinders this key may see, in the order of their ids.",
        act=places.list_grinders,
        scope="read",
        query=GrinderFilterSchema,
        gives=GrinderPageSchema,
        is_list=True,
        gives_example={"items": [GRINDER], "next_cursor": None},
    ),
    Operation(
        name="get_grinder",
        method="GET",
        path="/v1/grinders/<grinder_id>",
        tag=TAG,
        summary="Read a grinder",
        description="One grinder as its plate stands now, with its revision as ETag.",
        act=places.get_grinder,
        scope="read",
        gives=GrinderSchema,
        has_etag=True,
        gives_example=GRINDER,
    ),
    Operation(
        name="update_grinder",
        method="PATCH",
        path="/v1/grinders/<grinder_id>",
        tag=TAG,
        summary="Change a grinder",
        description=(
            "A merge patch (RFC 7396) on the revision named by If-Match: null takes a member "
            "away, inner objects are merged. The change holds from `effective_at` on."
        ),
        act=places.update_grinder,
        scope="manage",
        takes=GrinderChangeSchema,
        takes_media=(MERGE_PATCH, JSON),
        gives=GrinderSchema,
        refuses=(OutOfReach,),
        needs_if_match=True,
        has_etag=True,
        takes_examples={
            "plate": {"motor": {"limit_celsius": 80}, "effective_at": "2026-07-06T05:00:00Z"},
            "out_of_service": {
                "out_of_service": [{"from": "2026-07-02T09:00:00Z", "to": "2026-07-02T15:30:00Z"}]
            },
        },
        gives_example={**GRINDER, "motor": {**GRINDER["motor"], "limit_celsius": 80.0}},  # type: ignore[dict-item]
    ),
)
