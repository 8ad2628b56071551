"""What the document shows and says of webhooks."""

from __future__ import annotations

from typing import Any

PROOF = """\
Events are posted to a URL as they happen, at least once, each under an id that never changes.

**Proof.** Before it is told anything, the receiver is sent an event of the type \
`burrline.webhook.challenge` and must answer 2xx with the text in `data.challenge`, alone or as \
`{"challenge": "..."}`, within 8 seconds. Its URL must be https and lead to public addresses \
alone; redirections are not followed.

**What is sent** is a CloudEvent in JSON (`application/cloudevents+json`), signed as Standard \
Webhooks says: `webhook-id`, `webhook-timestamp`, `webhook-signature` over id, time and the very \
bytes of the body. Verify before you parse, and drop ids that you have seen.

**Answers.** 2xx: it has arrived. 410: the webhook is disabled. 429, 502, 503, 504: all its \
deliveries wait, at least as long as Retry-After says. All else is tried again after 5 s, 5 min, \
30 min, 2 h, 5 h, 10 h, 14 h, 20 h and 24 h, then given up: see `list_deliveries`. A receiver \
that fails three times in a row is left alone for half a minute, then longer, up to half an hour.\
"""
SECRET = "whsec_AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8="
NEW_WEBHOOK: dict[str, Any] = {
    "name": "the on-call phone",
    "url": "https://hooks.roastery.example/burrline",
    "types": ["burrline.alert.opened", "burrline.alert.closed"],
}
WEBHOOK: dict[str, Any] = {
    "webhook_id": "webhook-000431",
    **NEW_WEBHOOK,
    "site_ids": [],
    "grinder_ids": [],
    "created_at": "2026-07-01T06:10:00.000Z",
    "disabled_at": None,
    "disabled_because": None,
    "failure_count": 0,
    "paused_until": None,
}
DELIVERY: dict[str, Any] = {
    "event_id": "0197c4f2-5d10-7c3a-9b1e-2f6a8d0c4e71",
    "type": "burrline.alert.opened",
    "state": "delivered",
    "attempt_count": 1,
    "next_attempt_at": None,
    "made_at": "2026-07-01T08:40:02.000Z",
    "done_at": "2026-07-01T08:40:02.600Z",
    "attempts": [
        {
            "attempted_at": "2026-07-01T08:40:02.300Z",
            "status": 204,
            "seconds": 0.21,
            "answer": None,
            "error": None,
        }
    ],
}
