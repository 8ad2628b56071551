"""Shape of motor-on time over a stretch of time against the plate."""

from __future__ import annotations

from marshmallow import fields

from .fields import Array, Choice, Instant, StrictFloat, Text, nullable
from .schemas_common import Answer, Query, grinder_id
from .schemas_status import DUTY_STATES


class DutyQuerySchema(Query):
    from_at = Instant(
        "Where the stretch begins; without it, 24 hours before its end. At most 92 days.",
        data_key="from",
    )
    to_at = Instant("Where it ends; without it, now.", data_key="to")
    as_of = Instant("The past instant to answer for; without it, now.")


class DutyHourSchema(Answer):
    """Motor-on time in one hour by the site's clock; the first and last may be cut."""

    from_at = Instant("Where it begins.", data_key="from")
    to_at = Instant("Where it ends.", data_key="to")
    on_seconds = StrictFloat("Known motor-on time in it, in seconds.")
    low_fraction = StrictFloat("On-time at least, as a fraction of it.")
    high_fraction = StrictFloat(
        "On-time at most, as a fraction of it: with estimated run times, and what is not covered "
        "taken as on."
    )
    coverage_fraction = StrictFloat("How much of it is known, 0 to 1.")


class DutyReportSchema(Answer):
    """Motor-on time over a stretch of time, and how the grinder stands at `as_of`."""

    grinder_id = grinder_id("The grinder.")
    time_zone = Text("The site's time zone, by whose clock the hours are cut.")
    as_of = Instant("The instant this answer is for.")
    from_at = Instant("Where the stretch begins.", data_key="from")
    to_at = Instant("Where it ends.", data_key="to")
    on_seconds = StrictFloat("Known motor-on time in the stretch, in seconds; overlaps once.")
    low_fraction = StrictFloat("On-time at least, as a fraction of the stretch.")
    high_fraction = StrictFloat(
        "On-time at most, as a fraction of the stretch: with estimated run times, and what is not "
        "covered taken as on."
    )
    coverage_fraction = StrictFloat("How much of the stretch is known, 0 to 1.")
    cycle_seconds = StrictFloat(
        "The cycle of the plate's rating, in seconds; 600 where it names none.", example=600.0
    )
    rated_on_seconds = nullable(
        StrictFloat, "The on-time the plate allows in one cycle, in seconds; null: unrated."
    )
    rolling_maximum_on_seconds = StrictFloat(
        "The most known on-time in any one cycle that ends within the stretch, exact, in seconds."
    )
    rolling_maximum_at = nullable(Instant, "Where the first such cycle ends; null: nothing ran.")
    state = Choice("How the cycle that ends at `as_of` stands: as in the status.", DUTY_STATES)
    ready_at = nullable(
        Instant,
        "When the on-time is back within the rating (as_of when it is); null: not known. Of duty "
        "alone, whatever the temperature: advice, not permission.",
    )
    rest_seconds = nullable(StrictFloat, "How long until then, in seconds; null: not known.")
    longest_run_seconds = nullable(
        StrictFloat,
        "The longest run that the rating allows to begin at `as_of`, in seconds; null: the plate "
        "sets no bound, or it is not known.",
    )
    hours = Array(fields.Nested(DutyHourSchema), "The stretch hour by hour, the earliest first.")
