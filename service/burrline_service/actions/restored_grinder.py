"""A grinder that is being put back from an export."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from ..core.corrections import Correction
from ..store.types import to_milliseconds
from .export_lines import Thing


@dataclass
class RestoredGrinder:
    """A grinder that is being restored."""

    number: int
    state: Thing
    sources: set[int] = field(default_factory=set)
    corrections: list[Correction] = field(default_factory=list)
    is_corrected: bool = False
    archived_before: datetime | None = None
    kept: set[bytes] = field(default_factory=set)

    @property
    def archived_ms(self) -> int | None:
        return None if self.archived_before is None else to_milliseconds(self.archived_before)
