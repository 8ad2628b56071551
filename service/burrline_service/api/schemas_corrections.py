"""Shapes of corrections: known mistakes of a grinder's devices."""

from __future__ import annotations

from types import MappingProxyType

from ..core.records import LARGEST_RUN_GRAMS
from .device_clock import OLDEST_AGE_SECONDS
from .fields import Instant, StrictBoolean, StrictFloat, Text, nullable
from .operation import CORRECTION_ID
from .schemas_common import Answer, Body, created_at, cursor_of_next, grinder_id, items_of
from .schemas_entries import begins, entry_id

LOWEST_FACTOR, HIGHEST_FACTOR = 0.000_001, 1000


class NewCorrectionSchema(Body):
    """A known mistake of a grinder's devices: at least one of the five ways to undo it."""

    document = MappingProxyType(
        {
            "not": {
                "properties": {
                    "grams_offset": {"type": "null"},
                    "grams_factor": {"type": "null"},
                    "clock_offset_seconds": {"type": "null"},
                    "is_void": {"const": False},
                    "is_unwatched": {"const": False},
                }
            }
        }
    )

    correction_id = entry_id(
        "The correction's id, chosen by you, used once for ever; without it one is made.",
        CORRECTION_ID,
        "untared-2026-07-03",
    )
    grinder_id = grinder_id("The grinder whose runs are wrong.", required=True)
    source = nullable(
        Text,
        "Only runs of this device; null or absent: of every one.",
        high=100,
        example="scale-left",
    )
    from_at = begins("Runs that started here or later, by the start as sent.", required=True)
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
        "What to add to each start, in seconds (a clock that was fast: negative). The runs count "
        "at the start it gives, also in answers for an instant (`as_of`).",
        low=-OLDEST_AGE_SECONDS,
        high=OLDEST_AGE_SECONDS,
        example=-3600,
    )
    is_void = StrictBoolean("Whether these runs count for nothing.")
    is_unwatched = StrictBoolean(
        "Whether the grinder was not watched then, whatever batches said by `watched_from` and "
        "`watched_until`, of whichever source."
    )
    reason = Text("Why, for those who look later.", high=500, required=True)


class CorrectionSchema(Answer):
    """A known mistake, undone in every answer until it is revoked; several compose."""

    correction_id = entry_id("The correction's id.", CORRECTION_ID, "correction-000413")
    grinder_id = grinder_id("The grinder whose runs are wrong.")
    source = nullable(Text, "Only runs of this device; null: of every one.", high=100)
    from_at = begins("Runs that started here or later, by the start as sent.")
    to_at = nullable(Instant, "And before here; null: without end.", data_key="to", example=None)
    grams_offset = nullable(StrictFloat, "What is added to each run, in grams.")
    grams_factor = nullable(StrictFloat, "What grams are multiplied with.")
    clock_offset_seconds = nullable(StrictFloat, "What is added to each start, in seconds.")
    is_void = StrictBoolean("Whether these runs count for nothing.")
    is_unwatched = StrictBoolean(
        "Whether the grinder was not watched then, whatever batches said by `watched_from` and "
        "`watched_until`, of whichever source."
    )
    reason = Text("Why, for those who look later.", high=500)
    created_at = created_at("correction")
    revoked_at = nullable(Instant, "When it was revoked; null: it is in force.", example=None)


class CorrectionPageSchema(Answer):
    """One page of corrections."""

    items = items_of(CorrectionSchema, "corrections")
    next_cursor = cursor_of_next()
