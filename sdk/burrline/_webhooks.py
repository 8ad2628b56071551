"""Webhooks: who is told of events, and what is on its way to them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from burrline._calls import Calls, IfMatch, model, path_of
from burrline._convert import body_of
from burrline._http import Answer
from burrline._paging import Page
from burrline._places import Given, known
from burrline.models import Delivery, Webhook, WebhookWithSecret


class Webhooks(Calls):
    """The operations on webhooks."""

    def create_webhook(
        self,
        *,
        url: str,
        webhook_id: str | None = None,
        name: str | None = None,
        types: Iterable[str] | None = None,
        site_ids: Iterable[str] | None = None,
        grinder_ids: Iterable[str] | None = None,
    ) -> WebhookWithSecret:
        """Be told of events at a URL; the ``secret`` is told this once.

        The receiver is asked for a proof at once: see ``burrline.webhook.challenge``. Where the
        answer is lost, the error is raised, and the webhook made, if any, should be found in the
        list and deleted.
        """
        named = {
            "url": url,
            "webhook_id": webhook_id,
            "name": name,
            "types": types,
            "site_ids": site_ids,
            "grinder_ids": grinder_ids,
        }
        return self._post(
            "/v1/webhooks",
            model(WebhookWithSecret),
            body_of(None, known(named)),
            is_harmless=False,
        )

    def list_webhooks(
        self, *, limit: int | None = None, cursor: str | None = None
    ) -> Page[Webhook]:
        """The webhooks this key may see, without their secrets."""
        return self._list("/v1/webhooks", Webhook.from_json, {}, limit=limit, cursor=cursor)

    def get_webhook(self, webhook_id: str) -> Webhook:
        """One webhook."""
        return self._get(path_of("/v1/webhooks/{}", webhook_id), _webhook)

    def update_webhook(
        self,
        webhook_id: str,
        changes: Given | None = None,
        *,
        if_match: IfMatch | None = None,
        **fields: Any,
    ) -> Webhook:
        """Change some fields of a webhook; ``is_enabled=False`` sends nothing more.

        ``if_match`` (an etag, a revision or the webhook as read) refuses the change if somebody
        was faster; without it the webhook is read first and changed as it is then.
        """
        path = path_of("/v1/webhooks/{}", webhook_id)
        held = self.get_webhook(webhook_id) if if_match is None else if_match
        return self._patch(path, _webhook, body_of(changes, fields), held)

    def delete_webhook(self, webhook_id: str) -> Webhook:
        """Take a webhook away, with what is on its way to it; gives it as it was."""
        answer = self._transport.send("DELETE", path_of("/v1/webhooks/{}", webhook_id))
        return self._read(answer, _webhook)

    def rotate_webhook_secret(
        self, webhook_id: str, *, overlap_seconds: int | None = None
    ) -> WebhookWithSecret:
        """Make a new ``secret``, told this once; the old one signs beside it for a while."""
        return self._post(
            path_of("/v1/webhooks/{}/rotate", webhook_id),
            model(WebhookWithSecret),
            body_of(None, known({"overlap_seconds": overlap_seconds})),
            is_harmless=False,
        )

    def test_webhook(self, webhook_id: str) -> Delivery:
        """Send a ping."""
        return self._post(path_of("/v1/webhooks/{}/test", webhook_id), model(Delivery))

    def list_deliveries(
        self,
        webhook_id: str,
        *,
        state: str | None = None,
        limit: int | None = None,
        cursor: str | None = None,
    ) -> Page[Delivery]:
        """What is and was on its way, the newest first; ``state`` keeps some of them."""
        path = path_of("/v1/webhooks/{}/deliveries", webhook_id)
        query = {"state": state}
        return self._list(path, Delivery.from_json, query, limit=limit, cursor=cursor)

    def redeliver(self, webhook_id: str, event_id: str) -> Delivery:
        """Deliver an event once more, under its own id."""
        path = path_of("/v1/webhooks/{}/deliveries/{}/redeliver", webhook_id, event_id)
        return self._post(path, model(Delivery))


def _webhook(answer: Answer) -> Webhook:
    return Webhook.from_json(answer.body, etag=answer.etag)
