"""Shapes of webhooks, and of what is on its way to them."""

from __future__ import annotations

from marshmallow import fields

from ..actions.webhooks import SUBSCRIBED
from ..core.webhook_records import DELIVERY_STATES
from .fields import (
    Array,
    Choice,
    Instant,
    StrictBoolean,
    StrictFloat,
    StrictInteger,
    Text,
    nullable,
)
from .operation import EVENT_ID, WEBHOOK_ID
from .schemas_common import (
    Answer,
    Body,
    Paging,
    created_at,
    cursor_of_next,
    grinder_id,
    items_of,
    site_id,
)

LONGEST_URL = 2048
MOST_BINDINGS = 200
LONGEST_OVERLAP_SECONDS = 7 * 86_400
_SITES = "Only events of these sites; with no site and no grinder: of the whole account."
_GRINDERS = "Only events of these grinders, beside those of the sites."


def _url(**kwargs: object) -> Text:
    return Text(
        "Where to post to: https, a host name (no address), nothing secret in it.",
        high=LONGEST_URL,
        example="https://hooks.roastery.example/burrline",
        pattern="https?://[!-~]+",
        **kwargs,  # type: ignore[arg-type]
    )


def _types(description: str, **kwargs: object) -> Array:
    kind = Choice("A type of event.", SUBSCRIBED)
    return Array(kind, description, is_unique=True, **kwargs)  # type: ignore[arg-type]


def webhook_id(**kwargs: object) -> Text:
    return Text(
        "The webhook's id: yours, or one that is made.",
        pattern=WEBHOOK_ID,
        example="webhook-000431",
        **kwargs,  # type: ignore[arg-type]
    )


class NewWebhookSchema(Body):
    """A receiver of events."""

    webhook_id = webhook_id()
    name = nullable(Text, "For people: who is told.", low=0, high=200, example="the on-call phone")
    url = _url(required=True)
    types = _types("Which events; without it, all of them.", low=1, high=len(SUBSCRIBED))
    site_ids = Array(site_id("A site."), _SITES, high=MOST_BINDINGS, is_unique=True)
    grinder_ids = Array(grinder_id("A grinder."), _GRINDERS, high=MOST_BINDINGS, is_unique=True)


class WebhookChangeSchema(Body):
    """A merge patch of a webhook; lists are replaced whole, null empties them."""

    name = nullable(Text, "For people: who is told.", low=0, high=200, example="the on-call phone")
    url = _url()
    types = _types("Which events; null: all of them.", low=1, high=len(SUBSCRIBED), allow_none=True)
    site_ids = Array(
        site_id("A site."), _SITES, high=MOST_BINDINGS, is_unique=True, allow_none=True
    )
    grinder_ids = Array(
        grinder_id("A grinder."), _GRINDERS, high=MOST_BINDINGS, is_unique=True, allow_none=True
    )
    is_enabled = StrictBoolean("False: send nothing more; true: send again.")


class WebhookSchema(Answer):
    """A receiver of events; never its secret."""

    webhook_id = webhook_id()
    name = Text("For people: who is told.", low=0, high=200, example="the on-call phone")
    url = _url()
    types = _types("Which events.")
    site_ids = Array(site_id("A site."), _SITES)
    grinder_ids = Array(grinder_id("A grinder."), _GRINDERS)
    created_at = created_at("webhook")
    disabled_at = nullable(Instant, "Since when nothing is sent; null: it is.", example=None)
    disabled_because = nullable(
        Text, "Why nothing is sent.", high=200, example="the receiver answered 410 Gone"
    )
    failure_count = StrictInteger("Attempts that failed in a row.", low=0, example=0)
    paused_until = nullable(
        Instant, "Until when the receiver is left alone; null: it is not.", example=None
    )


class WebhookWithSecretSchema(WebhookSchema):
    """A webhook with a new secret, shown this once."""

    secret = Text(
        "What deliveries are signed with (Standard Webhooks): `whsec_` and base64. It cannot be "
        "shown again.",
        high=200,
        example="whsec_AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8=",
    )


class WebhookPageSchema(Answer):
    """One page of webhooks."""

    items = items_of(WebhookSchema, "webhooks")
    next_cursor = cursor_of_next()


class RotationSchema(Body):
    """How a secret is to be replaced."""

    overlap_seconds = StrictInteger(
        "So long the secret there was signs beside the new one; without it, one day. 0 ends it at "
        "once.",
        low=0,
        high=LONGEST_OVERLAP_SECONDS,
        example=86_400,
    )


class AttemptSchema(Answer):
    """One attempt to deliver."""

    attempted_at = Instant("When it began.")
    status = nullable(StrictInteger, "The answer's HTTP status; null: there was none.", example=204)
    seconds = StrictFloat("How long it took, in seconds.", low=0, example=0.21)
    answer = nullable(
        Text, "How the answer began, where there was a body.", low=0, high=8192, example=None
    )
    error = nullable(Text, "What went wrong; null: nothing.", low=0, high=500, example=None)


class DeliverySchema(Answer):
    """One event on its way to one webhook."""

    event_id = Text("The event's id: the `webhook-id` of each attempt.", pattern=EVENT_ID)
    type = Text("The event's type.", high=100, example="burrline.alert.opened")
    state = Choice("How it stands; `failed` ones are sent again by `redeliver`.", DELIVERY_STATES)
    attempt_count = StrictInteger("Attempts of this round, up to ten.", low=0, example=1)
    next_attempt_at = nullable(Instant, "Not tried again before; null: no more.", example=None)
    made_at = Instant("When it was to be delivered.")
    done_at = nullable(Instant, "When it arrived or was given up; null: it waits.")
    attempts = Array(fields.Nested(AttemptSchema), "The latest attempts, the last one first.")


class DeliveryPageSchema(Answer):
    """One page of deliveries."""

    items = items_of(DeliverySchema, "deliveries")
    next_cursor = cursor_of_next()


class DeliveryQuery(Paging):
    state = Choice("Only those that stand so.", DELIVERY_STATES)
