"""Shapes of runs, single and in batches."""

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
from .fields import Array, Choice, Inner, Instant, StrictFloat, StrictInteger, Text, nullable
from .schemas_common import (
    Answer,
    Body,
    FaultSchema,
    Paging,
    Query,
    cursor_of_next,
    grinder_id,
    items_of,
    run_id,
)

LARGEST_BATCH_COUNT = 5000
OLDEST_AGE_SECONDS = 400 * 86_400

_BASIS = (
    "Where `grams` comes from: `weighed_out` (ground coffee), `weighed_in` (beans), `target` "
    "(what was asked of the machine) or `estimated`."
)
_FEED = "How the beans came: `hopper` or `single_dose`."
_PURPOSE = "What the run was for; `cleaning` counts as motor time, its material not as coffee."


def _celsius(description: str, example: float) -> Any:
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


# At least one of seconds and grams; never both started_at and age_seconds.
_NEW_RUN_RULES: Mapping[str, Any] = {
    "not": {
        "anyOf": [
            {"properties": {"seconds": {"type": "null"}, "grams": {"type": "null"}}},
            {
                "required": ["started_at", "age_seconds"],
                "properties": {
                    "started_at": {"type": "string"},
                    "age_seconds": {"type": "number"},
                },
            },
        ]
    }
}


class NewRunSchema(Body):
    """One stretch of motor-on: at least one of `seconds` and `grams`.

    When it started is told by `started_at`, or by `age_seconds` where the device has no clock,
    or by neither: then it is the time of receipt. A member that is null counts as left out.
    """

    document = _NEW_RUN_RULES

    run_id = run_id(
        "The run's id, chosen by the device, used once for ever. The same id with the same "
        "content again is a duplicate and changes nothing.",
        required=True,
    )
    grinder_id = grinder_id("The grinder that ran.", required=True)
    started_at = nullable(Instant, "When the motor started.")
    age_seconds = nullable(
        StrictFloat,
        "How long before sending the motor started, in seconds, instead of `started_at`.",
        low=0,
        high=OLDEST_AGE_SECONDS,
    )
    seconds = nullable(
        StrictFloat, "Motor-on time, in seconds.", low=0, high=LONGEST_RUN_SECONDS, example=7.4
    )
    grams = nullable(StrictFloat, "Coffee, in grams.", low=0, high=LARGEST_RUN_GRAMS, example=18.2)
    grams_basis = Choice(_BASIS, GRAMS_BASES, metadata={"default": "weighed_out"})
    feed = nullable(Choice, _FEED, FEEDS)
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
    motor_celsius = _celsius("The motor's sensor at the run's end, in degrees Celsius.", 41.5)
    ambient_celsius = _celsius("The room, in degrees Celsius.", 22)
    purpose = Choice(_PURPOSE, PURPOSES, metadata={"default": "service"})
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
        if loaded.get("started_at") is not None and loaded.get("age_seconds") is not None:
            raise ValidationError({"age_seconds": ["cannot stand beside started_at"]})
        return loaded


_LINES_MESSAGES: dict[str, Any] = {
    "required": "is required",
    "null": "must be an array",
    "invalid": "must be an array",
    "too_many": f"must have at most {LARGEST_BATCH_COUNT} lines",
}


class RunLines(fields.Field[list[Any]]):
    """The lines of a batch, unread: each is judged alone, by ``NewRunSchema``."""

    default_error_messages = _LINES_MESSAGES

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> list[Any]:
        if not isinstance(value, list):
            raise self.make_error("invalid")
        if len(value) > LARGEST_BATCH_COUNT:
            raise self.make_error("too_many")
        return value


class RunBatchSchema(Body):
    """Runs in any order, of any grinders; a bad line never blocks a good one."""

    runs = RunLines(
        required=True,
        metadata={"description": f"The runs, at most {LARGEST_BATCH_COUNT}, within 1 MiB in all."},
    )


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


class BatchProblemSchema(Answer):
    """A line that was not recorded, and why."""

    index = StrictInteger("The line's place in `runs`, from 0.")
    run_id = nullable(fields.String, metadata={"description": "Its run id, where readable."})
    outcome = Choice(
        "`conflict`: the id was used before with other content. `rejected`: see `errors`.",
        ("conflict", "rejected"),
    )
    errors = Array(fields.Nested(FaultSchema), "What is wrong with it; pointers from the body.")


class RunBatchOutcomeSchema(Answer):
    """What became of a batch: the counts add up to `received`."""

    received = StrictInteger("Lines in the batch. Compare it with what you sent.")
    accepted = StrictInteger("Lines recorded now.")
    duplicates = StrictInteger("Lines recorded before.")
    conflicts = StrictInteger("Lines whose run id has other content.")
    rejected = StrictInteger("Lines refused.")
    problems = Array(fields.Nested(BatchProblemSchema), "Every conflict and refusal.")


class RunSchema(Answer):
    """A recorded run: its numbers as kept, and what burrline added."""

    run_id = run_id("The run's id.", attribute="run.run_id")
    grinder_id = grinder_id("The grinder that ran.", attribute="run.grinder_id")
    started_at = Instant("When the motor started.", attribute="run.started_at")
    seconds = nullable(StrictFloat, "Motor-on time, in seconds.", attribute="run.seconds")
    grams = nullable(StrictFloat, "Coffee, in grams.", attribute="run.grams")
    grams_basis = Choice(_BASIS, GRAMS_BASES, attribute="run.grams_basis")
    feed = nullable(Choice, _FEED, FEEDS, attribute="run.feed")
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
    purpose = Choice(_PURPOSE, PURPOSES, attribute="run.purpose")
    coffee_lot = nullable(
        Text, "Which coffee, in your own words.", high=200, attribute="run.coffee_lot"
    )
    brew = nullable(Inner, BrewSchema, "The drink made from it.", attribute="run.brew")
    source = nullable(Text, "Which device measured it.", high=100, attribute="run.source")
    time_source = Choice(
        "How `started_at` is known: the `device` said it, from its `age`, or time of receipt "
        "(`received`).",
        TIME_SOURCES,
    )
    received_at = Instant("When burrline recorded it.")
    findings = Array(fields.Nested(FindingSchema), "What looks implausible about it.")
    voided_at = nullable(Instant, "When it was voided; null: it counts.", example=None)


class RunPageSchema(Answer):
    """One page of runs."""

    items = items_of(RunSchema, "runs")
    next_cursor = cursor_of_next()


class RunFilterSchema(Paging):
    from_at = Instant("Only runs that started at or after this instant.", data_key="from")
    to_at = Instant("Only runs that started before this instant.", data_key="to")


class AsOfSchema(Query):
    as_of = Instant("The past instant to answer for; without it, now.")
