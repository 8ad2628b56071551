"""Shape of a grinder's status: kilograms, duty, motor, break-in."""

from __future__ import annotations

from typing import get_args, get_type_hints

from marshmallow import fields

from ..core.answers import BreakIn, Duty, MotorState
from ..core.records import SENSORS
from .fields import Array, Choice, Inner, Instant, StrictFloat, StrictInteger, Text, nullable
from .schemas_alerts import OpenAlertSchema
from .schemas_common import (
    Answer,
    Paging,
    burr_set_id,
    cursor_of_next,
    grinder_id,
    items_of,
    site_id,
)


def _words(record: type, name: str) -> tuple[str, ...]:
    """The words a record's field may hold."""
    return tuple(get_args(get_type_hints(record)[name]))


DUTY_STATES = _words(Duty, "state")


class ThroughputSchema(Answer):
    """What went through; every sum is exact."""

    burr_set_id = nullable(burr_set_id, "The set that is in; null: none is recorded.")
    burr_grams = nullable(
        StrictFloat, "Coffee through this set since burrline counts, in grams.", example=48211.6
    )
    total_burr_grams = nullable(
        StrictFloat,
        "The same and what went through before, in grams; null where that is unknown.",
        example=48211.6,
    )
    burr_run_count = nullable(StrictInteger, "Runs through this set.", example=2650)
    burr_estimated_grams = nullable(
        StrictFloat,
        "What nobody weighed, beside `burr_grams`: an estimate, in grams; null: it cannot be told.",
    )
    grinder_grams = StrictFloat("Coffee through this grinder in all, in grams.")
    grinder_estimated_grams = nullable(
        StrictFloat,
        "What nobody weighed, beside `grinder_grams`: an estimate, in grams; null: it cannot be "
        "told.",
    )
    grinder_run_seconds = StrictFloat("Motor-on time in all, in seconds.")
    motor_run_seconds = StrictFloat(
        "Motor-on time since the motor was last replaced (care `motor_replaced`), in seconds; "
        "where it never was, in all."
    )
    today_grams = StrictFloat("Coffee since the site's midnight, in grams.", example=3912.4)
    today_estimated_grams = nullable(
        StrictFloat,
        "What nobody weighed, beside `today_grams`: an estimate, in grams; null: it cannot be "
        "told.",
    )
    last_run_at = nullable(Instant, "When the latest run started; null: none yet.")


class DutySchema(Answer):
    """On-time against the plate, over the cycle that ends at `as_of`."""

    state = Choice(
        "`unrated`: the plate is not recorded. `unknown`: too little is known of the cycle.",
        DUTY_STATES,
    )
    on_seconds = StrictFloat("Motor-on time within the cycle, in seconds.")
    cycle_seconds = StrictFloat("The cycle looked at, in seconds.")
    rated_on_seconds = nullable(
        StrictFloat, "The on-time the plate allows in one cycle, in seconds."
    )
    low_fraction = StrictFloat("On-time at least, as a fraction of the cycle.")
    high_fraction = StrictFloat(
        "On-time at most, as a fraction of the cycle: with estimated run times, and what is not "
        "covered taken as on."
    )
    coverage_fraction = StrictFloat("How much of the cycle is known, 0 to 1.")
    ready_at = nullable(
        Instant,
        "When the on-time is back within the rating (as_of when it is); null: not known. Of duty "
        "alone, whatever the temperature: advice, not permission.",
    )


class MotorStateSchema(Answer):
    """The latest reading against its limit, and what the temperature model makes of it."""

    state = Choice(
        "`unknown`: no reading, none of the last 15 minutes, or no limit for this sensor.",
        _words(MotorState, "state"),
    )
    reading_celsius = nullable(StrictFloat, "The latest reading, in degrees Celsius.")
    read_at = nullable(Instant, "When it was read.")
    sensor = nullable(Choice, "Where the sensor sits.", SENSORS)
    caution_celsius = nullable(StrictFloat, "Warm from here on, in degrees Celsius.")
    limit_celsius = nullable(StrictFloat, "Over the limit from here on, in degrees Celsius.")
    model = Choice(
        "How much its readings tell of it; see the motor's own answer. A motor without a sensor "
        "on its plate is looked at while it was read within 24 hours.",
        _words(MotorState, "model"),
    )
    estimate_celsius = nullable(
        StrictFloat,
        "What the sensor's body is likely at now, in degrees Celsius.",
        example=44.2,
    )
    low_celsius = nullable(StrictFloat, "Lower limit of its 90 % interval, in degrees Celsius.")
    high_celsius = nullable(StrictFloat, "Upper limit of its 90 % interval, in degrees Celsius.")
    seconds_to_limit = nullable(
        StrictFloat,
        "How long it may run on until the limit, by the careful bound, in seconds; null: not "
        "known, or it never gets there.",
    )
    rest_seconds = nullable(
        StrictFloat,
        "The rest before a run of a minute, by the careful bound, in seconds; null: not known, or "
        "no rest helps.",
    )


STAGES, BASES = _words(BreakIn, "stage"), _words(BreakIn, "basis")


class BreakInSchema(Answer):
    """The break-in stage, and what it rests on; `get_break_in` tells the rest."""

    stage = Choice(
        "`settled` is never said without a measurement or, `inferred`, a flow that has steadied: "
        "expectation ends in `undecided`.",
        STAGES,
    )
    basis = Choice(
        "`measured` by checkpoints, `inferred`, or only `expected` of such burrs.", BASES
    )
    verdict = Text("The reason, as a code.", low=0, high=100)
    sentence = Text("The same for a person.", low=0, high=1000)
    burr_grams = nullable(StrictFloat, "Grams through the set that count for it.")
    low_remaining_grams = nullable(
        StrictFloat,
        "Lower two-sided 95 % limit of what is left, in grams: by the checkpoints where they bound "
        "it, else a forecast from them and such burrs, else by a rule of thumb; null: unknown.",
    )
    remaining_grams = nullable(
        StrictFloat,
        "Likeliest of it, in grams; 0 once measured as settled; null: unknown, or passed.",
    )
    high_remaining_grams = nullable(
        StrictFloat, "Upper two-sided 95 % limit of it, in grams; null: unknown."
    )
    next_checkpoint_grams = nullable(
        StrictFloat,
        "At so many grams through the set the next checkpoint decides most; null: unknown, or "
        "none is needed.",
    )


class StatusSchema(Answer):
    """The one answer a script asks for."""

    grinder_id = grinder_id("The grinder.")
    site_id = site_id("The site it stands at.")
    name = Text("The grinder's name.", high=200, example="Bar left")
    as_of = Instant("The instant this answer is for.")
    throughput = Inner(ThroughputSchema, "What went through.")
    duty = Inner(DutySchema, "On-time against the plate.")
    motor = Inner(MotorStateSchema, "The motor's temperature.")
    break_in = Inner(BreakInSchema, "How far the burrs are broken in.")
    alerts = Array(
        fields.Nested(OpenAlertSchema),
        "What holds at that instant; `flow_low` and `clock_suspect` are told by the list of alerts "
        "and the feed alone.",
    )


class StatusPageSchema(Answer):
    """One page of statuses."""

    items = items_of(StatusSchema, "statuses")
    next_cursor = cursor_of_next()


class FleetFilterSchema(Paging):
    site_id = site_id("Only what stands at this site.")
