"""A bar for long work: on standard error, only where somebody watches it."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from types import TracebackType
from typing import TextIO

WIDTH = 30
WAIT_SECONDS = 0.5
"""Work that is done by then shows no bar."""
STEP_SECONDS = 0.1


class Progress:
    """Draws how much of ``total_count`` is done; wiped when left."""

    def __init__(
        self,
        total_count: int,
        *,
        stream: TextIO | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._stream = sys.stderr if stream is None else stream
        self._total_count, self._clock = total_count, clock
        self._done_count, self._is_shown = 0, False
        self._next_at = clock() + WAIT_SECONDS
        self._is_watched = total_count > 1 and self._stream.isatty()

    def __enter__(self) -> Progress:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.wipe()

    def advance(self, count: int = 1) -> None:
        self._done_count = min(self._total_count, self._done_count + count)
        if self._is_watched and self._clock() >= self._next_at:
            self._next_at = self._clock() + STEP_SECONDS
            self._is_shown = True
            self._stream.write(f"\r{bar(self._done_count, self._total_count)}")
            self._stream.flush()

    def wipe(self) -> None:
        """Leave the line empty, for what is to be said there."""
        if self._is_shown:
            self._stream.write("\r" + " " * len(bar(self._total_count, self._total_count)) + "\r")
            self._stream.flush()
            self._is_shown = False


def bar(done_count: int, total_count: int) -> str:
    """The line that is drawn.

    >>> bar(5, 10)
    '[###############...............]  5/10'
    """
    filled = WIDTH * done_count // max(1, total_count)
    digits = len(str(total_count))
    return f"[{'#' * filled}{'.' * (WIDTH - filled)}] {done_count:{digits}}/{total_count}"
