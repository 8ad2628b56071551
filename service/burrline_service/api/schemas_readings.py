"""Shapes of readings: temperatures, and motors that run now."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from marshmallow import ValidationError, fields

from ..core.records import HIGHEST_CELSIUS, LOWEST_CELSIUS, TIME_SOURCES
from .batches import Lines
from .fields import (
    Array,
    Choice,
    Instant,
    StrictBoolean,
    StrictFloat,
    StrictInteger,
    Text,
    nullable,
)
from .operation import READING_ID
from .schemas_common import (
    Answer,
    Body,
    FaultSchema,
    Paging,
    cursor_of_next,
    grinder_id,
    items_of,
)
from .schemas_times import TIMES_ALONE, age, boot_id, check_times, given, uptime

TOLD = ("motor_celsius", "ambient_celsius", "is_running")


def _celsius(description: str, example: float) -> Any:
    return nullable(
        StrictFloat, description, low=LOWEST_CELSIUS, high=HIGHEST_CELSIUS, example=example
    )


# At least one thing is read; at most one time is told.
_NEW_READING_RULES: Mapping[str, Any] = {
    "not": {
        "anyOf": [
            {"properties": {name: {"type": "null"} for name in TOLD}},
            given(at="string", age_seconds="number"),
            given(at="string", uptime_seconds="number"),
            *TIMES_ALONE,
        ]
    }
}


class NewReadingSchema(Body):
    """One reading: at least one of `motor_celsius`, `ambient_celsius` and `is_running`.

    When it was read is told by one of `at`, `age_seconds` and (for a device without a clock)
    `uptime_seconds`, or by none: then it was read now. A member that is null counts as left out.
    """

    document = _NEW_READING_RULES

    grinder_id = grinder_id("The grinder that was read.", required=True)
    reading_id = nullable(
        Text,
        "The reading's id, chosen by the device, used once for ever; without it, grinder, source "
        "and instant tell readings apart.",
        pattern=READING_ID,
        example="bar-1-t-0007-004512",
    )
    at = nullable(Instant, "When it was read.")
    age_seconds = age("it was read", "at")
    boot_id = boot_id()
    uptime_seconds = uptime("it was read")
    motor_celsius = _celsius("The motor's sensor, in degrees Celsius.", 47.5)
    ambient_celsius = _celsius("The room, in degrees Celsius.", 22)
    is_running = nullable(StrictBoolean, "Whether the motor runs at this instant.")
    run_id = nullable(
        Text,
        "The run it was read during, where the device knows: that run, once sent, closes the open "
        "one.",
        pattern=READING_ID,
        example="bar-1-0007-000123",
    )
    source = nullable(
        Text, "Which device read it, in your own words.", high=100, example="probe-left"
    )

    def load(self, data: Any, **kwargs: Any) -> Any:
        """Load, then look at the members together."""
        loaded = super().load(data, **kwargs)
        if all(loaded.get(name) is None for name in TOLD):
            raise ValidationError({"_schema": [f"needs at least one of {', '.join(TOLD)}"]})
        check_times(loaded, "at")
        return loaded


class ReadingBatchSchema(Body):
    """Readings in any order, of any grinders; a bad line never blocks a good one."""

    readings = Lines(NewReadingSchema, "readings")


class ReadingsToAddSchema(NewReadingSchema):
    """One reading, or a batch of them."""

    document = MappingProxyType({"one_of": (NewReadingSchema, ReadingBatchSchema)})

    def load(self, data: Any, **kwargs: Any) -> Any:
        if isinstance(data, Mapping) and "readings" in data:
            return ReadingBatchSchema().load(data, **kwargs)
        return super().load(data, **kwargs)


class ReadingProblemSchema(Answer):
    """A reading that was not recorded, and why."""

    index = StrictInteger("Its place in `readings`, from 0.")
    reading_id = nullable(fields.String, metadata={"description": "Its id, where readable."})
    outcome = Choice(
        "`conflict`: the id was used before with other content. `rejected`: see `errors`.",
        ("conflict", "rejected"),
    )
    errors = Array(fields.Nested(FaultSchema), "What is wrong with it; pointers from the body.")


class ReadingBatchOutcomeSchema(Answer):
    """What became of the readings: the counts add up to `received`."""

    received = StrictInteger("Readings in the request. Compare it with what you sent.")
    accepted = StrictInteger("Readings recorded now.")
    duplicates = StrictInteger("Readings recorded before.")
    conflicts = StrictInteger("Readings whose id has other content.")
    rejected = StrictInteger("Readings refused.")
    problems = Array(fields.Nested(ReadingProblemSchema), "Every conflict and refusal.")


class ReadingSchema(Answer):
    """A recorded reading."""

    reading_id = Text(
        "The reading's id: yours, or the one made of grinder, source and instant.",
        pattern=READING_ID,
        example="bar-1-t-0007-004512",
        attribute="reading.reading_id",
    )
    grinder_id = grinder_id("The grinder that was read.", attribute="reading.grinder_id")
    at = Instant("When it was read.", attribute="reading.at")
    motor_celsius = nullable(
        StrictFloat, "The motor's sensor, in degrees Celsius.", attribute="reading.motor_celsius"
    )
    ambient_celsius = nullable(
        StrictFloat, "The room, in degrees Celsius.", attribute="reading.ambient_celsius"
    )
    is_running = nullable(
        StrictBoolean, "Whether the motor ran at that instant.", attribute="reading.is_running"
    )
    run_id = nullable(Text, "The run it was read during.", attribute="reading.run_id")
    source = nullable(Text, "Which device read it.", high=100, attribute="reading.source")
    time_source = Choice(
        "How `at` is known: the `device` said it (or read it as it sent it), from its `age` or "
        "`uptime`, or time of receipt (`received`).",
        TIME_SOURCES,
    )
    received_at = Instant("When burrline recorded it.")
    voided_at = nullable(Instant, "When it was voided; null: it was not.", example=None)


class ReadingPageSchema(Answer):
    """One page of readings."""

    items = items_of(ReadingSchema, "readings")
    next_cursor = cursor_of_next()


class ReadingFilterSchema(Paging):
    from_at = Instant("Only readings read at or after this instant.", data_key="from")
    to_at = Instant("Only readings read before this instant.", data_key="to")
