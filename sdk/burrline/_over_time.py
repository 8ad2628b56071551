"""What is asked over a stretch of time: throughput."""

from __future__ import annotations

from datetime import datetime

from burrline._calls import Calls, path_of
from burrline._http import Answer
from burrline.models import History


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


def _history(answer: Answer) -> History:
    return History.from_json(answer.body)
