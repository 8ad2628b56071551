"""Alerts: what held, who has seen it, the feed of what was told, and the rules."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from burrline._calls import Calls, IfMatch, encode, etag_of, model, path_of, query_of
from burrline._convert import body_of
from burrline._http import Answer
from burrline._paging import Page
from burrline._places import Given
from burrline.models import Alert, AlertSettings, Event


@dataclass(frozen=True)
class Feed:
    """What came after a cursor, and the cursor to go on with: there always is one."""

    items: tuple[Event, ...]
    next_cursor: str


class Alerts(Calls):
    """The operations on alerts."""

    def list_alerts(
        self,
        *,
        grinder_id: str | None = None,
        site_id: str | None = None,
        kind: str | None = None,
        state: str | None = None,
        from_at: datetime | None = None,
        to_at: datetime | None = None,
        as_of: datetime | None = None,
        limit: int | None = None,
        cursor: str | None = None,
    ) -> Page[Alert]:
        """What held for grinders within a stretch of time (the last week), the latest first."""
        query = {
            "grinder_id": grinder_id,
            "site_id": site_id,
            "kind": kind,
            "state": state,
            "from": from_at,
            "to": to_at,
            "as_of": as_of,
        }
        return self._list("/v1/alerts", Alert.from_json, query, limit=limit, cursor=cursor)

    def acknowledge_alert(self, alert_id: str) -> Alert:
        """Say that somebody has seen an alert; who said so first is kept."""
        return self._post(path_of("/v1/alerts/{}/acknowledge", alert_id), model(Alert))

    def follow_alerts(
        self,
        *,
        cursor: str | None = None,
        start: str | None = None,
        wait_seconds: int | None = None,
    ) -> Feed:
        """What was told after a cursor; waits up to ``wait_seconds`` (25 at most) if nothing was.

        ``burrline.watch.follow`` goes on with it for ever, and remembers where it was.
        """
        return self._events(cursor, start, wait_seconds, is_retried=True)

    def _events(
        self, cursor: str | None, start: str | None, wait_seconds: int | None, *, is_retried: bool
    ) -> Feed:
        query = query_of({"cursor": cursor, "start": start, "wait_seconds": wait_seconds})
        answer = self._transport.send(
            "GET",
            "/v1/alerts/feed",
            query=query,
            waits_seconds=float(wait_seconds or 0),
            is_retried=is_retried,
        )
        return self._read(answer, _feed)

    def get_alert_settings(
        self, *, site_id: str | None = None, grinder_id: str | None = None
    ) -> AlertSettings:
        """The rules of alerts of a site or a grinder; without either, the account's own."""
        query = {"site_id": site_id, "grinder_id": grinder_id}
        return self._get("/v1/alert-settings", _settings, query)

    def set_alert_settings(
        self,
        rules: Given | None = None,
        *,
        site_id: str | None = None,
        grinder_id: str | None = None,
        if_match: IfMatch | None = None,
        **fields: Any,
    ) -> AlertSettings:
        """Set all that the account, a site or a grinder sets itself; the rest is inherited.

        ``if_match`` (an etag, a revision or the settings as read) refuses the change if somebody
        was faster; without it what is there is read first, and replaced.
        """
        held = if_match
        if held is None:
            held = self.get_alert_settings(site_id=site_id, grinder_id=grinder_id)
        content = encode(body_of(rules, fields))
        answer = self._transport.send(
            "PUT",
            "/v1/alert-settings",
            query=query_of({"site_id": site_id, "grinder_id": grinder_id}),
            body=lambda elapsed_seconds: content,
            headers={"If-Match": etag_of(held)},
        )
        return self._read(answer, _settings)


def _settings(answer: Answer) -> AlertSettings:
    return AlertSettings.from_json(answer.body, etag=answer.etag)


def _feed(answer: Answer) -> Feed:
    body = answer.body
    if not isinstance(body.get("items"), list) or not isinstance(body.get("next_cursor"), str):
        raise ValueError("no page of a feed")
    return Feed(tuple(Event.from_json(one) for one in body["items"]), body["next_cursor"])
