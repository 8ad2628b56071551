"""Operations on sites."""

from __future__ import annotations

from ..actions import places
from ..core.errors import AlreadyExists, OutOfReach
from .operation import JSON, MERGE_PATCH, Link, Operation
from .schemas_common import Paging
from .schemas_sites import NewSiteSchema, SiteChangeSchema, SitePageSchema, SiteSchema

TAG = "Sites"
SITE = {
    "site_id": "mill-lane",
    "name": "Mill Lane",
    "time_zone": "Europe/Oslo",
    "opening_hours": {"mon": [["07:00", "19:00"]], "sat": [["09:00", "13:00"], ["14:00", "01:00"]]},
    "closed_days": ["2026-12-25"],
    "created_at": "2026-07-01T06:02:11.480Z",
}
NEW_SITE = {
    "site_id": "mill-lane",
    "name": "Mill Lane",
    "time_zone": "Europe/Oslo",
    "opening_hours": {"mon": [["07:00", "19:00"]], "sat": [["09:00", "13:00"], ["14:00", "01:00"]]},
    "closed_days": ["2026-12-25"],
}

OPERATIONS = (
    Operation(
        name="create_site",
        method="POST",
        path="/v1/sites",
        tag=TAG,
        summary="Create a site",
        description=(
            "A site is where grinders stand; its time zone decides where its days begin. Opening "
            "hours and closed days tell silence from idleness."
        ),
        act=places.create_site,
        scope="manage",
        takes=NewSiteSchema,
        gives=SiteSchema,
        status=201,
        refuses=(AlreadyExists, OutOfReach),
        is_replayable=True,
        has_etag=True,
        location="/v1/sites/<site_id>",
        links=(
            Link("get_site", {"site_id": "$response.body#/site_id"}),
            Link("update_site", {"site_id": "$response.body#/site_id"}),
        ),
        takes_example=NEW_SITE,
        gives_example=SITE,
    ),
    Operation(
        name="list_sites",
        method="GET",
        path="/v1/sites",
        tag=TAG,
        summary="List sites",
        description="The sites this key may see, in the order of their ids.",
        act=places.list_sites,
        scope="read",
        query=Paging,
        gives=SitePageSchema,
        is_list=True,
        gives_example={"items": [SITE], "next_cursor": None},
    ),
    Operation(
        name="get_site",
        method="GET",
        path="/v1/sites/<site_id>",
        tag=TAG,
        summary="Read a site",
        description="One site, with its revision as ETag.",
        act=places.get_site,
        scope="read",
        gives=SiteSchema,
        has_etag=True,
        gives_example=SITE,
    ),
    Operation(
        name="update_site",
        method="PATCH",
        path="/v1/sites/<site_id>",
        tag=TAG,
        summary="Change a site",
        description=(
            "A merge patch (RFC 7396) on the revision named by If-Match. The change holds from "
            "`effective_at` on."
        ),
        act=places.update_site,
        scope="manage",
        takes=SiteChangeSchema,
        takes_media=(MERGE_PATCH, JSON),
        gives=SiteSchema,
        needs_if_match=True,
        has_etag=True,
        takes_example={"name": "Mill Lane, upstairs"},
        gives_example={**SITE, "name": "Mill Lane, upstairs"},
    ),
)
