"""When somebody watched a grinder, but for what corrections took back."""

from __future__ import annotations

from collections.abc import Sequence

from ..store import readings
from ..store.database import Connection
from ..store.landmarks import Landmarks
from .counting import Counter

Spans = list[tuple[int, int]]
ONCE = (0, 1)
"""A span long ago: it says that there were watched times, so that silence elsewhere is none."""


def watched_times(
    connection: Connection,
    account_no: int,
    told: Sequence[tuple[int, int]],
    *,
    marks: Landmarks,
    counter: Counter,
) -> Spans:
    """The watched spans of a window, out of those told; empty where nobody ever watched.

    A span that lies in one taken back was never watched at all.
    """
    spans = list(told)
    for low, high in counter.unwatched:
        pieces = [
            piece
            for begin, end in spans
            for piece in ((begin, min(end, low)), (max(begin, high), end))
        ]
        spans = [piece for piece in pieces if piece[0] < piece[1]]
    if spans or not marks.is_watched:
        return spans
    if counter.unwatched and not readings.is_watched_beside(
        connection, account_no, counter.grinder_no, counter.unwatched, until_ms=counter.at_ms
    ):
        return []
    return [ONCE]
