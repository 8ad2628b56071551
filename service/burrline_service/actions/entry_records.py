"""From rows of entries to the records they are answered as."""

from __future__ import annotations

from datetime import UTC
from typing import Any

from ..core.entered import (
    CareEntry,
    Correction,
    Period,
    Tally,
)
from ..store.entries import EntryRow
from ..store.types import to_instant

PERIOD_NAMES = ("setting", "coffee_lot", "rpm", "purpose", "feed")


def _times(row: EntryRow) -> dict[str, Any]:
    return {
        "from_at": to_instant(row.from_ms),
        "to_at": None if row.to_ms is None else to_instant(row.to_ms),
        "created_at": row.created_at.astimezone(UTC),
    }


def tally_of(row: EntryRow, grinder_id: str) -> Tally:
    body = row.body
    return Tally(
        tally_id=row.entry_id,
        grinder_id=grinder_id,
        grams=body["grams_mg"] / 1000,
        basis=body["basis"],
        purpose=body["purpose"],
        note=body.get("note"),
        voided_at=row.voided_at,
        **_times(row),
    )


def period_of(row: EntryRow, grinder_id: str) -> Period:
    return Period(
        period_id=row.entry_id,
        grinder_id=grinder_id,
        voided_at=row.voided_at,
        setting=row.body.get("setting"),
        coffee_lot=row.body.get("coffee_lot"),
        rpm=row.body.get("rpm"),
        purpose=row.body.get("purpose"),
        feed=row.body.get("feed"),
        **_times(row),
    )


def correction_of(row: EntryRow, grinder_id: str) -> Correction:
    body = row.body
    factor, offset = body.get("grams_factor_ppm"), body.get("grams_offset_mg")
    clock = body.get("clock_offset_ms")
    return Correction(
        correction_id=row.entry_id,
        grinder_id=grinder_id,
        source=body.get("source"),
        grams_offset=None if offset is None else offset / 1000,
        grams_factor=None if factor is None else factor / 1_000_000,
        clock_offset_seconds=None if clock is None else clock / 1000,
        is_void=bool(body.get("is_void")),
        is_unwatched=bool(body.get("is_unwatched")),
        reason=body["reason"],
        revoked_at=row.voided_at,
        **_times(row),
    )


def care_of(row: EntryRow, grinder_id: str) -> CareEntry:
    return CareEntry(
        care_id=row.entry_id,
        grinder_id=grinder_id,
        at=to_instant(row.from_ms),
        task=row.body["task"],
        zero_setting=row.body.get("zero_setting"),
        note=row.body.get("note"),
        created_at=row.created_at,
        voided_at=row.voided_at,
    )
