"""Answers that are many lines, sent as they are read: NDJSON and CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from typing import Any

from flask import Response, request
from marshmallow import Schema, fields

from ..core.errors import Fault, Invalid
from .glue import json_bytes
from .operation import CSV, JSON, NDJSON

FORMATS = {"json": JSON, "csv": CSV, "ndjson": NDJSON}
CONTENT_TYPES = {CSV: "text/csv; charset=utf-8; header=present", NDJSON: NDJSON}
PAGED_ONLY = ("limit", "cursor")
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def asked_media() -> str:
    """What the request asks for: by its parameter ``format``, else by ``Accept``; JSON if neither.

    Raises Invalid for a page of something that has no pages.
    """
    named = request.args.get("format")
    media = FORMATS[named] if named else _accepted()
    paged = [name for name in PAGED_ONLY if name in request.args]
    if media != JSON and paged:
        faults = (
            Fault(f"goes with JSON only; {media} has all lines", parameter=name, place="query")
            for name in paged
        )
        raise Invalid(*faults)
    return media


def _accepted() -> str:
    return request.accept_mimetypes.best_match((JSON, NDJSON, CSV), default=JSON) or JSON


def lines_response(pieces: Iterable[bytes], media: str, filename: str) -> Response:
    """Send pieces as they come; the first one is waited for, so that a refusal is a problem.

    Whatever goes wrong later breaks the connection off, so that nobody takes a part for all.
    """
    coming = iter(pieces)
    first = next(coming, b"")

    def body() -> Iterator[bytes]:
        yield first
        yield from coming

    return Response(
        body(),
        headers={"Content-Disposition": f'attachment; filename="{filename}"', "Vary": "Accept"},
        content_type=CONTENT_TYPES[media],
    )


def ndjson_of(schema: Schema, pages: Iterable[Iterable[Any]]) -> Iterator[bytes]:
    """One line of JSON per item."""
    for page in pages:
        yield b"".join(json_bytes(schema.dump(item)) for item in page)


def csv_of(schema: Schema, pages: Iterable[Iterable[Any]]) -> Iterator[bytes]:
    """A header line and one line per item, as RFC 4180 has it.

    A member that is an object gets a column for each of its members; of a list the texts, or the
    ``code`` of its objects, stand in one cell.
    """
    yield _csv_lines([[name for name, _ in _columns(schema)]])
    for page in pages:
        yield _csv_lines(_cells(schema, schema.dump(item)) for item in page)


def csv_example(schema: Schema, item: dict[str, Any]) -> str:
    """Header and line of one item, given as it is written in JSON."""
    header = [name for name, _ in _columns(schema)]
    return _csv_lines([header, _cells(schema, item)]).decode()


def _columns(schema: Schema) -> list[tuple[str, tuple[str, ...]]]:
    """Name and path of each column."""
    found: list[tuple[str, tuple[str, ...]]] = []
    for name, field in schema.fields.items():
        if isinstance(field, fields.Nested):
            inner_schema = field.schema
            found += [(f"{name}_{inner}", (name, inner)) for inner in inner_schema.fields]
        else:
            found.append((name, (name,)))
    return found


def _cells(schema: Schema, item: dict[str, Any]) -> list[str]:
    cells = []
    for _, path in _columns(schema):
        value: Any = item
        for step in path:
            value = None if value is None else value.get(step)
        cells.append(_cell(value))
    return cells


def _cell(value: Any) -> str:
    """A value as a spreadsheet may read it: text that looks like a formula is made plain."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        value = " ".join(one["code"] if isinstance(one, dict) else str(one) for one in value)
    if isinstance(value, str):
        return f"'{value}" if value.startswith(FORMULA_STARTS) else value
    return str(value)


def _csv_lines(rows: Iterable[list[str]]) -> bytes:
    text = io.StringIO()
    csv.writer(text, lineterminator="\r\n").writerows(rows)
    return text.getvalue().encode()
