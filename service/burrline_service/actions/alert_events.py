"""Events as they are told: alerts that opened or closed, stages that changed."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from ..core.alert_records import ALERT_CLOSED, STAGE_CHANGED, EventRow
from ..core.ledger import Entry
from ..store.grinders import GrinderRow
from ..store.types import to_instant

if TYPE_CHECKING:
    from ..core.stages import StageChange


def alert_event(
    type_: str,
    entry: Entry,
    row: GrinderRow,
    *,
    noticed_at: datetime,
    is_late: bool,
    is_held: bool,
    reason: str | None,
    event_id: str,
) -> EventRow:
    """An alert opened, or closed, as it is told."""
    at_ms = entry.opened_ms
    is_closing = type_ == ALERT_CLOSED
    if is_closing and entry.closed_ms is not None:
        at_ms = entry.closed_ms
    closed_ms = entry.closed_ms if is_closing else None
    return EventRow(
        position=0,
        event_id=event_id,
        type=type_,
        at=to_instant(at_ms),
        grinder_no=row.grinder_no,
        site_no=row.site_no,
        grinder_id=row.grinder.grinder_id,
        alert_id=entry.alert_id,
        severity=entry.severity,
        is_late=is_late,
        is_held=is_held,
        body={
            "alert_id": entry.alert_id,
            "kind": entry.kind,
            "severity": entry.severity,
            "grinder_id": row.grinder.grinder_id,
            "site_id": row.site.site_id,
            "opened_at": instant_text(to_instant(entry.opened_ms)),
            "closed_at": None if closed_ms is None else instant_text(to_instant(closed_ms)),
            "noticed_at": instant_text(noticed_at),
            "is_late": is_late,
            "reason": reason,
            "facts": dict(entry.facts),
        },
    )


def stage_event(
    burr_set_id: str,
    change: StageChange,
    row: GrinderRow,
    *,
    from_stage: str | None,
    is_late: bool,
    event_id: str,
) -> EventRow:
    """A burr set's stage changed, as it is told."""
    return EventRow(
        position=0,
        event_id=event_id,
        type=STAGE_CHANGED,
        at=change.at,
        grinder_no=row.grinder_no,
        site_no=row.site_no,
        grinder_id=row.grinder.grinder_id,
        alert_id=None,
        severity="notice",
        is_late=is_late,
        is_held=False,
        body={
            "burr_set_id": burr_set_id,
            "grinder_id": row.grinder.grinder_id,
            "site_id": row.site.site_id,
            "at": instant_text(change.at),
            "from_stage": from_stage,
            "to_stage": change.to_stage,
            "basis": change.basis,
            "verdict": change.verdict,
            "burr_grams": change.burr_grams,
            "is_late": is_late,
        },
    )


def instant_text(at: datetime) -> str:
    return at.isoformat(timespec="milliseconds").replace("+00:00", "Z")
