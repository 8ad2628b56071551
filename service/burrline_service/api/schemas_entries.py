"""Shapes of what people enter about a grinder: tallies, periods, corrections, care."""

from __future__ import annotations

from types import MappingProxyType
from typing import Any

from ..core.entered import CARE_TASKS
from ..core.records import (
    FEEDS,
    GRAMS_BASES,
    LARGEST_RUN_GRAMS,
    PURPOSES,
)
from .device_clock import OLDEST_AGE_SECONDS
from .fields import Choice, Instant, StrictBoolean, StrictFloat, Text, nullable
from .operation import CARE_ID, CORRECTION_ID, PERIOD_ID, TALLY_ID
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
LOWEST_FACTOR, HIGHEST_FACTOR = 0.000_001, 1000
TALLY_BASIS = (
    "Where the grams come from: `weighed_out` (ground coffee), `weighed_in` (beans, bags), "
    "`target` (servings times a dose) or `estimated`."
)
COFFEE_PURPOSES = tuple(purpose for purpose in PURPOSES if purpose != "cleaning")


def _id(description: str, pattern: str, example: str, **kwargs: Any) -> Any:
    return Text(description, pattern=pattern, example=example, **kwargs)


def _from(description: str, **kwargs: Any) -> Any:
    return Instant(description, data_key="from", example="2026-06-29T22:00:00.000Z", **kwargs)


def _to(description: str, **kwargs: Any) -> Any:
    return Instant(description, data_key="to", example="2026-06-30T22:00:00.000Z", **kwargs)


def _note() -> Any:
    return nullable(Text, "What else there is to say.", high=1000)


def _voided_at() -> Any:
    return nullable(Instant, "When it was voided; null: it counts.", example=None)


def _setting(description: str = "The grind setting, in the machine's own scale.") -> Any:
    return nullable(
        StrictFloat, description, low=-LARGEST_SETTING, high=LARGEST_SETTING, example=4.8
    )


class EntryFilterSchema(Paging):
    from_at = Instant("Only what begins at or after this instant.", data_key="from")
    to_at = Instant("Only what begins before this instant.", data_key="to")


# --- tallies ------------------------------------------------------------------------------------


class NewTallySchema(Body):
    """Grams ground over a stretch of time, where single runs are not known."""

    tally_id = _id(
        "The tally's id, chosen by you, used once for ever; without it one is made.",
        TALLY_ID,
        "notebook-2026-06-30",
    )
    grinder_id = grinder_id("The grinder that ground it.", required=True)
    from_at = _from("When the stretch began.", required=True)
    to_at = _to("When it ended: later than `from`, not in the future.", required=True)
    grams = StrictFloat(
        "Coffee over the whole stretch, in grams.",
        low=0,
        high=LARGEST_TALLY_GRAMS,
        example=4180,
        required=True,
    )
    basis = Choice(TALLY_BASIS, GRAMS_BASES, required=True)
    purpose = Choice("What it was ground for.", COFFEE_PURPOSES, metadata={"default": "service"})
    note = _note()


class TallySchema(Answer):
    """Grams over a stretch of time, half-open: they count evenly from `from` to `to`."""

    tally_id = _id("The tally's id.", TALLY_ID, "notebook-2026-06-30")
    grinder_id = grinder_id("The grinder that ground it.")
    from_at = _from("When the stretch began.")
    to_at = _to("When it ended.")
    grams = StrictFloat("Coffee over the whole stretch, in grams.", example=4180)
    basis = Choice(TALLY_BASIS, GRAMS_BASES)
    purpose = Choice("What it was ground for.", COFFEE_PURPOSES)
    note = _note()
    created_at = created_at("tally")
    voided_at = _voided_at()


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

    from_at = nullable(Instant, "From when on it holds; without it, from now on.", data_key="from")
    to_at = nullable(
        Instant,
        "Until when; null or absent: until a later period says otherwise.",
        data_key="to",
        example=None,
    )
    setting = _setting()
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

    period_id = _id("The period's id.", PERIOD_ID, "period-000412")
    grinder_id = grinder_id("The grinder it is about.")
    from_at = _from("From when on it holds.")
    to_at = nullable(Instant, "Until when; null: until a later one.", data_key="to", example=None)
    setting = _setting()
    coffee_lot = nullable(Text, "Which coffee, in your own words.", high=200, example="lot-0712")
    rpm = nullable(StrictFloat, "Burr speed, in revolutions per minute.", example=1400)
    purpose = nullable(Choice, "What the runs are for.", PURPOSES)
    feed = nullable(Choice, FEED, FEEDS)
    created_at = created_at("period")
    voided_at = _voided_at()


class PeriodPageSchema(Answer):
    """One page of periods."""

    items = items_of(PeriodSchema, "periods")
    next_cursor = cursor_of_next()


# --- corrections --------------------------------------------------------------------------------


class NewCorrectionSchema(Body):
    """A known mistake of a grinder's devices: at least one of the four ways to undo it."""

    document = MappingProxyType(
        {
            "not": {
                "properties": {
                    "grams_offset": {"type": "null"},
                    "grams_factor": {"type": "null"},
                    "clock_offset_seconds": {"type": "null"},
                    "is_void": {"const": False},
                }
            }
        }
    )

    grinder_id = grinder_id("The grinder whose runs are wrong.", required=True)
    source = nullable(
        Text,
        "Only runs of this device; null or absent: of every one.",
        high=100,
        example="scale-left",
    )
    from_at = _from("Runs that started here or later, by the start as sent.", required=True)
    to_at = nullable(
        Instant, "And before here; null or absent: without end.", data_key="to", example=None
    )
    grams_offset = nullable(
        StrictFloat,
        "What to add to each run, in grams (a cup never tared: negative).",
        low=-LARGEST_RUN_GRAMS,
        high=LARGEST_RUN_GRAMS,
        example=-2.1,
    )
    grams_factor = nullable(
        StrictFloat,
        "What grams are multiplied with, before the offset is added.",
        low=LOWEST_FACTOR,
        high=HIGHEST_FACTOR,
        example=1.04,
    )
    clock_offset_seconds = nullable(
        StrictFloat,
        "What to add to each start, in seconds (a clock that was fast: negative).",
        low=-OLDEST_AGE_SECONDS,
        high=OLDEST_AGE_SECONDS,
        example=-3600,
    )
    is_void = StrictBoolean("Whether these runs count for nothing.")
    reason = Text("Why, for those who look later.", high=500, required=True)


class CorrectionSchema(Answer):
    """A known mistake, undone in every answer until it is revoked; several compose."""

    correction_id = _id("The correction's id.", CORRECTION_ID, "correction-000413")
    grinder_id = grinder_id("The grinder whose runs are wrong.")
    source = nullable(Text, "Only runs of this device; null: of every one.", high=100)
    from_at = _from("Runs that started here or later, by the start as sent.")
    to_at = nullable(Instant, "And before here; null: without end.", data_key="to", example=None)
    grams_offset = nullable(StrictFloat, "What is added to each run, in grams.")
    grams_factor = nullable(StrictFloat, "What grams are multiplied with.")
    clock_offset_seconds = nullable(StrictFloat, "What is added to each start, in seconds.")
    is_void = StrictBoolean("Whether these runs count for nothing.")
    reason = Text("Why, for those who look later.", high=500)
    created_at = created_at("correction")
    revoked_at = nullable(Instant, "When it was revoked; null: it is in force.", example=None)


class CorrectionPageSchema(Answer):
    """One page of corrections."""

    items = items_of(CorrectionSchema, "corrections")
    next_cursor = cursor_of_next()


# --- care ---------------------------------------------------------------------------------------

_TASK = (
    "What was done. `burrs_removed` moves the zero point, `motor_replaced` starts motor time anew."
)
_ZERO = "The setting at which the burrs touch, as found afterwards."


class NewCareSchema(Body):
    """Something done to a grinder."""

    care_id = _id(
        "The entry's id, chosen by you, used once for ever; without it one is made.",
        CARE_ID,
        "care-2026-07-05",
    )
    at = nullable(Instant, "When it was done; without it, now.")
    task = Choice(_TASK, CARE_TASKS, required=True)
    zero_setting = _setting(_ZERO)
    note = _note()


class CareEntrySchema(Answer):
    """Something done to a grinder."""

    care_id = _id("The entry's id.", CARE_ID, "care-2026-07-05")
    grinder_id = grinder_id("The grinder it was done to.")
    at = Instant("When it was done.")
    task = Choice(_TASK, CARE_TASKS)
    zero_setting = _setting(_ZERO)
    note = _note()
    created_at = created_at("entry")
    voided_at = _voided_at()


class CareEntryPageSchema(Answer):
    """One page of care entries."""

    items = items_of(CareEntrySchema, "care entries")
    next_cursor = cursor_of_next()
