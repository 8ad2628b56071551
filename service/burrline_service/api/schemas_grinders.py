"""Shapes of grinders and their plates."""

from __future__ import annotations

from typing import Any

from marshmallow import Schema, fields

from ..core.records import (
    COARSER,
    DUTY_KINDS,
    FANS,
    HIGHEST_CELSIUS,
    LOWEST_CELSIUS,
    SENSORS,
    THERMAL_CLASSES,
)
from .fields import Array, Choice, Inner, Instant, StrictFloat, StrictInteger, Text, nullable
from .schemas_common import (
    Answer,
    Body,
    Paging,
    created_at,
    cursor_of_next,
    grinder_id,
    items_of,
    name_of,
    site_id,
)

LONGEST_CYCLE_SECONDS = 86_400
LARGEST_SETTING = 100_000


_KIND = "The duty type (IEC 60034-1): `continuous` (S1), `short_time` (S2) or `intermittent` (S3)."


class RatedDutyChangeSchema(Body):
    """A merge patch of the rated duty."""

    kind = Choice(_KIND, DUTY_KINDS)
    on_seconds = nullable(
        StrictFloat,
        "The longest on-time, in seconds: at once (S2) or within one cycle (S3).",
        above=0,
        high=LONGEST_CYCLE_SECONDS,
        example=30,
    )
    cycle_seconds = nullable(
        StrictFloat,
        "The length of one cycle, in seconds; 600 where an S3 plate names none.",
        above=0,
        high=LONGEST_CYCLE_SECONDS,
        example=120,
    )
    duty_fraction = nullable(
        StrictFloat,
        "On-time as a fraction of the cycle (a plate's 25 % is 0.25), instead of `on_seconds`.",
        above=0,
        high=1,
        example=0.25,
    )


class RatedDutyInputSchema(RatedDutyChangeSchema):
    """The rated duty off the plate or manual; left out, the grinder is unrated."""

    kind = Choice(_KIND, DUTY_KINDS, required=True)


class RatedDutySchema(Answer):
    """The rated duty off the plate or manual."""

    kind = Choice(_KIND, DUTY_KINDS)
    on_seconds = nullable(StrictFloat, "The longest on-time, in seconds.")
    cycle_seconds = nullable(StrictFloat, "The length of one cycle, in seconds.")
    duty_fraction = nullable(StrictFloat, "On-time as a fraction of the cycle, 0 to 1.")


class MotorInputSchema(Body):
    """What is known of the motor."""

    rated_watts = nullable(
        StrictFloat, "Rated power, in watts.", above=0, high=100_000, example=350
    )
    thermal_class = nullable(
        StrictInteger,
        "Thermal class of the insulation (IEC 60085), in degrees Celsius.",
        choices=THERMAL_CLASSES,
    )
    sensor = nullable(
        Choice, "Where the temperature sensor sits: `winding`, `housing`, or `none`.", SENSORS
    )
    caution_celsius = nullable(
        StrictFloat,
        "From here on the motor counts as warm, in degrees Celsius, at the sensor.",
        low=LOWEST_CELSIUS,
        high=HIGHEST_CELSIUS,
        example=60,
    )
    limit_celsius = nullable(
        StrictFloat,
        "From here on it is over its limit, in degrees Celsius, at the sensor.",
        low=LOWEST_CELSIUS,
        high=HIGHEST_CELSIUS,
        example=75,
    )
    fan = nullable(Choice, "What drives the fan: `shaft`, `separate`, or `none`.", FANS)


class MotorSchema(Answer):
    """What is known of the motor."""

    rated_watts = nullable(StrictFloat, "Rated power, in watts.")
    thermal_class = nullable(
        StrictInteger, "Thermal class of the insulation (IEC 60085), in degrees Celsius."
    )
    sensor = nullable(Choice, "Where the temperature sensor sits.", SENSORS)
    caution_celsius = nullable(StrictFloat, "Warm from here on, in degrees Celsius.")
    limit_celsius = nullable(StrictFloat, "Over the limit from here on, in degrees Celsius.")
    fan = nullable(Choice, "What drives the fan.", FANS)


class GrindInputSchema(Body):
    """How the grind is set on this machine; settings are in its own scale."""

    setting_step = nullable(
        StrictFloat,
        "The smallest step, in units of the setting.",
        above=0,
        high=LARGEST_SETTING,
        example=0.1,
    )
    low_setting = nullable(
        StrictFloat, "The lowest setting.", low=-LARGEST_SETTING, high=LARGEST_SETTING, example=0
    )
    high_setting = nullable(
        StrictFloat, "The highest setting.", low=-LARGEST_SETTING, high=LARGEST_SETTING, example=12
    )
    coarser = nullable(Choice, "Which way the grind gets coarser.", COARSER)
    expected_grams_per_second = nullable(
        StrictFloat,
        "The usual flow, in grams per second; it fills in what a run leaves out.",
        above=0,
        high=1000,
        example=2.4,
    )


class GrindSchema(Answer):
    """How the grind is set on this machine; settings are in its own scale."""

    setting_step = nullable(StrictFloat, "The smallest step, in units of the setting.")
    low_setting = nullable(StrictFloat, "The lowest setting.")
    high_setting = nullable(StrictFloat, "The highest setting.")
    coarser = nullable(Choice, "Which way the grind gets coarser.", COARSER)
    expected_grams_per_second = nullable(StrictFloat, "The usual flow, in grams per second.")


def _model() -> Any:
    return nullable(Text, "The maker's model name.", high=200, example="Trial 64")


def _serial() -> Any:
    return nullable(Text, "The serial number off the plate.", high=200, example="T64-00412")


def _hopper() -> Any:
    return nullable(
        StrictFloat, "What the hopper holds, in grams.", above=0, high=1_000_000, example=1200
    )


def _retained() -> Any:
    return nullable(
        StrictFloat,
        "What stays in the grinder between runs, in grams: after a change of setting or coffee so "
        "much comes out old.",
        low=0,
        high=10_000,
        example=2.5,
    )


def _retired() -> Any:
    return nullable(Instant, "When the grinder went out of use for good.", example=None)


_OUT_FROM = "From when on it was out of service."
_OUT_TO = "Until when; null or absent: it still is."


class SpanInputSchema(Body):
    """A stretch of time, half-open."""

    from_at = Instant(_OUT_FROM, data_key="from", attribute="from", required=True)
    to_at = nullable(Instant, _OUT_TO, data_key="to", attribute="to", example=None)


class SpanSchema(Answer):
    """A stretch of time, half-open."""

    from_at = Instant(_OUT_FROM, data_key="from")
    to_at = nullable(Instant, _OUT_TO, data_key="to", example=None)


def _out_of_service(span: type[Schema], **kwargs: Any) -> Any:
    return Array(
        fields.Nested(span, error_messages={"type": "must be an object"}),
        "When it was out of service (broken, away, put aside): no runs are missed then.",
        high=500,
        **kwargs,
    )


class NewGrinderSchema(Body):
    """A grinder and its nameplate; what the plate does not say is left out."""

    grinder_id = grinder_id(required=True)
    site_id = site_id("The site it stands at.", required=True)
    name = name_of("grinder", "Bar left", required=True)
    model = _model()
    serial = _serial()
    rated_duty = nullable(Inner, RatedDutyInputSchema, "The rated duty; null or absent: unrated.")
    motor = nullable(Inner, MotorInputSchema, "The motor.")
    grind = nullable(Inner, GrindInputSchema, "The grind setting.")
    hopper_grams = _hopper()
    retained_grams = _retained()
    retired_at = _retired()
    out_of_service = _out_of_service(SpanInputSchema, allow_none=True)


class GrinderChangeSchema(Body):
    """A merge patch of a grinder: null takes a member away, inner objects are merged.

    `out_of_service` is replaced whole.
    """

    site_id = site_id("The site it stands at.")
    name = name_of("grinder", "Bar left")
    model = _model()
    serial = _serial()
    rated_duty = nullable(Inner, RatedDutyChangeSchema, "The rated duty.")
    motor = nullable(Inner, MotorInputSchema, "The motor.")
    grind = nullable(Inner, GrindInputSchema, "The grind setting.")
    hopper_grams = _hopper()
    retained_grams = _retained()
    retired_at = _retired()
    out_of_service = _out_of_service(SpanInputSchema, allow_none=True)
    effective_at = Instant("From when on the change holds; without it, from now on.")


class GrinderSchema(Answer):
    """A grinder with what its plate says."""

    grinder_id = grinder_id()
    site_id = site_id("The site it stands at.")
    name = name_of("grinder", "Bar left")
    model = _model()
    serial = _serial()
    rated_duty = nullable(Inner, RatedDutySchema, "The rated duty; null: unrated.")
    motor = nullable(Inner, MotorSchema, "The motor.")
    grind = nullable(Inner, GrindSchema, "The grind setting.")
    hopper_grams = nullable(StrictFloat, "What the hopper holds, in grams.")
    retained_grams = nullable(StrictFloat, "What stays in it between runs, in grams.")
    retired_at = _retired()
    out_of_service = _out_of_service(SpanSchema)
    created_at = created_at("grinder")


class GrinderPageSchema(Answer):
    """One page of grinders."""

    items = items_of(GrinderSchema, "grinders")
    next_cursor = cursor_of_next()


class GrinderFilterSchema(Paging):
    site_id = site_id("Only what stands at this site.")
