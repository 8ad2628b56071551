"""Shapes of sites and their opening hours."""

from __future__ import annotations

from typing import Any

from marshmallow import EXCLUDE

from .fields import Array, Day, Inner, Instant, Text, nullable
from .schemas_common import (
    Answer,
    Body,
    created_at,
    cursor_of_next,
    items_of,
    name_of,
    site_id,
)

CLOCK_TIME = "(?:[01][0-9]|2[0-3]):[0-5][0-9]"
OPENING_HOURS = (
    "Local opening hours by day of the week: a day left out is a closed one. Null or absent: "
    "always open."
)
MOST_CLOSED_DAYS = 2000


def _hours(day: str) -> Any:
    return nullable(
        Array,
        Array(
            Text("A local time.", pattern=CLOCK_TIME, example="07:00"),
            "When it opens and when it closes. A closing time not after the opening is of the next "
            "day: from 00:00 to 00:00 is the whole day.",
            low=2,
            high=2,
        ),
        f"Opening hours of {day}.",
        high=12,
    )


class OpeningHoursInputSchema(Body):
    """Local opening hours by day of the week; a day left out or null is a closed one."""

    mon = _hours("Monday")
    tue = _hours("Tuesday")
    wed = _hours("Wednesday")
    thu = _hours("Thursday")
    fri = _hours("Friday")
    sat = _hours("Saturday")
    sun = _hours("Sunday")


class OpeningHoursSchema(OpeningHoursInputSchema):
    """Local opening hours by day of the week; a day left out is a closed one."""

    class Meta:
        unknown = EXCLUDE


def closed_days(**kwargs: Any) -> Any:
    return Array(
        Day("A local date."),
        "Local dates on which it does not open.",
        high=MOST_CLOSED_DAYS,
        **kwargs,
    )


def _time_zone(**kwargs: Any) -> Text:
    return Text(
        "The site's time zone by its IANA name; days begin at its midnight.",
        high=64,
        pattern="[A-Za-z0-9_+-]+(?:/[A-Za-z0-9_+-]+)*",
        example="Europe/Oslo",
        **kwargs,
    )


class NewSiteSchema(Body):
    """A site: a café, a roastery, a lab."""

    site_id = site_id(required=True)
    name = name_of("site", "Mill Lane", required=True)
    time_zone = _time_zone(required=True)
    opening_hours = nullable(Inner, OpeningHoursInputSchema, OPENING_HOURS)
    closed_days = closed_days(allow_none=True)


class SiteChangeSchema(Body):
    """A merge patch of a site: null takes a member away; `closed_days` is replaced whole."""

    name = name_of("site", "Mill Lane")
    time_zone = _time_zone()
    opening_hours = nullable(Inner, OpeningHoursInputSchema, OPENING_HOURS)
    closed_days = closed_days(allow_none=True)
    effective_at = Instant("From when on the change holds; without it, from now on.")


class SiteSchema(Answer):
    """A site: a café, a roastery, a lab."""

    site_id = site_id()
    name = name_of("site", "Mill Lane")
    time_zone = _time_zone()
    opening_hours = nullable(Inner, OpeningHoursSchema, OPENING_HOURS)
    closed_days = closed_days()
    created_at = created_at("site")


class SitePageSchema(Answer):
    """One page of sites."""

    items = items_of(SiteSchema, "sites")
    next_cursor = cursor_of_next()
