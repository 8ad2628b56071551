"""From the lines of an export back to rows, as they were sent."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from datetime import datetime
from typing import Any

from ..core.ledger import Entry
from ..core.records import (
    FEEDS,
    GRAMS_BASES,
    PURPOSES,
    TIME_SOURCES,
)
from ..core.stream_cells import StreamCell, merge_cells
from ..core.stream_eligible import REASONS
from ..store.alerts import AlertRow
from ..store.entries import EntryRow
from ..store.readings import ReadingRow
from ..store.row_columns import RunRow
from ..store.run_rows import is_canonical_uuid, run_key_of, tenths, thousandths
from ..store.runs import VOIDED
from ..store.tables import UNSTATED
from ..store.types import to_milliseconds
from .export_lines import ENTRY_KINDS, STREAM_NAMES, Thing
from .readings import key_of


def entry_row(thing: Thing, grinder_no: int) -> EntryRow:
    return EntryRow(
        kind=ENTRY_KINDS.index(thing["kind"]),
        entry_id=thing["entry_id"],
        grinder_no=grinder_no,
        from_ms=milliseconds(thing["from"]),
        to_ms=milliseconds_or_none(thing["to"]),
        body=thing["body"],
        created_at=instant(thing["created_at"]),
        voided_at=instant_or_none(thing["voided_at"]),
    )


def alert_row(thing: Thing, grinder_no: int) -> AlertRow:
    return AlertRow(
        Entry(
            alert_id=thing["alert_id"],
            kind=thing["alert_kind"],
            severity=thing["severity"],
            opened_ms=milliseconds(thing["opened_at"]),
            closed_ms=milliseconds_or_none(thing["closed_at"]),
            reason=thing["reason"],
            facts=thing["facts"],
            is_late=thing["is_late"],
        ),
        grinder_no=grinder_no,
        noticed_at=instant(thing["noticed_at"]),
        acknowledged_at=instant_or_none(thing["acknowledged_at"]),
        acknowledged_by=thing["acknowledged_by"],
    )


def reading_row(thing: Thing, grinder_no: int, source_no: int | None) -> ReadingRow:
    run_id = thing.get("run_id")
    return ReadingRow(
        reading_key=key_of(thing["reading_id"]),
        reading_id=thing["reading_id"],
        grinder_no=grinder_no,
        at_ms=milliseconds(thing["at"]),
        motor_decicelsius=tenths(thing.get("motor_celsius")),
        ambient_decicelsius=tenths(thing.get("ambient_celsius")),
        is_running=thing.get("is_running"),
        run_key=None if run_id is None else run_key_of(run_id),
        run_id=run_id,
        time_source=TIME_SOURCES.index(thing["time_source"]),
        source_no=source_no,
        fingerprint=bytes.fromhex(thing["fingerprint"]),
        received_ms=milliseconds(thing["received_at"]),
        voided_ms=milliseconds_or_none(thing.get("voided_at")),
    )


def run_row(thing: Thing, grinder_no: int, source_no: int | None) -> RunRow:
    """The row of a run alone, before corrections and other devices."""
    feed = thing.get("feed")
    voided_ms = milliseconds_or_none(thing.get("voided_at"))
    return RunRow(
        run_key=run_key_of(thing["run_id"]),
        run_id=None if is_canonical_uuid(thing["run_id"]) else thing["run_id"],
        grinder_no=grinder_no,
        started_ms=milliseconds(thing["started_at"]),
        on_ms=thousandths(thing.get("seconds")),
        grams_mg=thousandths(thing.get("grams")),
        grams_basis=GRAMS_BASES.index(thing["grams_basis"]),
        feed=None if feed is None else FEEDS.index(feed),
        purpose=purpose_number(thing.get("purpose")),
        setting_milli=thousandths(thing.get("setting")),
        rpm=thing.get("rpm"),
        energy_joules=thing.get("energy_joules"),
        motor_decicelsius=tenths(thing.get("motor_celsius")),
        ambient_decicelsius=tenths(thing.get("ambient_celsius")),
        time_source=TIME_SOURCES.index(thing["time_source"]),
        source_no=source_no,
        fingerprint=bytes.fromhex(thing["fingerprint"]),
        received_ms=milliseconds(thing["received_at"]),
        voided_ms=voided_ms,
        left_out=0 if voided_ms is None else VOIDED,
        more=thing.get("more"),
    )


def stream_cells(thing: Thing, sources: Mapping[str, int]) -> tuple[StreamCell, ...]:
    """The cells of archived runs, in the order of keys within this account."""
    if thing.get("stream_names", list(STREAM_NAMES)) != list(STREAM_NAMES):
        raise ValueError(f"cells of {thing['stream_names']} are not known")
    return merge_cells(_stream_cell(line, sources) for line in thing.get("stream", ()))


def _stream_cell(line: Sequence[Any], sources: Mapping[str, int]) -> StreamCell:
    hour, left_out, setting, dose_class, rpm, source, coffee_lot, feed, purpose, *counted = line
    return StreamCell(
        hour,
        REASONS.index(left_out),
        thousandths(setting),
        dose_class,
        rpm,
        None if source is None else sources[source],
        coffee_lot,
        None if feed is None else FEEDS.index(feed),
        purpose_number(purpose),
        *counted,
    )


def purpose_number(purpose: str | None) -> int:
    return UNSTATED if purpose is None else PURPOSES.index(purpose)


def instant(text: str) -> datetime:
    return datetime.fromisoformat(text)


def instant_or_none(text: str | None) -> datetime | None:
    return None if text is None else instant(text)


def milliseconds(text: str) -> int:
    return to_milliseconds(instant(text))


def milliseconds_or_none(text: str | None) -> int | None:
    return None if text is None else milliseconds(text)


def check_new(known: Container[Any], name: Any) -> None:
    if name in known:
        raise ValueError(f"{name!r} comes twice")


def check_all_new(keys: Sequence[bytes], known: Container[bytes]) -> None:
    twice = [key for key in keys if key in known]
    if twice or len(set(keys)) < len(keys):
        raise ValueError("an id comes twice in the lines before this one")
