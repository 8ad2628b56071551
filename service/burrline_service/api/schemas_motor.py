"""Shapes of a motor's temperature model, and of whether a run may begin."""

from __future__ import annotations

import re
from typing import Any, get_args, get_type_hints

from marshmallow import fields

from ..core.motor_answers import MotorReport, RunReadiness, Segment
from ..core.records import LONGEST_RUN_SECONDS
from .fields import Array, Choice, Inner, Instant, StrictFloat, StrictInteger, Text, nullable
from .schemas_common import Answer, Query, grinder_id

DEFAULT_RUN_SECONDS = 60.0


def _words(record: type, name: str) -> tuple[str, ...]:
    """The words a record's field may hold."""
    hint = get_type_hints(record)[name]
    words: list[str] = []
    for part in get_args(hint):
        words += [part] if isinstance(part, str) else get_args(part)
    return tuple(words)


class QueryNumber(StrictFloat):
    """A number in a query: ASCII digits with at most one point, no sign, space or exponent."""

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> float:
        if type(value) is not str or re.fullmatch(r"[0-9]{1,9}(\.[0-9]{1,6})?", value) is None:
            raise self.make_error("invalid")
        return self._validated(value) + 0.0


def _run_seconds(description: str, **kwargs: Any) -> Any:
    return QueryNumber(description, above=0, high=LONGEST_RUN_SECONDS, example=120.0, **kwargs)


class MotorQuerySchema(Query):
    as_of = Instant("The past instant to answer for; without it, now.")
    run_seconds = _run_seconds(
        "The run that `rest_seconds` is asked for, in seconds; 60 without it."
    )


class ReadinessQuerySchema(Query):
    run_seconds = _run_seconds("How long the run is to last, in seconds.", required=True)
    as_of = Instant("The past instant to answer for; without it, now.")


class CautionSchema(Answer):
    """What to beware of."""

    text = Text("For a person.")
    source = Text("Who says so.")


class ParameterLimitsSchema(Answer):
    """A value with its two-sided 90 % interval, in the unit of its name."""

    low = nullable(StrictFloat, "Lower two-sided 90 % limit; null: none is known.")
    best = nullable(StrictFloat, "The best estimate; null: none is known.")
    high = nullable(StrictFloat, "Upper two-sided 90 % limit; null: none is known.")


def _parameter(description: str) -> Any:
    return nullable(
        Inner,
        ParameterLimitsSchema,
        f"{description}, with its two-sided 90 % interval; null: the readings do not tell.",
    )


class ParametersSchema(Answer):
    """The temperature model: one body, warmed while the motor runs, cooled while it rests."""

    rise_kelvin = _parameter("How far above ambient it would settle if it never stopped, in kelvin")
    heating_time_constant_seconds = _parameter("How fast it warms while it runs, in seconds")
    cooling_time_constant_seconds = _parameter("How fast it cools at rest, in seconds")
    ambient_celsius = _parameter("The air around it, in degrees Celsius")


class SegmentSchema(Answer):
    """From when on readings count; before it the motor, or its cooling, was another one."""

    started_at = nullable(Instant, "Since when; null: nothing of the kind is recorded.")
    reason = nullable(
        Choice,
        "What happened then. `plate_changed`: another serial, sensor, power, class or fan.",
        _words(Segment, "reason"),
    )


class SuspectedTripSchema(Answer):
    """Runs that stopped hot, a silence and a restart: maybe a thermal cut-out did it."""

    stopped_at = Instant("When the motor stopped.")
    restarted_at = Instant("When it ran again.")
    stopped_celsius = StrictFloat("How hot it was when it stopped, in degrees Celsius.")
    sentence = Text("What looks like a trip, for a person.")


class MotorReportSchema(Answer):
    """What the readings tell of a motor, and what follows for the next run.

    Intervals are two-sided 90 % intervals. Of the body that carries the sensor, at the load of
    the runs that were fitted; a housing stays cooler than the winding inside it.
    """

    grinder_id = grinder_id("The grinder.")
    as_of = Instant("The instant this answer is for.")
    model = Choice(
        "How much the readings tell. `insufficient`: too few, or no change of temperature. "
        "`level_only`: the level it settles at with this use, nothing else. `slope_only`: how "
        "fast it warms, not where it would end. `no_cooling`: warming alone. `identified`: all.",
        _words(MotorReport, "model"),
    )
    body = Choice("What the sensor sits on.", _words(MotorReport, "body"))
    sentence = Text("The same for a person.")
    parameters = Inner(ParametersSchema, "The model.")
    estimate_celsius = nullable(
        StrictFloat, "How hot it is at `as_of`, in degrees Celsius; null: not known."
    )
    low_celsius = nullable(
        StrictFloat, "Lower two-sided 90 % limit of it, in degrees Celsius; null: not known."
    )
    high_celsius = nullable(
        StrictFloat, "Upper two-sided 90 % limit of it, in degrees Celsius; null: not known."
    )
    reading_celsius = nullable(
        StrictFloat, "The latest reading of the last 24 hours, in degrees Celsius."
    )
    read_at = nullable(Instant, "When it was read.")
    caution_celsius = nullable(StrictFloat, "Warm from here on, in degrees Celsius.")
    limit_celsius = nullable(
        StrictFloat,
        "The limit that holds for this body, in degrees Celsius; null: none is known. A thermal "
        "class is a limit of the winding alone.",
    )
    ambient_source = nullable(
        Choice,
        "Whether the air's temperature was `measured`, `estimated` from the readings, or "
        "`assumed`; null: there is no model.",
        _words(MotorReport, "ambient_source"),
    )
    segment = Inner(SegmentSchema, "From when on readings count.")
    fitted_at = nullable(
        Instant, "The latest reading that the model knows; null: there is none to go by."
    )
    reading_count = StrictInteger("Readings in the 31 days before `fitted_at`, in this segment.")
    used_count = StrictInteger("Of them, those that the model was fitted to.")
    residual_kelvin = nullable(
        StrictFloat, "How far the readings lie from the model (robust), in kelvin."
    )
    noise_kelvin = nullable(
        StrictFloat,
        "What one reading was taken to be off by, in kelvin: at least its resolution, and 0.25; 1 "
        "with fewer than 8 readings.",
    )
    longest_run_seconds = nullable(StrictFloat, "The longest run that the model knows, in seconds.")
    valid_up_to_seconds = nullable(
        StrictFloat, "Nothing is said of runs longer than this, in seconds: 1.5 times the longest."
    )
    seconds_to_limit = nullable(
        StrictFloat,
        "How long it may run on from `as_of` before it reaches the limit, by the upper end of the "
        "estimate, in seconds; null: never as far as known, or not known.",
    )
    sustainable_duty_fraction = nullable(
        StrictFloat,
        "The fraction of time it may run for ever, in runs of `run_seconds`, without passing the "
        "limit, by the best estimate; null: not known.",
    )
    run_seconds = StrictFloat("The run that is asked about, in seconds.")
    rest_seconds = nullable(
        StrictFloat,
        "How long it has to rest before such a run stays within the limit, in seconds; null: no "
        "rest suffices, or it is not known.",
    )
    suspected_trip = nullable(
        Inner,
        SuspectedTripSchema,
        "A thermal cut-out may have stopped it; null: no sign of it, or somebody looked: the care "
        "entry `trip_checked` takes the suspicion away.",
    )
    cautions = Array(fields.Nested(CautionSchema), "What to beware of.")


class RunReadinessSchema(Answer):
    """Whether a run is within the known limits. Advice, not permission.

    burrline is no protective device: `ready` says that no known limit speaks against the run, and
    nothing of what it does not know.
    """

    grinder_id = grinder_id("The grinder.")
    as_of = Instant("The instant this answer is for.")
    run_seconds = StrictFloat("How long the run is to last, in seconds.")
    state = Choice(
        "`ready`: within every known limit now. `wait`: at `ready_at`. `never`: the run alone is "
        "longer than the limits allow. `unknown`: no limit is known, or too little to say.",
        _words(RunReadiness, "state"),
    )
    ready_at = nullable(Instant, "When it may begin (as_of when now); null: never, or not known.")
    wait_seconds = nullable(StrictFloat, "How long until then, in seconds.")
    limited_by = nullable(
        Choice,
        "What stands against it. `suspected_trip`: until somebody looked and recorded the care "
        "entry `trip_checked`. `no_limit_known`: neither a duty rating nor a temperature limit.",
        _words(RunReadiness, "limited_by"),
    )
    longest_run_seconds = nullable(
        StrictFloat,
        "The longest run that may begin now, in seconds; null: no bound is known, or not known.",
    )
    coverage_fraction = StrictFloat("How much of the rating's cycle is known, 0 to 1.")
    sentence = Text("The same for a person.")
    cautions = Array(fields.Nested(CautionSchema), "What to beware of.")
