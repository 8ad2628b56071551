"""Shapes of what people enter about a grinder: tallies, periods, corrections, care."""

from __future__ import annotations

from types import MappingProxyType
from typing import Any

from ..core.entered import CARE_TASKS
from ..core.records import (
    FEEDS,
    GRAMS_BASES,
    PURPOSES,
)
from .fields import Choice, Instant, StrictFloat, Text, nullable
from .operation import CARE_ID, PERIOD_ID, TALLY_ID
from .schemas_common import (
    Answer,
    Body,
    Paging,
    created_at,
    cursor_of_next,
    grinder_id,
    items_of,
)
from .schemas_grinders import LARGEST_SETTING
from .schemas_runs import FEED

LARGEST_TALLY_GRAMS = 100_000_000
LARGEST_RPM = 100_000
TALLY_BASIS = (
    "Where the grams come from: `weighed_out` (ground coffee), `weighed_in` (beans, bags), "
    "`target` (servings times a dose) or `estimated`."
)
COFFEE_PURPOSES = tuple(purpose for purpose in PURPOSES if purpose != "cleaning")


def entry_id(description: str, pattern: str, example: str, **kwargs: Any) -> Any:
    return Text(description, pattern=pattern, example=example, **kwargs)


def begins(description: str, **kwargs: Any) -> Any:
    return Instant(description, data_key="from", example="2026-06-29T22:00:00.000Z", **kwargs)


def ends(description: str, **kwargs: Any) -> Any:
    return Instant(description, data_key="to", example="2026-06-30T22:00:00.000Z", **kwargs)


def note_or_null() -> Any:
    return nullable(Text, "What else there is to say.", high=1000)


def voided_at_or_null() -> Any:
    return nullable(Instant, "When it was voided; null: it counts.", example=None)


def setting_or_null(description: str = "The grind setting, in the machine's own scale.") -> Any:
    return nullable(
        StrictFloat, description, low=-LARGEST_SETTING, high=LARGEST_SETTING, example=4.8
    )


class EntryFilterSchema(Paging):
    from_at = Instant("Only what begins at or after this instant.", data_key="from")
    to_at = Instant("Only what begins before this instant.", data_key="to")


# --- tallies ------------------------------------------------------------------------------------


class NewTallySchema(Body):
    """Grams ground over a stretch of time, where single runs are not known."""

    tally_id = entry_id(
        "The tally's id, chosen by you, used once for ever; without it one is made.",
        TALLY_ID,
        "notebook-2026-06-30",
    )
    grinder_id = grinder_id("The grinder that ground it.", required=True)
    from_at = begins("When the stretch began.", required=True)
    to_at = ends("When it ended: later than `from`, not in the future.", required=True)
    grams = StrictFloat(
        "Coffee over the whole stretch, in grams.",
        low=0,
        high=LARGEST_TALLY_GRAMS,
        example=4180,
        required=True,
    )
    basis = Choice(TALLY_BASIS, GRAMS_BASES, required=True)
    purpose = Choice("What it was ground for.", COFFEE_PURPOSES, metadata={"default": "service"})
    note = note_or_null()


class TallySchema(Answer):
    """Grams over a stretch of time, half-open: they count evenly from `from` to `to`."""

    tally_id = entry_id("The tally's id.", TALLY_ID, "notebook-2026-06-30")
    grinder_id = grinder_id("The grinder that ground it.")
    from_at = begins("When the stretch began.")
    to_at = ends("When it ended.")
    grams = StrictFloat("Coffee over the whole stretch, in grams.", example=4180)
    basis = Choice(TALLY_BASIS, GRAMS_BASES)
    purpose = Choice("What it was ground for.", COFFEE_PURPOSES)
    note = note_or_null()
    created_at = created_at("tally")
    voided_at = voided_at_or_null()


class TallyPageSchema(Answer):
    """One page of tallies."""

    items = items_of(TallySchema, "tallies")
    next_cursor = cursor_of_next()


# --- periods ------------------------------------------------------------------------------------

_TOLD_BY_PERIOD = ("setting", "coffee_lot", "rpm", "purpose", "feed")


class NewPeriodSchema(Body):
    """What holds from an instant on for runs that leave it out: at least one member of five."""

    document = MappingProxyType(
        {"not": {"properties": {name: {"type": "null"} for name in _TOLD_BY_PERIOD}}}
    )

    period_id = entry_id(
        "The period's id, chosen by you, used once for ever; without it one is made.",
        PERIOD_ID,
        "set-2026-07-06-early",
    )
    from_at = nullable(Instant, "From when on it holds; without it, from now on.", data_key="from")
    to_at = nullable(
        Instant,
        "Until when; null or absent: until a later period says otherwise.",
        data_key="to",
        example=None,
    )
    setting = setting_or_null()
    coffee_lot = nullable(Text, "Which coffee, in your own words.", high=200, example="lot-0712")
    rpm = nullable(
        StrictFloat,
        "Burr speed, in revolutions per minute.",
        low=0,
        high=LARGEST_RPM,
        example=1400,
    )
    purpose = nullable(Choice, "What the runs are for.", PURPOSES)
    feed = nullable(Choice, FEED, FEEDS)


class PeriodSchema(Answer):
    """What holds from an instant on for runs that leave it out; the later period wins."""

    period_id = entry_id("The period's id.", PERIOD_ID, "period-000412")
    grinder_id = grinder_id("The grinder it is about.")
    from_at = begins("From when on it holds.")
    to_at = nullable(Instant, "Until when; null: until a later one.", data_key="to", example=None)
    setting = setting_or_null()
    coffee_lot = nullable(Text, "Which coffee, in your own words.", high=200, example="lot-0712")
    rpm = nullable(StrictFloat, "Burr speed, in revolutions per minute.", example=1400)
    purpose = nullable(Choice, "What the runs are for.", PURPOSES)
    feed = nullable(Choice, FEED, FEEDS)
    created_at = created_at("period")
    voided_at = voided_at_or_null()


class PeriodPageSchema(Answer):
    """One page of periods."""

    items = items_of(PeriodSchema, "periods")
    next_cursor = cursor_of_next()


# --- care ---------------------------------------------------------------------------------------

_TASK = (
    "What was done. `motor_replaced` starts `motor_run_seconds` anew; after `burrs_removed` the "
    "zero point is another: tell it."
)
_ZERO = "The setting at which the burrs touch, as found afterwards."


class NewCareSchema(Body):
    """Something done to a grinder."""

    care_id = entry_id(
        "The entry's id, chosen by you, used once for ever; without it one is made.",
        CARE_ID,
        "care-2026-07-05",
    )
    at = nullable(Instant, "When it was done; without it, now.")
    task = Choice(_TASK, CARE_TASKS, required=True)
    zero_setting = setting_or_null(_ZERO)
    note = note_or_null()


class CareEntrySchema(Answer):
    """Something done to a grinder."""

    care_id = entry_id("The entry's id.", CARE_ID, "care-2026-07-05")
    grinder_id = grinder_id("The grinder it was done to.")
    at = Instant("When it was done.")
    task = Choice(_TASK, CARE_TASKS)
    zero_setting = setting_or_null(_ZERO)
    note = note_or_null()
    created_at = created_at("entry")
    voided_at = voided_at_or_null()


class CareEntryPageSchema(Answer):
    """One page of care entries."""

    items = items_of(CareEntrySchema, "care entries")
    next_cursor = cursor_of_next()
