"""Examples of tallies, periods, corrections and care, for the document."""

from __future__ import annotations

VOIDED_AT = "2026-07-06T09:05:00.000Z"

NEW_TALLY = {
    "tally_id": "notebook-2026-06-30",
    "grinder_id": "bar-1",
    "from": "2026-06-30T00:00:00+02:00",
    "to": "2026-07-01T00:00:00+02:00",
    "grams": 4180,
    "basis": "weighed_in",
    "note": "Four bags and the rest of a fifth.",
}
TALLY = {
    "tally_id": "notebook-2026-06-30",
    "grinder_id": "bar-1",
    "from": "2026-06-29T22:00:00.000Z",
    "to": "2026-06-30T22:00:00.000Z",
    "grams": 4180.0,
    "basis": "weighed_in",
    "purpose": "service",
    "note": "Four bags and the rest of a fifth.",
    "created_at": "2026-07-01T06:40:12.008Z",
    "voided_at": None,
}

NEW_PERIOD = {"from": "2026-07-06T05:30:00Z", "setting": 4.8, "coffee_lot": "lot-0712"}
PERIOD = {
    "period_id": "period-000412",
    "grinder_id": "bar-1",
    "from": "2026-07-06T05:30:00.000Z",
    "to": None,
    "setting": 4.8,
    "coffee_lot": "lot-0712",
    "rpm": None,
    "purpose": None,
    "feed": None,
    "created_at": "2026-07-06T05:31:20.644Z",
    "voided_at": None,
}

NEW_CORRECTION = {
    "grinder_id": "bar-1",
    "source": "scale-left",
    "from": "2026-07-03T05:00:00Z",
    "to": "2026-07-05T16:00:00Z",
    "grams_offset": -2.1,
    "reason": "The dosing cup was never tared after the new one came.",
}
CORRECTION = {
    "correction_id": "correction-000413",
    "grinder_id": "bar-1",
    "source": "scale-left",
    "from": "2026-07-03T05:00:00.000Z",
    "to": "2026-07-05T16:00:00.000Z",
    "grams_offset": -2.1,
    "grams_factor": None,
    "clock_offset_seconds": None,
    "is_void": False,
    "is_unwatched": False,
    "reason": "The dosing cup was never tared after the new one came.",
    "created_at": "2026-07-06T08:12:45.300Z",
    "revoked_at": None,
}

NEW_CARE = {
    "care_id": "care-2026-07-05",
    "at": "2026-07-05T17:20:00Z",
    "task": "burrs_removed",
    "zero_setting": 0.4,
    "note": "Cleaned with a dry brush.",
}
CARE = {
    "care_id": "care-2026-07-05",
    "grinder_id": "bar-1",
    "at": "2026-07-05T17:20:00.000Z",
    "task": "burrs_removed",
    "zero_setting": 0.4,
    "note": "Cleaned with a dry brush.",
    "created_at": "2026-07-05T17:24:09.512Z",
    "voided_at": None,
}
