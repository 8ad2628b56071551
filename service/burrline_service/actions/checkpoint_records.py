"""From the row of a checkpoint to its record: sizes worked out from what was sent."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any, Literal

from ..core.entered import Checkpoint, Replicate
from ..core.particles_pooled import pool_sizes
from ..core.particles_records import DEFAULT_FINES_CUT_MICROMETRES, SampleSizes
from ..store.database import Connection
from ..store.entries import EntryRow
from ..store.types import to_instant, to_milliseconds
from .burr_grams import Through, ends_ms, through_by

KEPT_SIZES = 4096
"""So many samples' sizes are remembered: they follow from the sample alone."""


def records_of(
    connection: Connection,
    account_no: int,
    rows: Sequence[EntryRow],
    grinder_id: str,
    now: datetime,
) -> list[Checkpoint]:
    """The records of a grinder's checkpoints, their kilograms as known by now."""
    through = through_by(
        connection,
        account_no,
        rows,
        at_ms=to_milliseconds(now),
        end_ms=ends_ms(now, is_asked=False),
    )
    return [checkpoint_of(row, grinder_id, known) for row, known in zip(rows, through, strict=True)]


def checkpoint_of(row: EntryRow, grinder_id: str, through: Through) -> Checkpoint:
    body = row.body
    cut_micrometres = body.get("fines_cut_micrometres") or DEFAULT_FINES_CUT_MICROMETRES
    ground_at = to_instant(row.from_ms)
    basis: Literal["given", "runs"] = "runs" if body.get("burr_grams") is None else "given"
    replicates = tuple(
        Replicate(
            dose_grams=replicate.get("dose_grams"),
            ground_at=_instant(replicate.get("ground_at")) or ground_at,
            distribution=replicate["distribution"],
            sizes=sizes_of(replicate, cut_micrometres),
        )
        for replicate in body["replicates"]
    )
    return Checkpoint(
        checkpoint_id=row.entry_id,
        grinder_id=grinder_id,
        burr_set_id=through.burr_set_id,
        ground_at=ground_at,
        measured_at=_instant(body.get("measured_at")),
        burr_grams=through.grams,
        burr_grams_basis=None if through.grams is None else basis,
        method=body["method"],
        fines_cut_micrometres=cut_micrometres,
        replicates=replicates,
        pooled=pool_sizes([replicate.sizes for replicate in replicates]),
        created_at=row.created_at.astimezone(UTC),
        voided_at=row.voided_at,
        **{
            name: body.get(name)
            for name in (
                "session_id",
                "setting",
                "rpm",
                "instrument_id",
                "sieve_set_id",
                "dispersant",
                "coffee_lot",
                "note",
            )
        },
    )


def sizes_of(replicate: Mapping[str, Any], cut_micrometres: float) -> SampleSizes:
    """The sizes of a kept replicate."""
    text = json.dumps(replicate["distribution"], sort_keys=True)
    return _sizes(text, replicate.get("dose_grams"), cut_micrometres)


@lru_cache(maxsize=KEPT_SIZES)
def _sizes(text: str, dose_grams: float | None, cut_micrometres: float) -> SampleSizes:
    # with numpy: loaded when first there is need
    from ..core.particles import measure_sample
    from ..core.particles_reading import distribution_of

    return measure_sample(
        distribution_of(json.loads(text)),
        dose_grams=dose_grams,
        fines_cut_micrometres=cut_micrometres,
    )


def instant_text(at: datetime) -> str:
    return at.astimezone(UTC).isoformat()


def _instant(text: str | None) -> datetime | None:
    return None if text is None else datetime.fromisoformat(text)
