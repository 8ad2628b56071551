"""The operation that hands out a whole account."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from flask import Response
from marshmallow import fields

from ..actions import export
from ..core.errors import OutOfReach
from ..core.records import Caller
from .operation import NDJSON, Operation
from .schemas_common import Answer
from .streams import lines_response


class ExportLineSchema(Answer):
    """One line of an export: what it tells of, and the members that belong to it."""

    kind = fields.String(
        metadata={
            "description": "What the line tells of: first `header` and `account`, then `site`, "
            "`grinder`, `burr_set`, `source`, `tally`, `period`, `correction`, `care`, `watched`, "
            "`reading`, `run`, `archived_hours`, `archived_run`, and `end` as the last one.",
            "examples": ["run"],
        }
    )
    check = fields.String(
        metadata={
            "description": "CRC-32 of the first line, then of all lines after it up to this one, "
            "in hexadecimal, without this member.",
            "examples": ["63cb353e"],
        }
    )


def export_account(database: Any, caller: Caller, *, now: datetime) -> Response:
    lines = export.export_account(database, caller, now=now)
    return lines_response(lines, NDJSON, "burrline-account.ndjson")


OPERATIONS = (
    Operation(
        name="export_account",
        method="GET",
        path="/v1/export",
        tag="Account",
        summary="Export the account",
        description=(
            "Everything the account holds, as `application/x-ndjson`: one JSON object per line "
            "(the schema shows them as an array), streamed, for keeping or for "
            "`burrline-service import` on another database. Every run acknowledged before the "
            "export began is in it. Keys and webhooks are not. Runs stand as they were sent; the "
            "last line, of kind `end`, counts the lines and closes them with a SHA-256: without it "
            "the file was cut. Only a key that is bound to no site or grinder can export."
        ),
        act=export_account,
        scope="manage",
        gives_lines=ExportLineSchema,
        statuses={200: "The account, line by line."},
        refuses=(OutOfReach,),
        lines_examples={
            NDJSON: [
                {
                    "kind": "header",
                    "format": export.FORMAT_NAME,
                    "version": export.FORMAT_VERSION,
                    "exported_at": "2026-07-06T08:00:00.000Z",
                    "left_out": [
                        "keys",
                        "replies kept for repeated requests",
                        "webhooks and deliveries",
                    ],
                    "check": "5d1c8a02",
                },
                {"kind": "source", "name": "scale", "check": "9b30f1c7"},
            ]
        },
    ),
)
