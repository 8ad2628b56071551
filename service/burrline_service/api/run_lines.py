"""A grinder's runs, a page at a time as JSON or all of them as lines."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from functools import partial
from typing import Any

from flask import Response

from ..actions import report
from ..core.records import Caller, Page, StoredRun
from .operation import CSV, JSON
from .schemas_runs import RunSchema
from .streams import asked_media, csv_of, lines_response, ndjson_of

PAGE_COUNT = 1000


def list_runs(
    database: Any,
    caller: Caller,
    *,
    grinder_id: str,
    format: str | None = None,
    from_at: datetime | None = None,
    to_at: datetime | None = None,
    limit: int,
    position: tuple[Any, ...] | None,
    now: datetime,
) -> Page | Response:
    """One page, or, where CSV or NDJSON is asked for, every run between the two instants."""
    read = partial(
        report.list_runs,
        database,
        caller,
        grinder_id=grinder_id,
        from_at=from_at,
        to_at=to_at,
        now=now,
    )
    media = asked_media()
    if media == JSON:
        return read(limit=limit, position=position)

    def pages() -> Iterator[tuple[StoredRun, ...]]:
        position = None
        while True:
            page = read(limit=PAGE_COUNT, position=position)
            yield page.items
            position = page.next_position
            if position is None:
                return

    reading = pages()
    first = next(reading)  # what is refused is refused before the first line

    def all_pages() -> Iterator[tuple[StoredRun, ...]]:
        yield first
        yield from reading

    written = (csv_of if media == CSV else ndjson_of)(RunSchema(), all_pages())
    extension = "csv" if media == CSV else "ndjson"
    return lines_response(written, media, f"{grinder_id}-runs.{extension}")
