"""Lists by page: the rows of one, and whether there are more."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TypeVar

from ..store.types import to_milliseconds

Row = TypeVar("Row")


def milliseconds_or_none(at: datetime | None) -> int | None:
    return None if at is None else to_milliseconds(at)


def cut(rows: Sequence[Row], limit: int) -> tuple[Sequence[Row], Row | None]:
    """The rows of the page, and its last one if more follow: one more was asked for than fit."""
    kept = rows[:limit]
    return kept, kept[-1] if len(rows) > limit else None
