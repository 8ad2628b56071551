"""From rows to the lines of an export: numbers within an account become the names it uses."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from ..core.records import (
    FEEDS,
    GRAMS_BASES,
    PURPOSES,
    TIME_SOURCES,
)
from ..core.stream_cells import StreamCell
from ..core.stream_eligible import REASONS
from ..store.alerts import AlertRow
from ..store.entries import EntryRow
from ..store.outgoing import Places
from ..store.readings import ReadingRow
from ..store.row_columns import RunRow
from ..store.run_rows import over, run_id_of
from ..store.tables import UNSTATED
from ..store.types import to_instant

ENTRY_KINDS = ("tally", "period", "correction", "care", "checkpoint")
STREAM_SUMS = ("count", "sum_micro", "sum_squares_micro", "grams_mg")
STREAM_NAMES = (
    "hour", "left_out", "setting", "dose_class", "rpm", "source", "coffee_lot", "feed", "purpose",
    *STREAM_SUMS,
)  # fmt: skip
Thing = dict[str, Any]


@dataclass(frozen=True)
class Names:
    """From the numbers within an account to the names it knows things by."""

    sites: Mapping[int, str]
    grinders: Mapping[int, str]
    sources: Mapping[int, str]

    @classmethod
    def of(cls, places: Places) -> Names:
        return cls(
            sites={site.site_no: site.site_id for site in places.sites},
            grinders={grinder.grinder_no: grinder.grinder_id for grinder in places.grinders},
            sources=places.sources,
        )

    def state(self, row: Any) -> Thing | None:
        if row is None:
            return None
        first = row.first_source_no
        return {
            "revision": row.revision,
            "archived_before": instant_text(row.archived_before),
            "first_source": "" if first == 0 else self.source(first),
            "is_shared": row.is_shared,
            "is_corrected": row.is_corrected,
        }

    def source(self, source_no: int | None) -> str | None:
        return None if source_no is None else self.sources[source_no]

    def entry(self, row: EntryRow) -> Thing | None:
        if row.grinder_no not in self.grinders:
            return None
        return {
            "kind": ENTRY_KINDS[row.kind],
            "entry_id": row.entry_id,
            "grinder_id": self.grinders[row.grinder_no],
            "from": instant_text(to_instant(row.from_ms)),
            "to": _instant(row.to_ms),
            "body": row.body,
            "created_at": instant_text(row.created_at),
            "voided_at": instant_text(row.voided_at),
        }

    def alert_setting(self, row: Any) -> Thing:
        """A change of settings of alerts, of the account where it names no site or grinder."""
        return {
            "kind": "alert_setting",
            "level": row.level,
            "site_id": self.sites.get(row.ref_no),
            "grinder_id": self.grinders.get(row.ref_no),
            "effective_at": instant_text(row.effective_at),
            "patch": row.patch,
            "revision": row.revision,
        }

    def alert(self, row: AlertRow) -> Thing | None:
        if row.grinder_no not in self.grinders:
            return None
        entry = row.entry
        return {
            "kind": "alert",
            "alert_id": entry.alert_id,
            "grinder_id": self.grinders[row.grinder_no],
            "alert_kind": entry.kind,
            "severity": entry.severity,
            "opened_at": _instant(entry.opened_ms),
            "closed_at": _instant(entry.closed_ms),
            "reason": entry.reason,
            "facts": dict(entry.facts),
            "noticed_at": instant_text(row.noticed_at),
            "is_late": entry.is_late,
            "acknowledged_at": instant_text(row.acknowledged_at),
            "acknowledged_by": row.acknowledged_by,
        }

    def watched(self, row: tuple[int, int, int]) -> Thing | None:
        grinder_no, from_ms, to_ms = row
        if grinder_no not in self.grinders:
            return None
        return {
            "kind": "watched",
            "grinder_id": self.grinders[grinder_no],
            "from": _instant(from_ms),
            "to": _instant(to_ms),
        }

    def reading(self, row: ReadingRow) -> Thing | None:
        if not self._knows(row):
            return None
        return _given(
            kind="reading",
            reading_id=row.reading_id,
            grinder_id=self.grinders[row.grinder_no],
            at=_instant(row.at_ms),
            motor_celsius=over(row.motor_decicelsius, 10),
            ambient_celsius=over(row.ambient_decicelsius, 10),
            is_running=row.is_running,
            run_id=row.run_id,
            source=self.source(row.source_no),
            time_source=TIME_SOURCES[row.time_source],
            received_at=_instant(row.received_ms),
            voided_at=_instant(row.voided_ms),
            fingerprint=row.fingerprint.hex(),
        )

    def run(self, row: RunRow) -> Thing | None:
        """A run as it was sent: what corrections and other devices make of it is left out."""
        if not self._knows(row):
            return None
        is_corrected = row.raw_started_ms is not None
        return _given(
            kind="run",
            run_id=run_id_of(row),
            grinder_id=self.grinders[row.grinder_no],
            started_at=_instant(row.raw_started_ms if is_corrected else row.started_ms),
            seconds=over(row.on_ms, 1000),
            grams=over(row.raw_grams_mg if is_corrected else row.grams_mg, 1000),
            grams_basis=GRAMS_BASES[row.grams_basis],
            feed=None if row.feed is None else FEEDS[row.feed],
            purpose=purpose_text(row.purpose),
            setting=over(row.setting_milli, 1000),
            rpm=row.rpm,
            energy_joules=row.energy_joules,
            motor_celsius=over(row.motor_decicelsius, 10),
            ambient_celsius=over(row.ambient_decicelsius, 10),
            more=row.more,
            source=self.source(row.source_no),
            time_source=TIME_SOURCES[row.time_source],
            received_at=_instant(row.received_ms),
            voided_at=_instant(row.voided_ms),
            fingerprint=row.fingerprint.hex(),
        )

    def stream(self, cells: Iterable[StreamCell]) -> list[list[Any]]:
        """Cells in an order that no number within the account decides."""
        lines = [
            [
                cell.hour,
                REASONS[cell.left_out],
                over(cell.setting_milli, 1000),
                cell.dose_class,
                cell.rpm,
                self.source(cell.source_no),
                cell.coffee_lot,
                None if cell.feed is None else FEEDS[cell.feed],
                purpose_text(cell.purpose),
                *(getattr(cell, name) for name in STREAM_SUMS),
            ]
            for cell in cells
            if cell.source_no is None or cell.source_no in self.sources
        ]
        return sorted(lines, key=lambda line: (line[0], json.dumps(line)))

    def _knows(self, row: RunRow | ReadingRow) -> bool:
        is_source_known = row.source_no is None or row.source_no in self.sources
        return row.grinder_no in self.grinders and is_source_known


def instant_text(at: datetime | None) -> str | None:
    """RFC 3339 in UTC, to the millisecond."""
    if at is None:
        return None
    return at.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _instant(milliseconds: int | None) -> str | None:
    return None if milliseconds is None else instant_text(to_instant(milliseconds))


def purpose_text(number: int) -> str | None:
    return None if number == UNSTATED else PURPOSES[number]


def _given(**members: Any) -> Thing:
    return {name: value for name, value in members.items() if value is not None}
