"""Operations on burr sets."""

from __future__ import annotations

from ..actions import burrs
from ..core.errors import AlreadyExists, FittingsOverlap, NotFound, OutOfReach, PeriodArchived
from .operation import JSON, MERGE_PATCH, Link, Operation
from .schemas_burr_sets import (
    BurrSetChangeSchema,
    BurrSetPageSchema,
    BurrSetSchema,
    BurrSetToFitSchema,
)
from .schemas_common import Paging

TAG = "Burr sets"
BURR_SET = {
    "burr_set_id": "flat-64-a",
    "geometry": "flat",
    "diameter_millimetres": 64.0,
    "burr_model": "Trial 64 F",
    "serial": None,
    "material": "hardened steel",
    "coating": None,
    "pre_treated": "none",
    "prior_grams": 0.0,
    "low_prior_grams": None,
    "high_prior_grams": None,
    "rated_life_grams": 400000.0,
    "fittings": [
        {
            "grinder_id": "bar-1",
            "fitted_at": "2026-07-01T06:30:00.000Z",
            "removed_at": None,
            "is_removal_implied": False,
        }
    ],
    "created_at": "2026-07-01T06:31:05.230Z",
    "voided_at": None,
}
NEW_BURR_SET = {
    "burr_set_id": "flat-64-a",
    "geometry": "flat",
    "diameter_millimetres": 64,
    "burr_model": "Trial 64 F",
    "material": "hardened steel",
    "pre_treated": "none",
    "prior_grams": 0,
    "rated_life_grams": 400000,
    "fitted_at": "2026-07-01T06:30:00Z",
}
MENDED_FITTING = {
    "grinder_id": "bar-1",
    "fitted_at": "2026-06-30T18:00:00Z",
    "removed_at": None,
}

OPERATIONS = (
    Operation(
        name="fit_burr_set",
        method="POST",
        path="/v1/grinders/<grinder_id>/burr-sets",
        tag=TAG,
        summary="Fit a burr set",
        description=(
            "A new set by its description, or a recorded one by its id alone. It closes the stay "
            "of the set that was in before. Kilograms count from `fitted_at` on, and follow the "
            "set when it moves."
        ),
        act=burrs.fit_burr_set,
        scope="manage",
        takes=BurrSetToFitSchema,
        gives=BurrSetSchema,
        status=201,
        refuses=(NotFound, AlreadyExists, FittingsOverlap, PeriodArchived),
        is_replayable=True,
        has_etag=True,
        location="/v1/burr-sets/<burr_set_id>",
        links=tuple(
            Link(name, {"burr_set_id": "$response.body#/burr_set_id"})
            for name in ("get_burr_set", "update_burr_set", "void_burr_set")
        ),
        takes_examples={
            "new": NEW_BURR_SET,
            "recorded": {"burr_set_id": "flat-64-a", "fitted_at": "2026-09-14T05:45:00Z"},
        },
        gives_example=BURR_SET,
    ),
    Operation(
        name="list_burr_sets",
        method="GET",
        path="/v1/grinders/<grinder_id>/burr-sets",
        tag=TAG,
        summary="List a grinder's burr sets",
        description="Every set that was ever in this grinder, the latest fitted first.",
        act=burrs.list_burr_sets,
        scope="read",
        query=Paging,
        gives=BurrSetPageSchema,
        is_list=True,
        gives_example={"items": [BURR_SET], "next_cursor": None},
    ),
    Operation(
        name="get_burr_set",
        method="GET",
        path="/v1/burr-sets/<burr_set_id>",
        tag=TAG,
        summary="Read a burr set",
        description=(
            "One set and where it has been, with its revision as ETag. A key bound to sites or "
            "grinders sees the stays in its own grinders alone."
        ),
        act=burrs.get_burr_set,
        scope="read",
        gives=BurrSetSchema,
        has_etag=True,
        gives_example=BURR_SET,
    ),
    Operation(
        name="update_burr_set",
        method="PATCH",
        path="/v1/burr-sets/<burr_set_id>",
        tag=TAG,
        summary="Mend a burr set",
        description=(
            "A merge patch (RFC 7396) on the revision named by If-Match. `fittings` replaces the "
            "whole list: a wrong date is mended there, and the runs follow by themselves. Only a "
            "key that reaches every grinder the set was in may replace it."
        ),
        act=burrs.update_burr_set,
        scope="manage",
        takes=BurrSetChangeSchema,
        takes_media=(MERGE_PATCH, JSON),
        gives=BurrSetSchema,
        refuses=(FittingsOverlap, OutOfReach, PeriodArchived),
        needs_if_match=True,
        has_etag=True,
        takes_example={"fittings": [MENDED_FITTING]},
        gives_example={
            **BURR_SET,
            "fittings": [
                {
                    **MENDED_FITTING,
                    "fitted_at": "2026-06-30T18:00:00.000Z",
                    "is_removal_implied": False,
                }
            ],
        },
    ),
    Operation(
        name="void_burr_set",
        method="POST",
        path="/v1/burr-sets/<burr_set_id>/void",
        tag=TAG,
        summary="Void a burr set",
        description=(
            "Take a set entered by mistake out of every answer: the set before it is in until the "
            "one after it. It stays readable, marked. Voiding it again changes nothing. Only a "
            "key that reaches every grinder the set was in may void it. There is no body."
        ),
        act=burrs.void_burr_set,
        scope="manage",
        gives=BurrSetSchema,
        refuses=(OutOfReach,),
        has_etag=True,
        gives_example={**BURR_SET, "voided_at": "2026-07-06T09:05:00.000Z"},
    ),
)
