"""Column types that keep promises."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import BigInteger, Dialect
from sqlalchemy.types import TypeDecorator

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MILLISECOND = timedelta(milliseconds=1)


def to_milliseconds(at: datetime) -> int:
    """Whole milliseconds since 1970-01-01T00:00Z, rounded down; refuses a naive instant."""
    if at.tzinfo is None:
        raise ValueError("a naive instant cannot be stored")
    return (at - EPOCH) // MILLISECOND


def to_instant(milliseconds: int) -> datetime:
    """The aware UTC instant of whole milliseconds since 1970."""
    return EPOCH + timedelta(milliseconds=milliseconds)


class UtcDateTime(TypeDecorator[datetime]):
    """An aware instant, stored as integer milliseconds since 1970 UTC on every database."""

    impl = BigInteger
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> int | None:
        return None if value is None else to_milliseconds(value)

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        return None if value is None else to_instant(int(value))
