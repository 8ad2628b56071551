"""Sends a spool in the background, whenever something waits, until it is told to stop."""

from __future__ import annotations

import logging
import sqlite3
import threading
from collections.abc import Callable
from pathlib import Path

from burrline import errors
from burrline._spool_sender import Sender

FIRST_PAUSE_SECONDS, LONGEST_PAUSE_SECONDS = 1.0, 300.0

log = logging.getLogger("burrline")


class Worker:
    """One thread; it looks when it is woken, and every five minutes for what others have put."""

    def __init__(self, sender: Sender, path: Path, uniform: Callable[[float, float], float]):
        self._sender, self._path, self._uniform = sender, path, uniform
        self._stopping, self._woken = threading.Event(), threading.Event()
        self._thread = threading.Thread(target=self._work, name="burrline-spool", daemon=True)
        self._thread.start()

    def is_alive(self) -> bool:
        """False also in a child of a fork, which inherits no threads."""
        return self._thread.is_alive()

    def wake(self) -> None:
        self._woken.set()

    def stop(self, timeout_seconds: float | None) -> None:
        """Begin no further request; wait until the one under way has ended, or so long."""
        self._stopping.set()
        self._woken.set()
        if self._thread is not threading.current_thread():
            self._thread.join(timeout_seconds)

    def _work(self) -> None:
        failed_count = 0
        while not self._stopping.is_set():
            self._woken.clear()
            try:
                self._sender.flush(is_stopping=self._stopping.is_set)
                failed_count = 0
                self._woken.wait(LONGEST_PAUSE_SECONDS)
                continue
            except (errors.APIError, sqlite3.Error) as error:
                failed_count += 1
                log.warning("spool %s: %s; it is tried again", self._path, error)
            except Exception:
                failed_count += 1
                log.exception("spool %s: it is tried again", self._path)
            longest = min(LONGEST_PAUSE_SECONDS, FIRST_PAUSE_SECONDS * 2.0 ** min(failed_count, 16))
            self._stopping.wait(FIRST_PAUSE_SECONDS + self._uniform(0.0, longest))
