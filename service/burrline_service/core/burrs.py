"""Which burr set sat in which grinder when, worked out from all fittings as entered.

A fitting ends at the earliest of: its own removal, the next fitting in the same grinder, the next
fitting of the same set elsewhere. So the order in which fittings are entered cannot matter, and a
late one moves the kilograms it should without touching a run.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from .errors import Fault, FittingsOverlap, Invalid


@dataclass(frozen=True)
class Entry:
    """A fitting as entered."""

    grinder_id: str
    burr_set_id: str
    fitted_at: datetime
    removed_at: datetime | None = None


def next_change(entry: Entry, entries: Iterable[Entry]) -> datetime | None:
    """The first later instant at which another fitting ends this one, if there is one."""
    return min(
        (
            other.fitted_at
            for other in entries
            if other.fitted_at > entry.fitted_at
            and (other.grinder_id == entry.grinder_id or other.burr_set_id == entry.burr_set_id)
        ),
        default=None,
    )


def end_of(entry: Entry, entries: Iterable[Entry]) -> datetime | None:
    """When the fitting ended, None while it lasts."""
    ends = [at for at in (entry.removed_at, next_change(entry, entries)) if at is not None]
    return min(ends, default=None)


def check_entries(entries: Sequence[Entry]) -> None:
    """Refuse fittings that cannot all be true.

    Raises
    ------
    Invalid
        A removal that is not after its fitting.
    FittingsOverlap
        Two sets in one grinder, or one set in two grinders, at the same time.
    """
    for entry in entries:
        if entry.removed_at is not None and entry.removed_at <= entry.fitted_at:
            raise Invalid(Fault("must be later than fitted_at", pointer="/fittings"))
        for other in entries:
            if other is entry or other.fitted_at != entry.fitted_at:
                continue
            if other.grinder_id == entry.grinder_id:
                raise FittingsOverlap(
                    f"Burr sets {entry.burr_set_id!r} and {other.burr_set_id!r} would both be "
                    f"fitted to grinder {entry.grinder_id!r} at {entry.fitted_at.isoformat()}."
                )
            if other.burr_set_id == entry.burr_set_id:
                raise FittingsOverlap(
                    f"Burr set {entry.burr_set_id!r} would be fitted to grinders "
                    f"{entry.grinder_id!r} and {other.grinder_id!r} at "
                    f"{entry.fitted_at.isoformat()}."
                )
        following = next_change(entry, entries)
        removed_at = entry.removed_at
        if following is not None and removed_at is not None and following < removed_at:
            raise FittingsOverlap(
                f"Burr set {entry.burr_set_id!r} is entered as removed from grinder "
                f"{entry.grinder_id!r} at {removed_at.isoformat()}, but the next fitting "
                f"begins before that, at {following.isoformat()}. Mend the dates of one of them."
            )
