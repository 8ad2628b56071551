"""Shapes of access keys and of the service's own answers."""

from __future__ import annotations

from marshmallow import fields

from ..core.records import SCOPES
from .fields import Array, Choice, Instant, Text, nullable
from .operation import GRINDER_ID, KEY_ID, SITE_ID
from .schemas_common import Answer, Body, cursor_of_next, items_of

MOST_BINDINGS = 200


def _scope() -> Choice:
    return Choice("One thing a key may do.", SCOPES)


def _site() -> Text:
    return Text("A site's id.", pattern=SITE_ID, example="mill-lane")


def _grinder() -> Text:
    return Text("A grinder's id.", pattern=GRINDER_ID, example="bar-1")


_NAME = "What the key is for, in your own words."
_SITES = "The sites it is bound to; none: not bound to sites."
_GRINDERS = "The grinders it is bound to; none: not bound to grinders."


class NewKeySchema(Body):
    """A key to be made."""

    name = Text(_NAME, high=200, example="scale at the left bar", required=True)
    scopes = Array(
        _scope(), "What it may do; without it, everything.", low=1, high=len(SCOPES), is_unique=True
    )
    site_ids = Array(_site(), _SITES, high=MOST_BINDINGS, is_unique=True)
    grinder_ids = Array(_grinder(), _GRINDERS, high=MOST_BINDINGS, is_unique=True)
    expires_at = nullable(
        Instant, "From when on it is refused; null or absent: never.", example=None
    )


class KeySchema(Answer):
    """A key as it may be shown: never its secret."""

    key_id = Text("The key's public part.", pattern=KEY_ID, example="Qm3xT9Lk")
    name = Text(_NAME, high=200, example="scale at the left bar")
    scopes = Array(_scope(), "What it may do.")
    site_ids = Array(_site(), _SITES)
    grinder_ids = Array(_grinder(), _GRINDERS)
    last_four = Text("The last four characters of the secret, to tell keys apart.", high=4)
    created_at = Instant("When it was made.")
    expires_at = nullable(Instant, "From when on it is refused; null: never.", example=None)
    revoked_at = nullable(Instant, "When it was revoked; null: it is not.", example=None)
    last_used_at = nullable(
        Instant, "When it was last used, to the minute; null: never.", example=None
    )


class KeyWithSecretSchema(KeySchema):
    """A new key with its secret, shown this once."""

    secret = Text("The whole key, to be sent as Bearer token. It cannot be shown again.", high=200)


class KeyPageSchema(Answer):
    """One page of keys."""

    items = items_of(KeySchema, "keys")
    next_cursor = cursor_of_next()


class LivenessSchema(Answer):
    """The process answers."""

    status = Choice("Always `pass`.", ("pass",))


class ReadinessSchema(Answer):
    """Everything needed works."""

    status = Choice("Always `pass`; anything else is answered as 503.", ("pass",))
    checks = fields.Dict(
        keys=fields.String(),
        values=fields.String(),
        metadata={"description": "Each check by name: `pass`."},
    )
