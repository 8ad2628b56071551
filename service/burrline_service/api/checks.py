"""What a field's value is held to, with messages that say what would be right."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

from marshmallow import ValidationError, validate


class FullMatch(validate.Validator):
    """The whole text matches; unlike ``$``, no trailing newline slips through."""

    def __init__(self, pattern: str) -> None:
        self.pattern = pattern
        self._compiled = re.compile(pattern, re.ASCII)

    def __call__(self, value: str) -> str:
        if self._compiled.fullmatch(value) is None:
            raise ValidationError(self._wanted())
        return value

    def _wanted(self) -> str:
        """What is wanted, in words where the pattern is a length of some characters."""
        found = re.fullmatch(r"\[([^\[\]]+)\](?:\{([0-9]+)(?:,([0-9]+))?\})", self.pattern)
        if found is None:
            return f"must match {self.pattern}"
        characters, low, high = found.groups()
        length = low if high is None else f"{low} to {high}"
        ranges = re.findall(".-.|.", characters)
        return f"must be {length} characters out of {' '.join(ranges)}"


def all_different(values: list[Any]) -> None:
    if len(set(values)) != len(values):
        raise ValidationError("must not name anything twice")


_DATE = re.compile("[0-9]{4}-[0-9]{2}-[0-9]{2}", re.ASCII)


def a_date(value: str) -> None:
    """A day of the calendar, ``YYYY-MM-DD`` (RFC 3339, full-date)."""
    try:
        is_one = _DATE.fullmatch(value) is not None and bool(date.fromisoformat(value))
    except ValueError:
        is_one = False
    if not is_one:
        raise ValidationError("must be a date such as 2026-12-25")


def one_of(choices: tuple[Any, ...]) -> validate.OneOf:
    return validate.OneOf(
        choices, error="must be one of " + ", ".join(str(choice) for choice in choices)
    )


def length_within(low: int | None, high: int | None, noun: str) -> validate.Length:
    bounds = f"{low} to {high}" if low else f"at most {high}"
    return validate.Length(min=low or None, max=high, error=f"must have {bounds} {noun}")


def number_within(low: float | None, above: float | None, high: float | None) -> validate.Range:
    parts = []
    if low is not None:
        parts.append(f"at least {low:g}")
    if above is not None:
        parts.append(f"above {above:g}")
    if high is not None:
        parts.append(f"at most {high:.15g}")
    return validate.Range(
        min=low if above is None else above,
        max=high,
        min_inclusive=above is None,
        error="must be " + " and ".join(parts),
    )
