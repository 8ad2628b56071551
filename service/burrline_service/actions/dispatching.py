"""Many receivers at once: none waits for another, however slow or dead that one is."""

from __future__ import annotations

import logging
import threading
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from typing import Any

from ..core.errors import Refusal
from ..core.receiver_circuit import MOST_IN_FLIGHT
from ..store import claims
from ..store.database import Database
from ..store.outbox import Receiver
from .delivering import Post, deliver_next

THREAD_COUNT = 64  # each does little but wait; they are made when they are needed
MOST_IN_A_ROW = 20
SLOW = timedelta(seconds=5)  # an answer that takes longer counts as trouble

logger = logging.getLogger("burrline.deliver")


class Dispatcher:
    """Hands what is due to threads: two at work for a receiver that answers well, else one.

    Receivers whose last attempt failed or was slow may together hold half of the threads, so that
    any number of them leaves the other half to those that answer.
    """

    def __init__(
        self,
        database: Database,
        post: Post,
        *,
        clock: Callable[[], datetime],
        dice: Callable[[], float],
        stop: threading.Event,
        thread_count: int = THREAD_COUNT,
        start: Callable[..., Any] | None = None,
    ) -> None:
        self._database, self._post = database, post
        self._clock, self._dice, self._stop = clock, dice, stop
        self._thread_count = thread_count
        self._pool: ThreadPoolExecutor | None = None
        if start is None:
            self._pool = ThreadPoolExecutor(thread_count, thread_name_prefix="deliver")
            start = self._pool.submit
        self._start = start
        self._lock = threading.Lock()
        self._at_work: Counter[Receiver] = Counter()
        self._in_trouble: set[Receiver] = set()
        self._well: set[Receiver] = set()
        self.outcomes: Counter[str] = Counter()

    def turn(self, now: datetime) -> int:
        """Look once for what is due and set threads to it; how many were set to work."""
        begun = 0
        for receiver in claims.due(self._database, now):
            if self._stop.is_set():
                break
            if self._take(receiver):
                self._start(self._serve, receiver)
                begun += 1
        return begun

    def close(self) -> None:
        """Wait for the attempts that are under way; no other is begun."""
        self._stop.set()
        if self._pool is not None:
            self._pool.shutdown(wait=True)

    def _take(self, receiver: Receiver) -> bool:
        with self._lock:
            busy_count = sum(self._at_work.values())
            if busy_count >= self._thread_count:
                return False
            if receiver in self._in_trouble:
                if self._at_work[receiver]:
                    return False
                in_trouble_count = sum(self._at_work[one] for one in self._in_trouble)
                if in_trouble_count >= max(1, self._thread_count // 2):
                    return False
            elif self._at_work[receiver] >= (MOST_IN_FLIGHT if receiver in self._well else 1):
                return False
            self._at_work[receiver] += 1
            return True

    def _serve(self, receiver: Receiver) -> None:
        try:
            for _ in range(MOST_IN_A_ROW):
                if self._stop.is_set() or not self._deliver(receiver):
                    return
        except Refusal as refusal:
            logger.warning("%s", refusal)
        except Exception:
            logger.exception("a delivery failed")
        finally:
            with self._lock:
                self._at_work[receiver] -= 1
                if self._at_work[receiver] <= 0:
                    del self._at_work[receiver]

    def _deliver(self, receiver: Receiver) -> bool:
        """Deliver one; whether to go on with this receiver."""
        began_at = self._clock()
        verdict = deliver_next(
            self._database, self._post, receiver, clock=self._clock, dice=self._dice
        )
        if verdict is None:
            return False
        with self._lock:
            self.outcomes[verdict] += 1
            if verdict == "delivered" and self._clock() - began_at < SLOW:
                self._in_trouble.discard(receiver)
                self._well.add(receiver)
            else:
                self._in_trouble.add(receiver)
                self._well.discard(receiver)
            return receiver not in self._in_trouble
