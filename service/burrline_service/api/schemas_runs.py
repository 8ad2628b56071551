"""Shapes of runs: as sent, one by one, and as read back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from marshmallow import ValidationError, fields

from ..core.records import (
    BREW_METHODS,
    FEEDS,
    GRAMS_BASES,
    HIGHEST_CELSIUS,
    LARGEST_RUN_GRAMS,
    LONGEST_RUN_SECONDS,
    LOWEST_CELSIUS,
    PURPOSES,
    TIME_SOURCES,
)
from .fields import Array, Choice, Inner, Instant, StrictFloat, Text, nullable
from .schemas_common import (
    Answer,
    Body,
    Paging,
    Query,
    cursor_of_next,
    grinder_id,
    items_of,
    run_id,
)
from .schemas_times import TIMES_ALONE, age, boot_id, check_times, given, uptime

BASIS = (
    "Where `grams` comes from: `weighed_out` (ground coffee), `weighed_in` (beans), `target` "
    "(what was asked of the machine) or `estimated`."
)
FEED = "How the beans came: `hopper` or `single_dose`."
FILLED = ("setting", "coffee_lot", "rpm", "purpose", "feed")
COUNTED = ("grams", "seconds")
PURPOSE = "What the run was for; `cleaning` counts as motor time, its material not as coffee."


def celsius(description: str, example: float) -> Any:
    return nullable(
        StrictFloat, description, low=LOWEST_CELSIUS, high=HIGHEST_CELSIUS, example=example
    )


class BrewInputSchema(Body):
    """The drink made from this run."""

    method = Choice("How it was brewed.", BREW_METHODS, required=True)
    seconds = nullable(StrictFloat, "Contact time, in seconds.", low=0, high=604_800, example=27.5)
    beverage_grams = nullable(
        StrictFloat, "The drink's mass, in grams.", low=0, high=100_000, example=37.1
    )
    water_grams = nullable(
        StrictFloat, "The water poured, in grams.", low=0, high=100_000, example=260
    )
    tds_fraction = nullable(
        StrictFloat,
        "Dissolved solids as a fraction of the drink's mass (9.1 % is 0.091).",
        low=0,
        high=1,
        example=0.091,
    )


class BrewSchema(Answer):
    """The drink made from this run."""

    method = Choice("How it was brewed.", BREW_METHODS)
    seconds = nullable(StrictFloat, "Contact time, in seconds.")
    beverage_grams = nullable(StrictFloat, "The drink's mass, in grams.")
    water_grams = nullable(StrictFloat, "The water poured, in grams.")
    tds_fraction = nullable(StrictFloat, "Dissolved solids as a fraction of the drink's mass.")


# At least one of seconds and grams; at most one time.
_NEW_RUN_RULES: Mapping[str, Any] = {
    "not": {
        "anyOf": [
            {"properties": {"seconds": {"type": "null"}, "grams": {"type": "null"}}},
            given(started_at="string", age_seconds="number"),
            given(started_at="string", uptime_seconds="number"),
            *TIMES_ALONE,
        ]
    }
}


class NewRunSchema(Body):
    """One stretch of motor-on: at least one of `seconds` and `grams`.

    When it started is told by one of `started_at`, `age_seconds` and (for a device without a
    clock) `uptime_seconds`, or by none: then it is the time of receipt. A member that is null
    counts as left out.
    """

    document = _NEW_RUN_RULES

    run_id = run_id(
        "The run's id, chosen by the device, used once for ever. The same id with the same "
        "content again is a duplicate and changes nothing.",
        required=True,
    )
    grinder_id = grinder_id("The grinder that ran.", required=True)
    started_at = nullable(Instant, "When the motor started.")
    age_seconds = age("the motor started", "started_at")
    boot_id = boot_id()
    uptime_seconds = uptime("the motor started")
    seconds = nullable(
        StrictFloat, "Motor-on time, in seconds.", low=0, high=LONGEST_RUN_SECONDS, example=7.4
    )
    grams = nullable(StrictFloat, "Coffee, in grams.", low=0, high=LARGEST_RUN_GRAMS, example=18.2)
    grams_basis = Choice(BASIS, GRAMS_BASES, metadata={"default": "weighed_out"})
    feed = nullable(Choice, FEED, FEEDS)
    energy_joules = nullable(
        StrictFloat, "Electrical energy taken, in joules.", low=0, high=1_000_000_000, example=2100
    )
    setting = nullable(
        StrictFloat,
        "The grind setting, in the machine's own scale.",
        low=-100_000,
        high=100_000,
        example=5,
    )
    rpm = nullable(
        StrictFloat, "Burr speed, in revolutions per minute.", low=0, high=100_000, example=1400
    )
    motor_celsius = celsius("The motor's sensor at the run's end, in degrees Celsius.", 41.5)
    ambient_celsius = celsius("The room, in degrees Celsius.", 22)
    purpose = nullable(
        Choice,
        f"{PURPOSE} Left out: what a period says, else `service`.",
        PURPOSES,
    )
    coffee_lot = nullable(Text, "Which coffee, in your own words.", high=200, example="lot-0712")
    brew = nullable(Inner, BrewInputSchema, "The drink made from it.")
    source = nullable(
        Text, "Which device measured it, in your own words.", high=100, example="scale-left"
    )

    def load(self, data: Any, **kwargs: Any) -> Any:
        """Load, then look at the members together (plainer and quicker than a hook)."""
        loaded = super().load(data, **kwargs)
        if loaded.get("seconds") is None and loaded.get("grams") is None:
            raise ValidationError({"_schema": ["needs at least one of seconds and grams"]})
        check_times(loaded, "started_at")
        return loaded


class FindingSchema(Answer):
    """Something implausible about a run; it counts all the same."""

    code = fields.String(metadata={"description": "Which finding."})
    detail = fields.String(metadata={"description": "The finding, for a person."})


class RunOutcomeSchema(Answer):
    """What became of a sent run."""

    run_id = run_id("The run's id.")
    outcome = Choice(
        "`accepted`: recorded now. `duplicate`: recorded before, nothing changed.",
        ("accepted", "duplicate"),
    )
    findings = Array(fields.Nested(FindingSchema), "What looks implausible about it.")


class RunSchema(Answer):
    """A recorded run: its numbers as kept, and what burrline added."""

    run_id = run_id("The run's id.", attribute="run.run_id")
    grinder_id = grinder_id("The grinder that ran.", attribute="run.grinder_id")
    started_at = Instant(
        "When the motor started, corrections in force taken in.", attribute="run.started_at"
    )
    seconds = nullable(StrictFloat, "Motor-on time, in seconds.", attribute="run.seconds")
    grams = nullable(
        StrictFloat, "Coffee, in grams, corrections in force taken in.", attribute="run.grams"
    )
    grams_basis = Choice(BASIS, GRAMS_BASES, attribute="run.grams_basis")
    feed = nullable(Choice, FEED, FEEDS, attribute="run.feed")
    energy_joules = nullable(
        StrictFloat, "Electrical energy taken, in joules.", attribute="run.energy_joules"
    )
    setting = nullable(
        StrictFloat, "The grind setting, in the machine's own scale.", attribute="run.setting"
    )
    rpm = nullable(StrictFloat, "Burr speed, in revolutions per minute.", attribute="run.rpm")
    motor_celsius = nullable(
        StrictFloat,
        "The motor's sensor at the run's end, in degrees Celsius.",
        attribute="run.motor_celsius",
    )
    ambient_celsius = nullable(
        StrictFloat, "The room, in degrees Celsius.", attribute="run.ambient_celsius"
    )
    purpose = Choice(PURPOSE, PURPOSES, attribute="run.purpose")
    coffee_lot = nullable(
        Text, "Which coffee, in your own words.", high=200, attribute="run.coffee_lot"
    )
    brew = nullable(Inner, BrewSchema, "The drink made from it.", attribute="run.brew")
    source = nullable(Text, "Which device measured it.", high=100, attribute="run.source")
    time_source = Choice(
        "How `started_at` is known: the `device` said it, from its `age` or `uptime`, or time of "
        "receipt (`received`).",
        TIME_SOURCES,
    )
    received_at = Instant("When burrline recorded it.")
    findings = Array(fields.Nested(FindingSchema), "What looks implausible about it.")
    voided_at = nullable(Instant, "When it was voided; null: it was not.", example=None)
    raw_started_at = nullable(
        Instant, "The start as sent, where a correction changed it.", example=None
    )
    raw_grams = nullable(StrictFloat, "Coffee as sent, in grams, where a correction changed it.")
    correction_ids = Array(fields.String(), "The corrections in force that take hold of this run.")
    from_period = Array(
        Choice("A member.", FILLED), "Which members the run left out and a period filled in."
    )
    counts = Array(
        Choice("A sum.", COUNTED),
        "What of it counts: nothing of a voided run; where two devices reported one grind, grams "
        "of the one and seconds of one.",
    )


class RunPageSchema(Answer):
    """One page of runs."""

    items = items_of(RunSchema, "runs")
    next_cursor = cursor_of_next()


class RunFilterSchema(Paging):
    from_at = Instant("Only runs that started at or after this instant.", data_key="from")
    to_at = Instant("Only runs that started before this instant.", data_key="to")
    format = Choice(
        "`json` pages, or every run as lines of `csv` or `ndjson`; without it, what `Accept` "
        "asks for.",
        ("json", "csv", "ndjson"),
    )


class AsOfSchema(Query):
    as_of = Instant("The past instant to answer for; without it, now.")
