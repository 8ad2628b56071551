"""What an answer about one grinder is asked for, gathered once."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from ..core.records import Grinder
from ..store.database import Connection
from ..store.state import State
from ..store.stretches import Stretch
from .counting import Counter


@dataclass(frozen=True)
class Asked:
    """What one answer is about; instants in ms, ``end_ms`` is where counting runs stops."""

    connection: Connection
    account_no: int
    grinder_no: int
    grinder: Grinder
    at: datetime
    at_ms: int
    end_ms: int
    cycle_ms: int
    kept: State
    recent: list[Stretch]
    counter: Counter
