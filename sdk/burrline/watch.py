"""Following what is told of alerts: every event, once the one before was taken, for ever.

>>> for event in follow(client, cursor_path="/var/lib/bar/alerts.cursor"):  # doctest: +SKIP
...     ring(event.data["kind"], event.data["grinder_id"])

The place in the feed is written to ``cursor_path`` when the consumer asks for the next event, so
one that it was given but did not finish is given again after a restart: at least once, in order.
Tell by ``event_id`` what was there before.
"""

from __future__ import annotations

import json
import logging
import os
import random
import time
from collections.abc import Callable, Collection, Generator
from dataclasses import dataclass, field
from pathlib import Path

from burrline import errors
from burrline.client import Client
from burrline.models import Event

__all__ = ["CursorDamaged", "follow"]

log = logging.getLogger("burrline.watch")
WAIT_SECONDS = 20
FIRST_PAUSE_SECONDS = 1.0
LONGEST_PAUSE_SECONDS = 8.0
"""However long the service was away, what it tells is known within seconds of its return."""
LONGEST_RETRY_AFTER_SECONDS = 120.0
BUSY_PAUSE_SECONDS = 2.0
"""Between two answers that came at once though there was nothing: others wait in our place."""


class CursorDamaged(ValueError):
    """The file is there, but no place in a feed."""


@dataclass
class _Place:
    """A cursor, and which events after it were taken already."""

    cursor: str | None = None
    taken: list[str] = field(default_factory=list)


def follow(
    client: Client,
    *,
    cursor: str | None = None,
    cursor_path: str | os.PathLike[str] | None = None,
    start: str = "first",
    kinds: Collection[str] | None = None,
    grinder_ids: Collection[str] | None = None,
    wait_seconds: int = WAIT_SECONDS,
    is_stopping: Callable[[], bool] = lambda: False,
    sleep: Callable[[float], None] = time.sleep,
    clock: Callable[[], float] = time.monotonic,
    uniform: Callable[[float, float], float] = random.uniform,
) -> Generator[Event, bool | None, None]:
    """Give events as they are told, and go on through anything but a refusal.

    ``send(True)`` in place of asking for the next says: this one is taken, and was the last.

    Parameters
    ----------
    cursor, cursor_path
        Where to go on: a cursor, or a file that one is kept in. A file that is there counts
        before ``cursor``.
    start
        Where to begin without either: at the ``first`` event, or after the ``latest``.
    kinds, grinder_ids
        Only alerts of these kinds, only events of these grinders; the others are passed over.
    wait_seconds
        How long one request waits for an event, 0 to 25.
    is_stopping
        Asked between two requests: true ends the iteration.
    sleep, clock, uniform
        Waiting, monotonic seconds and dice: to be replaced in tests.

    Raises ``AuthenticationError`` and other refusals of the service, and ``CursorDamaged``. A
    service that cannot be reached is asked again, ever more seldom, at least every 8 s
    unless it asks for a longer pause.
    """
    path = None if cursor_path is None else Path(cursor_path)
    place = _read(path) or _Place(cursor)
    failure_count = 0
    while not is_stopping():
        began = clock()
        try:
            # tried again here and not by the client, whose pauses grow beyond what a watch may miss
            page = client._events(
                place.cursor,
                start if place.cursor is None else None,
                wait_seconds,
                is_retried=False,
            )
        except (errors.TransportError, errors.ServerError, errors.RateLimited) as error:
            pause_seconds = _pause_seconds(failure_count, error, uniform)
            failure_count += 1
            log.warning("%s; again in %.1f s", error, pause_seconds)
            sleep(pause_seconds)
            continue
        failure_count = 0
        for event in page.items:
            if event.event_id in place.taken:
                continue
            is_last = (yield event) if _is_wanted(event, kinds, grinder_ids) else None
            place.taken.append(event.event_id)
            _write(path, place)
            if is_last:
                return
        is_new = place.cursor != page.next_cursor
        place = _Place(page.next_cursor)
        if is_new:
            _write(path, place)
        if not page.items and clock() - began < min(1.0, wait_seconds):
            sleep(uniform(BUSY_PAUSE_SECONDS / 2, BUSY_PAUSE_SECONDS))


def _pause_seconds(
    failure_count: int, error: errors.APIError, uniform: Callable[[float, float], float]
) -> float:
    longest = min(LONGEST_PAUSE_SECONDS, FIRST_PAUSE_SECONDS * 2.0 ** min(failure_count, 8))
    asked_seconds = min(error.retry_after_seconds or 0.0, LONGEST_RETRY_AFTER_SECONDS)
    return max(uniform(longest / 2, longest), asked_seconds)


def _is_wanted(
    event: Event, kinds: Collection[str] | None, grinder_ids: Collection[str] | None
) -> bool:
    data = event.data
    return (kinds is None or data.get("kind") in kinds) and (
        grinder_ids is None or data.get("grinder_id") in grinder_ids
    )


def _read(path: Path | None) -> _Place | None:
    if path is None:
        return None
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return None
    try:
        kept = json.loads(text)
        cursor, taken = kept["cursor"], kept["taken"]
        if not (cursor is None or isinstance(cursor, str)) or not isinstance(taken, list):
            raise TypeError
    except (ValueError, KeyError, TypeError):
        raise CursorDamaged(f"{path} holds no place in a feed") from None
    return _Place(cursor, [str(one) for one in taken])


def _write(path: Path | None, place: _Place) -> None:
    """Put the place where a crash finds the old one or the new one, whole."""
    if path is None:
        return
    beside = path.with_name(f"{path.name}.new")
    with beside.open("w", encoding="utf-8") as file:
        json.dump({"cursor": place.cursor, "taken": place.taken}, file)
        file.flush()
        os.fsync(file.fileno())
    beside.replace(path)
