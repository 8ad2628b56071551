"""When a burr set was taken out of its grinder and put back."""

from __future__ import annotations

from collections.abc import Sequence

from ..core.joining import Seating
from ..store.entries import EntryRow
from ..store.types import to_instant
from .asked import Stay

SEATING_TASKS = ("burrs_removed", "alignment")
"""Care after which the burrs do not lie as before: a level step of the grind."""


def seatings_of(stays: Sequence[Stay], cared: Sequence[EntryRow]) -> list[Seating]:
    """When the set of these stays was taken out and put back."""
    return seatings_in(
        [(stay.counter.grinder_no, stay.from_ms, stay.to_ms) for stay in stays], cared
    )


def seatings_in(stays: Sequence[tuple[int, int, int]], cared: Sequence[EntryRow]) -> list[Seating]:
    """When a set was taken out and put back: by care during its stays, or by coming back.

    A stay is a number of a grinder, and from when until when. Of several entries at one instant
    one counts, the first that tells the zero.
    """
    found: dict[int, float | None] = {from_ms: None for _, from_ms, _ in stays[1:]}
    for row in sorted(cared, key=lambda row: (row.from_ms, row.entry_id)):
        is_here = any(
            row.grinder_no == number and from_ms <= row.from_ms < to_ms
            for number, from_ms, to_ms in stays
        )
        if is_here and found.get(row.from_ms) is None:
            found[row.from_ms] = row.body.get("zero_setting")
    return [Seating(to_instant(at_ms), zero) for at_ms, zero in sorted(found.items())]
