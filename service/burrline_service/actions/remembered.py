"""What this process worked out lately and may need again: nothing but time depends on it."""

from __future__ import annotations

import threading
from collections import OrderedDict
from typing import Any, Generic, TypeVar
from weakref import WeakKeyDictionary

from ..store.database import Engine

T = TypeVar("T")


class Remembered(Generic[T]):
    """Values by database and by all that they were worked out from, the last used ones."""

    def __init__(self, most_count: int) -> None:
        self._most_count = most_count
        self._kept: WeakKeyDictionary[Engine, OrderedDict[tuple[Any, ...], T]] = WeakKeyDictionary()
        self._lock = threading.Lock()

    def get(self, engine: Engine, key: tuple[Any, ...]) -> T | None:
        with self._lock:
            kept = self._kept.get(engine)
            if kept is None or key not in kept:
                return None
            kept.move_to_end(key)
            return kept[key]

    def put(self, engine: Engine, key: tuple[Any, ...], value: T) -> None:
        with self._lock:
            kept = self._kept.setdefault(engine, OrderedDict())
            kept[key] = value
            if len(kept) > self._most_count:
                kept.popitem(last=False)

    def clear(self) -> None:
        with self._lock:
            self._kept.clear()
