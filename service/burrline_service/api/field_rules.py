"""What the OpenAPI document says of our own field types, beyond what apispec knows by itself."""

from __future__ import annotations

from typing import Any

from marshmallow import fields, validate

from .checks import FullMatch
from .fields import Instant


def _bounds(converter: Any, field: fields.Field[Any], ret: dict[str, Any]) -> dict[str, Any]:
    """An open lower bound is ``exclusiveMinimum`` (apispec writes ``minimum``)."""
    for check in field.validators:
        if isinstance(check, validate.Range) and not check.min_inclusive:
            ret.pop("minimum", None)
            return {"exclusiveMinimum": check.min}
    return {}


def _pattern(converter: Any, field: fields.Field[Any], ret: dict[str, Any]) -> dict[str, Any]:
    """A whole-text pattern is anchored in the document."""
    for check in field.validators:
        if isinstance(check, FullMatch):
            return {"pattern": f"^{check.pattern}$"}
    return {}


def _single_choice(converter: Any, field: fields.Field[Any], ret: dict[str, Any]) -> dict[str, Any]:
    """A choice of one is a constant."""
    choices = ret.get("enum")
    if choices is not None and len(choices) == 1:
        ret.pop("enum")
        return {"const": choices[0]}
    return {}


def _instant(converter: Any, field: fields.Field[Any], ret: dict[str, Any]) -> dict[str, Any]:
    if isinstance(field, Instant):
        return {"type": ["string", "null"] if field.allow_none else "string"}
    return {}


FIELD_RULES = (_bounds, _pattern, _single_choice, _instant)
