"""What the schemas of all topics share."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from marshmallow import EXCLUDE, RAISE, Schema, fields

from .cursors import LONGEST_CURSOR
from .fields import Array, Choice, Instant, QueryInteger, StrictFloat, StrictInteger, Text, nullable
from .operation import BURR_SET_ID, GRINDER_ID, RUN_ID, SITE_ID

_BODY_MESSAGES = {"unknown": "is not a known member", "type": "must be an object"}
_QUERY_MESSAGES = {"unknown": "is not a known parameter", "type": "must be a query"}


class Body(Schema):
    """A body that is sent to us: nothing unknown in it.

    ``document`` is what JSON Schema can say about the whole object beyond its members.
    """

    document: Mapping[str, Any] = MappingProxyType({})
    error_messages = _BODY_MESSAGES

    class Meta:
        unknown = RAISE


class Query(Body):
    """Parameters of a query."""

    error_messages = _QUERY_MESSAGES


class Answer(Schema):
    """A body that we answer: every member is always there; later releases may add some."""

    document: Mapping[str, Any] = MappingProxyType({})

    class Meta:
        unknown = EXCLUDE

    def on_bind_field(self, field_name: str, field_obj: fields.Field[Any]) -> None:
        field_obj.required = True


class Paging(Query):
    limit = QueryInteger(
        "How many items at most, 1 to 200; 50 without it.", low=1, high=200, example=50
    )
    cursor = Text(
        "Where to go on: `next_cursor` of the page before, unchanged, with the same filters.",
        low=0,
        high=LONGEST_CURSOR,
    )


def items_of(item: type[Schema], noun: str) -> Any:
    """The items of a page."""
    return Array(fields.Nested(item), f"The {noun} of this page.")


def cursor_of_next() -> Any:
    """The way on from a page."""
    return nullable(
        Text,
        "Send it as `cursor` for the next page; null on the last one.",
        low=0,
        high=LONGEST_CURSOR,
    )


def site_id(description: str = "The site's id, chosen by you.", **kwargs: Any) -> Any:
    return Text(description, pattern=SITE_ID, example="mill-lane", **kwargs)


def grinder_id(description: str = "The grinder's id, chosen by you.", **kwargs: Any) -> Any:
    return Text(description, pattern=GRINDER_ID, example="bar-1", **kwargs)


def burr_set_id(description: str = "The burr set's id.", **kwargs: Any) -> Any:
    return Text(description, pattern=BURR_SET_ID, example="flat-64-a", **kwargs)


def run_id(description: str, **kwargs: Any) -> Any:
    return Text(description, low=8, high=128, pattern=RUN_ID, example="bar-1-0007-000123", **kwargs)


def name_of(noun: str, example: str, **kwargs: Any) -> Any:
    return Text(f"The {noun}'s name, for people.", high=200, example=example, **kwargs)


def created_at(noun: str) -> Any:
    return Instant(f"When burrline recorded the {noun}.")


class FaultSchema(Answer):
    """One thing wrong with one value."""

    detail = fields.String(metadata={"description": "What is wrong, for a person."})
    pointer = fields.String(
        metadata={
            "description": "Where in the body: a JSON pointer (RFC 6901) as URI fragment.",
            "examples": ["#/grams"],
        }
    )
    parameter = fields.String(
        metadata={"description": "Which parameter or header, for values outside the body."}
    )
    place = Choice("Where the parameter stands.", ("query", "path", "header"), data_key="in")

    def on_bind_field(self, field_name: str, field_obj: fields.Field[Any]) -> None:
        field_obj.required = field_name == "detail"


class ProblemSchema(Answer):
    """Why a request was not done (RFC 9457)."""

    type = fields.String(
        metadata={
            "description": "Which kind of problem: a name that does not change.",
            "format": "uri",
            "examples": ["urn:burrline:problem:invalid"],
        }
    )
    title = fields.String(metadata={"description": "The kind of problem, for a person."})
    status = StrictInteger("The HTTP status.", low=400, high=599)
    detail = fields.String(metadata={"description": "What happened this time, for a person."})
    instance = fields.String(
        metadata={
            "description": "`urn:request:` and the X-Request-Id of this answer.",
            "format": "uri",
        }
    )
    errors = Array(
        fields.Nested(FaultSchema), "Each thing wrong, where there is something to point at."
    )

    def on_bind_field(self, field_name: str, field_obj: fields.Field[Any]) -> None:
        field_obj.required = field_name != "errors"


class LimitsSchema(Answer):
    """A number with its two-sided 95 % limits, in the unit its place is named for."""

    low = nullable(StrictFloat, "The lower limit; null: none is known.")
    best = nullable(StrictFloat, "The likeliest value; null: it cannot be told.")
    high = nullable(StrictFloat, "The upper limit; null: none is known.")


class SaidSchema(Answer):
    """Something to know."""

    code = fields.String(metadata={"description": "What, for a program."})
    sentence = fields.String(metadata={"description": "The same for a person."})
