"""Operations on alerts: what held, who has seen it, the feed of what was told, and the rules."""

from __future__ import annotations

import threading
import time
from datetime import datetime
from typing import Any

from flask import Response

from ..actions import alert_settings, alerting, feed
from ..core.alert_records import Feed
from ..core.alert_settings import DEFAULT_RULES
from ..core.errors import BadCursor, FutureInstant, NotFound, OutOfReach
from ..core.records import Caller
from .cursors import read_cursor, write_cursor
from .glue import json_bytes
from .operation import JSON, Operation
from .schemas_alert_settings import AlertPlaceSchema, AlertRulesInputSchema, AlertSettingsSchema
from .schemas_alerts import (
    AlertFilterSchema,
    AlertPageSchema,
    AlertSchema,
    FeedQuerySchema,
    FeedSchema,
)

TAG = "Alerts"
WAITING_COUNT = 4
"""So many requests of a process may wait for events: half of its threads, so that none of the
others ever finds them all taken."""
POLL_SECONDS = 0.25
COME_AGAIN_SECONDS = 2
_waiting = threading.BoundedSemaphore(WAITING_COUNT)
_feed_schema = FeedSchema()
pause = time.sleep
stopping = threading.Event()
"""Set when this process is to end: whoever waits is answered then, and asks the next one."""

ALERT_ID = "019857c1-4a10-7c22-9d3e-5b0c1f2e9d3a"
ALERT = {
    "alert_id": ALERT_ID,
    "kind": "motor_overheat",
    "severity": "alert",
    "grinder_id": "bar-1",
    "site_id": "mill-lane",
    "opened_at": "2026-07-06T08:40:12.000Z",
    "closed_at": "2026-07-06T08:58:30.000Z",
    "facts": {"peak_celsius": 79.5, "limit_celsius": 75.0},
    "noticed_at": "2026-07-06T08:40:13.120Z",
    "is_late": False,
    "acknowledged_at": None,
    "acknowledged_by": None,
}

SEEN = {
    **ALERT,
    "acknowledged_at": "2026-07-06T08:41:02.000Z",
    "acknowledged_by": "Qm3xT9Lk",
}
EVENT = {
    "event_id": "019857c1-4a11-7f03-8a64-d81be2c07f55",
    "type": "burrline.alert.opened",
    "at": "2026-07-06T08:40:12.000Z",
    "is_late": False,
    "is_held": False,
    "data": {
        "alert_id": ALERT_ID,
        "kind": "motor_overheat",
        "severity": "alert",
        "grinder_id": "bar-1",
        "site_id": "mill-lane",
        "opened_at": "2026-07-06T08:40:12.000Z",
        "closed_at": None,
        "noticed_at": "2026-07-06T08:40:13.120Z",
        "is_late": False,
        "reason": None,
        "facts": {"peak_celsius": 76.0, "limit_celsius": 75.0},
    },
}
OWN_RULES = {
    "long_run": {"longest_run_seconds": 300.0},
    "quiet_hours": {"sun": [["00:00", "00:00"]]},
}
SETTINGS = {
    "level": "site",
    "site_id": "mill-lane",
    "grinder_id": None,
    "own": OWN_RULES,
    "effective": {
        **DEFAULT_RULES,
        "long_run": {"is_on": True, "minimum_seconds": 0.0, "longest_run_seconds": 300.0},
        "quiet_hours": {"sun": [["00:00", "00:00"]]},
    },
}


def _follow_alerts(
    database: Any,
    caller: Caller,
    *,
    cursor: str | None = None,
    start: str | None = None,
    wait_seconds: int | None = None,
    now: datetime,
) -> Response:
    """Events after a cursor: at once where there are any, else as soon as one comes."""
    position = _position(cursor, start, caller)
    found = feed.read_feed(database, caller, position=position, limit=feed.PAGE_COUNT, now=now)
    if found.items or not wait_seconds or (cursor is None and start == "latest"):
        return _page(found, caller)
    if not _waiting.acquire(blocking=False):
        return _page(found, caller, come_again_seconds=COME_AGAIN_SECONDS)
    try:
        until = time.monotonic() + wait_seconds
        while not (found.items or stopping.is_set()) and time.monotonic() < until:
            pause(min(POLL_SECONDS, max(0.0, until - time.monotonic())))
            if feed.has_more(database, caller, position=found.position):
                found = feed.read_feed(
                    database, caller, position=found.position, limit=feed.PAGE_COUNT, now=now
                )
    finally:
        _waiting.release()
    return _page(found, caller)


def _position(cursor: str | None, start: str | None, caller: Caller) -> int | None:
    if cursor is None:
        return None if start == "latest" else 0
    position = read_cursor(
        cursor, account_no=caller.account_no, operation="follow_alerts", filters={}
    )
    if len(position) != 1 or type(position[0]) is not int:
        raise BadCursor
    return position[0]


def _page(found: Feed, caller: Caller, *, come_again_seconds: int | None = None) -> Response:
    cursor = write_cursor(
        (found.position,), account_no=caller.account_no, operation="follow_alerts", filters={}
    )
    headers = {} if come_again_seconds is None else {"Retry-After": str(come_again_seconds)}
    body = _feed_schema.dump({"items": found.items, "next_cursor": cursor})
    return Response(json_bytes(body), 200, headers, content_type=JSON)


OPERATIONS = (
    Operation(
        name="list_alerts",
        method="GET",
        path="/v1/alerts",
        tag=TAG,
        summary="What held for this key's grinders, the latest first",
        description=(
            "`motor_overheat` (alert): from a reading at or over the limit until one 5 K below "
            "it, or 15 minutes without a reading. `motor_heating` (caution): a forecast, made "
            "after runs and readings, that with the use of late the limit is likely to be reached "
            "within 10 minutes; only where the readings tell how the motor warms. "
            "`duty_exceeded` (caution): while the known on-time of the trailing cycle is over the "
            "plate's rating, until it is at nine tenths of it. `long_run` (caution): a run past 10 "
            "minutes, until its end. `flow_low` (caution): the median of the last 5 weighed runs "
            "is a fifth or more, and 3 deviations, under the grinder's own flow of the last 28 "
            "days at that setting and dose, until half of the drop is gone, or 24 hours after the "
            "last run that showed it. `clock_suspect` (caution): 5 runs in a row of one source "
            "came the same number of half hours late. `burr_life` (caution): the set's kilograms "
            "reached its rated life. `silent` (notice): 16 opening hours without a run, until the "
            "next; only of sites that tell their opening hours. `checkpoint_due` (notice): after "
            "a first checkpoint, from the kilograms of the next on. `settled` (notice): a "
            "measurement proved it, for 7 days. The numbers are the defaults of the alert "
            "settings. An overheated motor may have a thermal cut-out that lets it start again by "
            "itself: unplug it before touching it, and never switch it on from afar."
        ),
        act=alerting.list_alerts,
        scope="read",
        query=AlertFilterSchema,
        gives=AlertPageSchema,
        is_list=True,
        refuses=(FutureInstant, NotFound),
        gives_example={"items": [ALERT], "next_cursor": None},
    ),
    Operation(
        name="acknowledge_alert",
        method="POST",
        path="/v1/alerts/<alert_id>/acknowledge",
        tag=TAG,
        summary="Say that somebody has seen an alert",
        description=(
            "The first who says so is kept. It changes nothing about the condition, and nothing "
            "about who is told when it ends."
        ),
        act=alerting.acknowledge_alert,
        scope="care:write",
        gives=AlertSchema,
        gives_example=SEEN,
    ),
    Operation(
        name="follow_alerts",
        method="GET",
        path="/v1/alerts/feed",
        tag=TAG,
        summary="What was told since a cursor, or is told within seconds",
        description=(
            "A long poll: with `wait_seconds` it answers as soon as there is an event, else with "
            "an empty page. Going on with `next_cursor` you get every event once, in the order in "
            "which they were told. When too many wait already it answers at once, empty, with "
            "`Retry-After`. A key bound to sites or grinders gets the events of the grinders it "
            "may see; its cursor moves on all the same. Events are kept for 92 days: a cursor that "
            "is older than what is kept, or from before a backup was put back, is refused."
        ),
        act=_follow_alerts,
        scope="read",
        query=FeedQuerySchema,
        gives=FeedSchema,
        refuses=(BadCursor,),
        may_ask_to_wait=True,
        gives_example={"items": [EVENT], "next_cursor": "kq3v0n7eW1QyZkxWWzQyXQ"},
    ),
    Operation(
        name="get_alert_settings",
        method="GET",
        path="/v1/alert-settings",
        tag=TAG,
        summary="The rules of alerts of the account, a site or a grinder",
        description=(
            "A grinder inherits from its site, a site from the account, and the account from the "
            "defaults; each may set what it wants itself."
        ),
        act=alert_settings.get_alert_settings,
        scope="read",
        query=AlertPlaceSchema,
        gives=AlertSettingsSchema,
        has_etag=True,
        refuses=(NotFound,),
        gives_example=SETTINGS,
    ),
    Operation(
        name="set_alert_settings",
        method="PUT",
        path="/v1/alert-settings",
        tag=TAG,
        summary="Set the rules of alerts of the account, a site or a grinder",
        description=(
            "Takes the place of all that is set there, on the revision named by If-Match. It holds "
            "from now on: what was before stays judged as it was."
        ),
        act=alert_settings.set_alert_settings,
        scope="manage",
        query=AlertPlaceSchema,
        takes=AlertRulesInputSchema,
        gives=AlertSettingsSchema,
        needs_if_match=True,
        has_etag=True,
        refuses=(NotFound, OutOfReach),
        takes_example=OWN_RULES,
        gives_example=SETTINGS,
    ),
)
