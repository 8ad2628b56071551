"""Field types of the contract: exact about JSON types, RFC 3339 and whole-text patterns.

Every field takes its description first (with the unit, where there is one), so that none is
forgotten.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import datetime
from typing import Any

from marshmallow import fields

from .checks import FullMatch, a_date, all_different, length_within, number_within, one_of
from .instants import instant_text, read_instant
from .strict_json import LARGEST_INTEGER

_MESSAGES: dict[str, Any] = {
    "required": "is required",
    "null": "must not be null",
    "validator_failed": "is not acceptable",
}
_TEXT_MESSAGES = {**_MESSAGES, "invalid": "must be a string"}
_NUMBER_MESSAGES = {
    **_MESSAGES,
    "invalid": "must be a number",
    "special": "must be a finite number",
    "too_large": "is too large",
}
_INTEGER_MESSAGES = {**_MESSAGES, "invalid": "must be an integer"}
_BOOLEAN_MESSAGES = {**_MESSAGES, "invalid": "must be true or false"}
_INSTANT_MESSAGES = {
    **_MESSAGES,
    "invalid": "must be an instant as in RFC 3339, with offset: 2026-07-01T08:15:00Z",
}
_OBJECT_MESSAGES = {**_MESSAGES, "type": "must be an object"}
_ARRAY_MESSAGES = {**_MESSAGES, "invalid": "must be an array"}


def _metadata(description: str, example: Any, more: dict[str, Any] | None) -> dict[str, Any]:
    metadata: dict[str, Any] = {"description": description, **(more or {})}
    if example is not None:
        metadata["examples"] = [example]
    return metadata


class Text(fields.String):
    """A text of bounded length; with ``pattern`` the whole text must match it.

    Without ``high`` the pattern alone bounds the length.
    """

    default_error_messages = _TEXT_MESSAGES

    def __init__(
        self,
        description: str,
        *,
        high: int | None = None,
        low: int = 1,
        pattern: str | None = None,
        example: str | None = None,
        metadata: dict[str, Any] | None = None,
        **kwargs: Any,
    ) -> None:
        checks: list[Any] = [] if high is None else [length_within(low, high, "characters")]
        if pattern is not None:
            checks.append(FullMatch(pattern))
        super().__init__(
            validate=checks, metadata=_metadata(description, example, metadata), **kwargs
        )

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> Any:
        if type(value) is not str:
            raise self.make_error("invalid")
        return value


class Day(Text):
    """A local date as RFC 3339 writes it (full-date)."""

    def __init__(self, description: str, **kwargs: Any) -> None:
        super().__init__(description, example="2026-12-25", metadata={"format": "date"}, **kwargs)
        self.validators.append(a_date)


class Choice(fields.String):
    """One of a few words."""

    default_error_messages = _TEXT_MESSAGES

    def __init__(
        self,
        description: str,
        choices: Iterable[str],
        *,
        metadata: dict[str, Any] | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(
            validate=one_of(tuple(choices)),
            metadata=_metadata(description, None, metadata),
            **kwargs,
        )

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> Any:
        if type(value) is not str:
            raise self.make_error("invalid")
        return value


class StrictFloat(fields.Float):
    """A JSON number; never a text, never true or false."""

    default_error_messages = _NUMBER_MESSAGES

    def __init__(
        self,
        description: str,
        *,
        low: float | None = None,
        above: float | None = None,
        high: float | None = None,
        example: float | None = None,
        metadata: dict[str, Any] | None = None,
        **kwargs: Any,
    ) -> None:
        if not (low is None and above is None and high is None):
            kwargs["validate"] = number_within(low, above, high)
        super().__init__(metadata=_metadata(description, example, metadata), **kwargs)

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> float:
        if type(value) is not float and type(value) is not int:
            raise self.make_error("invalid")
        return self._validated(value) + 0.0


class StrictInteger(fields.Integer):
    """A JSON number without a fraction; ``120.0`` is one (JSON Schema says so), ``"120"`` not."""

    default_error_messages = _INTEGER_MESSAGES

    def __init__(
        self,
        description: str,
        *,
        choices: Iterable[int] | None = None,
        low: int | None = None,
        high: int | None = None,
        example: int | None = None,
        **kwargs: Any,
    ) -> None:
        if choices is not None:
            kwargs["validate"] = one_of(tuple(choices))
        elif low is not None or high is not None:
            kwargs["validate"] = number_within(low, None, high)
        super().__init__(metadata=_metadata(description, example, None), **kwargs)

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> int:
        if type(value) is float and value.is_integer() and abs(value) <= LARGEST_INTEGER:
            return int(value)
        if type(value) is not int or abs(value) > LARGEST_INTEGER:
            raise self.make_error("invalid")
        return value


class StrictBoolean(fields.Boolean):
    """JSON true or false, nothing that looks like it."""

    default_error_messages = _BOOLEAN_MESSAGES

    def __init__(self, description: str, **kwargs: Any) -> None:
        super().__init__(metadata=_metadata(description, None, None), **kwargs)

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> bool:
        if value is not True and value is not False:
            raise self.make_error("invalid")
        return value


class QueryInteger(StrictInteger):
    """An integer in a query: ASCII digits alone, no sign, space, underscore or leading zero."""

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> int:
        if type(value) is not str or re.fullmatch("0|[1-9][0-9]{0,14}", value) is None:
            raise self.make_error("invalid")
        return int(value)


class Instant(fields.Field[datetime]):
    """An instant as RFC 3339 with offset; answered in UTC with milliseconds."""

    default_error_messages = _INSTANT_MESSAGES

    def __init__(
        self,
        description: str,
        *,
        example: str | None = "2026-07-01T08:15:00.000Z",
        metadata: dict[str, Any] | None = None,
        **kwargs: Any,
    ) -> None:
        more = {"format": "date-time", **(metadata or {})}
        super().__init__(metadata=_metadata(description, example, more), **kwargs)

    def _serialize(self, value: datetime | None, attr: Any, obj: Any, **kwargs: Any) -> str | None:
        return None if value is None else instant_text(value)

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> datetime:
        at = read_instant(value) if type(value) is str else None
        if at is None:
            raise self.make_error("invalid")
        return at


def nullable(kind: Any, *args: Any, **kwargs: Any) -> Any:
    """The field, also taking null."""
    return kind(*args, allow_none=True, **kwargs)


class Inner(fields.Nested):
    """An object within an object."""

    default_error_messages = _OBJECT_MESSAGES

    def __init__(self, schema: Any, description: str, **kwargs: Any) -> None:
        super().__init__(schema, metadata={"description": description}, **kwargs)


class Array(fields.List[Any]):
    """An array of one kind of things, bounded in length."""

    default_error_messages = _ARRAY_MESSAGES

    def __init__(
        self,
        inner: Any,
        description: str,
        *,
        low: int | None = None,
        high: int | None = None,
        is_unique: bool = False,
        **kwargs: Any,
    ) -> None:
        checks: list[Any] = []
        if low is not None or high is not None:
            checks.append(length_within(low, high, "items"))
        metadata: dict[str, Any] = {"description": description}
        if is_unique:
            checks.append(all_different)
            metadata["uniqueItems"] = True
        super().__init__(inner, validate=checks, metadata=metadata, **kwargs)
