"""The room that speaks HTTP: operations as values, schemas, problems, the OpenAPI document.

It imports actions and core, marshmallow, apispec and Flask; never the store, never SQL, never
the numerics' libraries.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from flask import Flask

from . import (
    alerts,
    break_in,
    burr_sets,
    calibration,
    checkpoints,
    docs,
    entries,
    export,
    glue,
    grinders,
    keys,
    metrics,
    motors,
    over_time,
    readings,
    runs,
    service,
    sites,
    status,
    tally_batches,
    webhooks,
)
from .document import document_text
from .operation import Operation
from .tally_sheet import TallySheet

__all__ = ["TallySheet", "make_operations", "register"]


def make_operations() -> tuple[Operation, ...]:
    """Every operation of this release, in the order of the document."""
    return (
        *sites.OPERATIONS,
        *grinders.OPERATIONS,
        *burr_sets.OPERATIONS,
        *runs.OPERATIONS,
        *readings.OPERATIONS,
        *entries.OPERATIONS,
        *tally_batches.OPERATIONS,
        *checkpoints.OPERATIONS,
        *break_in.OPERATIONS,
        *calibration.OPERATIONS,
        *status.OPERATIONS,
        *over_time.OPERATIONS,
        *alerts.OPERATIONS,
        *motors.OPERATIONS,
        *webhooks.OPERATIONS,
        *export.OPERATIONS,
        *keys.OPERATIONS,
        *metrics.OPERATIONS,
        *service.OPERATIONS,
    )


def _utc_now() -> datetime:
    now = datetime.now(UTC)
    return now.replace(microsecond=now.microsecond // 1000 * 1000)


def register(
    app: Flask,
    database: Any,
    operations: tuple[Operation, ...],
    *,
    clock: glue.Clock = _utc_now,
    sender: Any = None,
    tally_sheet: TallySheet | None = None,
) -> None:
    """Serve the operations, their document and its page from this app.

    ``sender`` is what calls the receivers of webhooks; requests are counted on ``tally_sheet``,
    which all processes of a server share.
    """
    metrics.install(app, tally_sheet or TallySheet())
    app.extensions[webhooks.SENDER_KEY] = sender
    app.extensions[service.DOCUMENT_KEY] = document_text(operations).encode()
    glue.install(app, database, operations, clock)
    docs.install(app, operations)
