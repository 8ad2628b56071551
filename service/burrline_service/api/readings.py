"""Operations on readings: added one by one or in batches, listed, voided."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from functools import cache
from typing import Any

from ..actions import readings
from ..core.entered import Reading
from ..core.errors import AlreadyExists, NotFound, Refusal
from ..core.records import Caller, RunOutcome
from .batches import Kind, judge
from .device_clock import DeviceClock, placed
from .operation import Operation
from .schemas_readings import (
    NewReadingSchema,
    ReadingBatchOutcomeSchema,
    ReadingFilterSchema,
    ReadingPageSchema,
    ReadingSchema,
    ReadingsToAddSchema,
)

TAG = "Readings"


@cache
def _line_schema() -> NewReadingSchema:
    return NewReadingSchema()


def reading_of(fields: Mapping[str, Any], clock: DeviceClock | None = None) -> Reading:
    """The record of a loaded reading, its time told by the device's clock where it has none."""
    return Reading(**placed(fields, clock))


def add_readings(
    database: Any,
    caller: Caller,
    *,
    fields: Mapping[str, Any],
    device_clock: DeviceClock | None = None,
    now: datetime,
) -> dict[str, Any]:
    """Record a batch line by line, or one reading, which is refused alone."""

    def add(sent: list[Reading]) -> list[RunOutcome | Refusal]:
        return readings.add_readings(database, caller, sent=sent, now=now) if sent else []

    def add_alone(sent: list[Reading]) -> list[RunOutcome | Refusal]:
        (reading,) = sent
        return [readings.add_reading(database, caller, reading=reading, now=now)]

    if "readings" in fields:
        kind = _kind(lambda line: reading_of(_line_schema().load(line), device_clock))
        return judge(kind, fields["readings"], add)
    return judge(_kind(lambda line: reading_of(line, device_clock)), [fields], add_alone)


def _kind(record_of: Any) -> Kind:
    return Kind(
        member="readings",
        id_name="reading_id",
        record_of=record_of,
        conflict=lambda reading_id: (
            f"Reading {reading_id!r} was recorded before with other content; the first one is kept."
        ),
    )


NEW_READING = {
    "reading_id": "bar-1-t-0007-004512",
    "grinder_id": "bar-1",
    "at": "2026-07-06T07:44:00Z",
    "motor_celsius": 47.5,
    "ambient_celsius": 22,
    "is_running": False,
    "source": "probe-left",
}
READING = {
    "reading_id": "bar-1-t-0007-004512",
    "grinder_id": "bar-1",
    "at": "2026-07-06T07:44:00.000Z",
    "motor_celsius": 47.5,
    "ambient_celsius": 22.0,
    "is_running": False,
    "run_id": None,
    "source": "probe-left",
    "time_source": "device",
    "received_at": "2026-07-06T07:44:00.912Z",
    "voided_at": None,
}
OUTCOME = {
    "received": 1,
    "accepted": 1,
    "duplicates": 0,
    "conflicts": 0,
    "rejected": 0,
    "problems": [],
}

OPERATIONS = (
    Operation(
        name="add_readings",
        method="POST",
        path="/v1/readings",
        tag=TAG,
        summary="Record readings",
        description=(
            "Temperatures between and during runs, and signs that a motor runs now: one reading, "
            "or `readings` with up to 5000 within 1 MiB, in any order and however late. In a batch "
            "each is judged alone; a bad one never blocks a good one. One reading alone is refused "
            "like any other request. Sending the same again is harmless."
        ),
        act=add_readings,
        scope="runs:write",
        takes=ReadingsToAddSchema,
        gives=ReadingBatchOutcomeSchema,
        statuses={200: "Each has its outcome; those not recorded are under `problems`."},
        refuses=(NotFound, AlreadyExists),
        reads_device_clock=True,
        takes_examples={
            "one": NEW_READING,
            "batch": {
                "readings": [
                    NEW_READING,
                    {
                        "grinder_id": "bar-1",
                        "age_seconds": 4.5,
                        "is_running": True,
                        "run_id": "bar-1-0007-000124",
                    },
                ]
            },
        },
        gives_example=OUTCOME,
    ),
    Operation(
        name="list_readings",
        method="GET",
        path="/v1/grinders/<grinder_id>/readings",
        tag=TAG,
        summary="List a grinder's readings",
        description="Readings in the order of their instants, voided ones marked.",
        act=readings.list_readings,
        scope="read",
        query=ReadingFilterSchema,
        gives=ReadingPageSchema,
        is_list=True,
        gives_example={"items": [READING], "next_cursor": None},
    ),
    Operation(
        name="void_reading",
        method="POST",
        path="/v1/readings/<reading_id>/void",
        tag=TAG,
        summary="Void a reading",
        description=(
            "Take a reading out of every answer. It stays readable, marked, and stays voided when "
            "the device sends it again. Voiding it again changes nothing. There is no body."
        ),
        act=readings.void_reading,
        scope="care:write",
        gives=ReadingSchema,
        gives_example={**READING, "voided_at": "2026-07-06T09:05:00.000Z"},
    ),
)
