"""What the service posts to receivers, as the document's ``webhooks`` tell it."""

from __future__ import annotations

from typing import Any

from ..core.alert_records import EVENT_TYPES
from ..core.cloud_events import CHALLENGE_TYPE, MEDIA_TYPE

EVENT: dict[str, Any] = {
    "type": "object",
    "description": "A CloudEvent (version 1.0) in JSON.",
    "required": ["specversion", "id", "source", "type", "time", "data"],
    "properties": {
        "specversion": {"const": "1.0", "description": "The version of CloudEvents."},
        "id": {
            "type": "string",
            "description": "The event's id, the same at every attempt: drop what you have seen.",
        },
        "source": {"type": "string", "format": "uri-reference", "description": "Where it was."},
        "type": {"type": "string", "description": "What happened."},
        "time": {"type": "string", "format": "date-time", "description": "When it happened."},
        "subject": {"type": "string", "description": "The grinder it is about."},
        "datacontenttype": {"const": "application/json", "description": "What `data` is."},
        "data": {"type": "object", "description": "The event itself."},
    },
}


def document_webhooks() -> dict[str, Any]:
    """The ``webhooks`` of the document: events, and the proof asked of a receiver."""
    return {
        "event": {
            "post": _posted(
                "receive_event",
                "An event",
                "Sent at least once to every webhook that asks for its type, signed as Standard "
                "Webhooks says. Types: " + ", ".join(f"`{kind}`" for kind in EVENT_TYPES) + ".",
                {
                    "2XX": "It has arrived.",
                    "410": "Send nothing more: the webhook is disabled.",
                    "429": "Send later: all of this receiver's deliveries wait for Retry-After.",
                    "default": "It is sent again, up to nine times in three days.",
                },
            )
        },
        "challenge": {
            "post": _posted(
                "receive_challenge",
                "The proof of a receiver",
                f"Of the type `{CHALLENGE_TYPE}`: sent once when a webhook is made, or its URL "
                "changed, before its secret is known.",
                {"200": 'The text in `data.challenge`, alone or as `{"challenge": "..."}`.'},
            )
        },
    }


def _posted(name: str, summary: str, description: str, answers: dict[str, str]) -> dict[str, Any]:
    return {
        "operationId": name,
        "tags": ["Webhooks"],
        "summary": summary,
        "description": description,
        "security": [],
        "parameters": [
            {
                "name": header,
                "in": "header",
                "required": True,
                "description": about,
                "schema": {"type": "string"},
                "example": example,
            }
            for header, about, example in (
                ("webhook-id", "The event's id.", "0197c4f2-5d10-7c3a-9b1e-2f6a8d0c4e71"),
                ("webhook-timestamp", "When this attempt was made, Unix seconds.", "1782895202"),
                (
                    "webhook-signature",
                    "`v1,` and base64 of HMAC-SHA256 over id, time and body, joined by full "
                    "stops; several, parted by spaces, while a secret changes over.",
                    "v1,wgqxh2H/CHGHW+rqe+Z//7+rNobYqYObrwnZYzFtRNc=",
                ),
            )
        ],
        "requestBody": {
            "required": True,
            "content": {
                MEDIA_TYPE: {
                    "schema": EVENT,
                    "example": {
                        "specversion": "1.0",
                        "id": "0197c4f2-5d10-7c3a-9b1e-2f6a8d0c4e71",
                        "source": "/v1/grinders/bar-1",
                        "type": "burrline.webhook.test",
                        "time": "2026-07-01T08:40:02.000Z",
                        "datacontenttype": "application/json",
                        "data": {},
                    },
                }
            },
        },
        "responses": {status: {"description": about} for status, about in answers.items()},
    }
