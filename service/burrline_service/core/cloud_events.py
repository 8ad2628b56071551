"""The envelope around what is sent: CloudEvents 1.0 in JSON."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

MEDIA_TYPE = "application/cloudevents+json"
SPEC_VERSION = "1.0"
MOST_BYTES = 65_536
TEST_TYPE = "burrline.webhook.test"
CHALLENGE_TYPE = "burrline.webhook.challenge"
ALERT_OPENED, ALERT_CLOSED = "burrline.alert.opened", "burrline.alert.closed"
STAGE_CHANGED = "burrline.stage.changed"
TYPES = (ALERT_OPENED, ALERT_CLOSED, STAGE_CHANGED)
_TYPE = re.compile(r"[a-z0-9]+(?:\.[a-z0-9_]+)+", re.ASCII)


def envelope(
    *,
    event_id: str,
    event_type: str,
    source: str,
    at: datetime,
    data: Mapping[str, Any],
    subject: str | None = None,
) -> bytes:
    """Write an event as one CloudEvent in JSON.

    ``{specversion, id, source, type, time, datacontenttype, data [, subject]}``

    Parameters
    ----------
    event_id : str
        With the source it names the event, at every attempt.
    event_type : str
        What happened, in lower case with full stops.
    source : str
        Where: a URI reference.
    at : datetime
        When it happened, aware.
    data : mapping
        The event itself, JSON values only.
    subject : str or None
        What it is about, for those who filter without reading.

    Returns
    -------
    bytes
        UTF-8, the same bytes for the same event.

    Raises
    ------
    ValueError
        An empty or malformed attribute, a naive instant, or more than 64 KiB, which not everybody
        forwards.

    Source
    ------
    CloudEvents 1.0.2, "REQUIRED attributes", "OPTIONAL attributes" and "Size limits"; JSON event
    format 1.0.2.

    Examples
    --------
    >>> envelope(event_id="e-1", event_type="burrline.webhook.test", source="/v1/webhooks/w-1",
    ...     at=datetime(2026, 3, 2, 8, tzinfo=UTC), data={})[:57]
    b'{"specversion":"1.0","id":"e-1","source":"/v1/webhooks/w-'
    """
    if at.tzinfo is None:
        raise ValueError("an event's instant needs its zone")
    if not event_id or not source or not source.isascii() or " " in source:
        raise ValueError("an event needs an id, and a source that is a URI reference")
    if not _TYPE.fullmatch(event_type):
        raise ValueError(f"{event_type!r} is no type of event")
    time = at.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    event: dict[str, Any] = {
        "specversion": SPEC_VERSION,
        "id": event_id,
        "source": source,
        "type": event_type,
        "time": time,
        "datacontenttype": "application/json",
        **({"subject": subject} if subject else {}),
        "data": dict(data),
    }
    text = json.dumps(event, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    content = text.encode()
    if len(content) > MOST_BYTES:
        raise ValueError(f"the event has {len(content)} bytes, more than {MOST_BYTES}")
    return content
