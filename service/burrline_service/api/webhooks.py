"""Operations on webhooks, their secrets, and what is on its way to them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from datetime import datetime
from typing import Any

from flask import current_app

from ..actions import deliveries, webhooks
from ..core.errors import (
    AlreadyExists,
    OutOfReach,
    ReceiverUnproven,
    TooManyWebhooks,
    WebhookDisabled,
)
from ..core.records import Caller
from ..core.webhook_records import Webhook, WebhookWithSecret
from .operation import JSON, MERGE_PATCH, Link, Operation
from .schemas_common import Paging
from .schemas_webhooks import (
    DeliveryPageSchema,
    DeliveryQuery,
    DeliverySchema,
    NewWebhookSchema,
    RotationSchema,
    WebhookChangeSchema,
    WebhookPageSchema,
    WebhookSchema,
    WebhookWithSecretSchema,
)
from .webhook_examples import DELIVERY, NEW_WEBHOOK, PROOF, SECRET, WEBHOOK

TAG = "Webhooks"
SENDER_KEY = "burrline.sender"


def create_webhook(
    database: Any, caller: Caller, *, fields: Mapping[str, Any], now: datetime
) -> WebhookWithSecret:
    made, secret = webhooks.create_webhook(
        database, caller, fields=fields, sender=current_app.extensions[SENDER_KEY], now=now
    )
    return WebhookWithSecret(**asdict(made), secret=secret)


def update_webhook(
    database: Any,
    caller: Caller,
    *,
    webhook_id: str,
    fields: Mapping[str, Any],
    if_match: frozenset[int] | None,
    now: datetime,
) -> Webhook:
    return webhooks.update_webhook(
        database,
        caller,
        webhook_id=webhook_id,
        fields=fields,
        if_match=if_match,
        sender=current_app.extensions[SENDER_KEY],
        now=now,
    )


def rotate_webhook_secret(
    database: Any, caller: Caller, *, webhook_id: str, fields: Mapping[str, Any], now: datetime
) -> WebhookWithSecret:
    rotated, secret = webhooks.rotate_webhook_secret(
        database, caller, webhook_id=webhook_id, fields=fields, now=now
    )
    return WebhookWithSecret(**asdict(rotated), secret=secret)


OPERATIONS = (
    Operation(
        name="create_webhook",
        method="POST",
        path="/v1/webhooks",
        tag=TAG,
        summary="Be told of events",
        description=PROOF,
        act=create_webhook,
        scope="manage",
        takes=NewWebhookSchema,
        gives=WebhookWithSecretSchema,
        status=201,
        refuses=(AlreadyExists, OutOfReach, ReceiverUnproven, TooManyWebhooks),
        has_etag=True,
        location="/v1/webhooks/<webhook_id>",
        links=(
            Link("get_webhook", {"webhook_id": "$response.body#/webhook_id"}),
            Link("test_webhook", {"webhook_id": "$response.body#/webhook_id"}),
        ),
        takes_example=NEW_WEBHOOK,
        gives_example={**WEBHOOK, "secret": SECRET},
    ),
    Operation(
        name="list_webhooks",
        method="GET",
        path="/v1/webhooks",
        tag=TAG,
        summary="List webhooks",
        description="The webhooks within this key's own bounds, in the order of their ids.",
        act=webhooks.list_webhooks,
        scope="manage",
        query=Paging,
        gives=WebhookPageSchema,
        is_list=True,
        gives_example={"items": [WEBHOOK], "next_cursor": None},
    ),
    Operation(
        name="get_webhook",
        method="GET",
        path="/v1/webhooks/<webhook_id>",
        tag=TAG,
        summary="Read a webhook",
        description="One webhook, with its revision as ETag; never its secret.",
        act=webhooks.get_webhook,
        scope="manage",
        gives=WebhookSchema,
        has_etag=True,
        gives_example=WEBHOOK,
    ),
    Operation(
        name="update_webhook",
        method="PATCH",
        path="/v1/webhooks/<webhook_id>",
        tag=TAG,
        summary="Change a webhook",
        description=(
            "A merge patch (RFC 7396) on the revision named by If-Match. Another URL, and a "
            "webhook that is enabled again, has to prove itself as a new one. What waited for a "
            "webhook that is disabled is given up."
        ),
        act=update_webhook,
        scope="manage",
        takes=WebhookChangeSchema,
        takes_media=(MERGE_PATCH, JSON),
        gives=WebhookSchema,
        refuses=(OutOfReach, ReceiverUnproven),
        needs_if_match=True,
        has_etag=True,
        takes_example={"name": "the on-call phone, upstairs"},
        gives_example={**WEBHOOK, "name": "the on-call phone, upstairs"},
    ),
    Operation(
        name="delete_webhook",
        method="DELETE",
        path="/v1/webhooks/<webhook_id>",
        tag=TAG,
        summary="Take a webhook away",
        description="With its secrets, its deliveries and their log; answered as it was.",
        act=webhooks.delete_webhook,
        scope="manage",
        gives=WebhookSchema,
        gives_example=WEBHOOK,
    ),
    Operation(
        name="rotate_webhook_secret",
        method="POST",
        path="/v1/webhooks/<webhook_id>/rotate",
        tag=TAG,
        summary="Replace a webhook's secret",
        description=(
            "A new secret, shown this once. Until the overlap ends each delivery carries a "
            "signature of the new and of the old one, so that a receiver can change over."
        ),
        act=rotate_webhook_secret,
        scope="manage",
        takes=RotationSchema,
        gives=WebhookWithSecretSchema,
        takes_example={"overlap_seconds": 86_400},
        gives_example={**WEBHOOK, "secret": SECRET},
    ),
    Operation(
        name="test_webhook",
        method="POST",
        path="/v1/webhooks/<webhook_id>/test",
        tag=TAG,
        summary="Send a ping",
        description=(
            "Puts an event of the type `burrline.webhook.test` on its way, at once even if the "
            "receiver is being left alone: if it answers well, what waited for it follows."
        ),
        act=deliveries.test_webhook,
        scope="manage",
        gives=DeliverySchema,
        status=202,
        refuses=(WebhookDisabled,),
        gives_example={
            **DELIVERY,
            "type": "burrline.webhook.test",
            "state": "waiting",
            "attempt_count": 0,
            "next_attempt_at": DELIVERY["made_at"],
            "done_at": None,
            "attempts": [],
        },
    ),
    Operation(
        name="list_deliveries",
        method="GET",
        path="/v1/webhooks/<webhook_id>/deliveries",
        tag=TAG,
        summary="List deliveries",
        description=(
            "What is and was on its way, the newest first, with what came of each attempt. What "
            "is done with is kept for 30 days."
        ),
        act=deliveries.list_deliveries,
        scope="manage",
        query=DeliveryQuery,
        gives=DeliveryPageSchema,
        is_list=True,
        gives_example={"items": [DELIVERY], "next_cursor": None},
    ),
    Operation(
        name="redeliver",
        method="POST",
        path="/v1/webhooks/<webhook_id>/deliveries/<event_id>/redeliver",
        tag=TAG,
        summary="Deliver an event once more",
        description=(
            "From the beginning of the schedule, at once even if the receiver is being left alone, "
            "and under the event's own id: a receiver that took it already knows it by that."
        ),
        act=deliveries.redeliver,
        scope="manage",
        gives=DeliverySchema,
        status=202,
        refuses=(WebhookDisabled,),
        gives_example={
            **DELIVERY,
            "state": "waiting",
            "attempt_count": 0,
            "next_attempt_at": "2026-07-01T09:00:00.000Z",
            "made_at": "2026-07-01T09:00:00.000Z",
            "done_at": None,
        },
    ),
)
