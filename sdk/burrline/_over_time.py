"""What is asked over a stretch of time: throughput and alerts."""

from __future__ import annotations

from datetime import datetime

from burrline._calls import Calls, path_of
from burrline._http import Answer
from burrline._paging import Page
from burrline.models import Alert, History


class OverTime(Calls):
    """The operations that answer over a stretch of time."""

    def get_throughput(
        self,
        grinder_id: str,
        *,
        by: str | None = None,
        from_at: datetime | None = None,
        to_at: datetime | None = None,
        as_of: datetime | None = None,
    ) -> History:
        """Grams and motor time by local ``hour``, ``day`` (the default) or ``week``."""
        path = path_of("/v1/grinders/{}/throughput", grinder_id)
        query = {"by": by, "from": from_at, "to": to_at, "as_of": as_of}
        return self._get(path, _history, query)

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
        """What held for motors within a stretch of time (the last week), the latest first."""
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


def _history(answer: Answer) -> History:
    return History.from_json(answer.body)
