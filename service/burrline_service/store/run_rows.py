"""A run as a row and back: exact integers, the key of its id, the fingerprint of its content."""

from __future__ import annotations

import json
import uuid
from dataclasses import asdict
from datetime import datetime
from hashlib import blake2b
from typing import Any

from ..core.records import (
    FEEDS,
    GRAMS_BASES,
    PURPOSES,
    TIME_SOURCES,
    Brew,
    Finding,
    Run,
    StoredRun,
)
from .runs import RunRow
from .types import to_instant, to_milliseconds

NO_TIME = bytes(8)


def run_key_of(run_id: str) -> bytes:
    """16 bytes: the UUID's own for the canonical lower-case form, else blake2b-128 of the text.

    Two ids never share a key but by a collision of the 128-bit hash: only the one canonical text
    of a UUID takes the short way.
    """
    if is_canonical_uuid(run_id):
        return uuid.UUID(run_id).bytes
    return blake2b(run_id.encode(), digest_size=16).digest()


def is_canonical_uuid(run_id: str) -> bool:
    if len(run_id) != 36:
        return False
    try:
        return str(uuid.UUID(run_id)) == run_id
    except ValueError:
        return False


def thousandths(value: float | None) -> int | None:
    """Grams to milligrams, seconds to milliseconds: the nearest whole number."""
    return None if value is None else round(value * 1000)


def tenths(value: float | None) -> int | None:
    return None if value is None else round(value * 10)


def whole(value: float | None) -> int | None:
    return None if value is None else round(value)


def row_of(
    run: Run,
    *,
    grinder_no: int,
    source_no: int | None,
    started_at: datetime,
    time_source: str,
    received_at: datetime,
    findings: tuple[Finding, ...],
) -> RunRow:
    """The row of a run that has been placed in time and judged."""
    more: dict[str, Any] = {}
    if run.brew is not None:
        more["brew"] = {k: v for k, v in asdict(run.brew).items() if v is not None}
    if run.coffee_lot is not None:
        more["coffee_lot"] = run.coffee_lot
    if findings:
        more["findings"] = [asdict(finding) for finding in findings]
    return RunRow(
        run_key=run_key_of(run.run_id),
        run_id=None if is_canonical_uuid(run.run_id) else run.run_id,
        grinder_no=grinder_no,
        started_ms=to_milliseconds(started_at),
        on_ms=thousandths(run.seconds),
        grams_mg=thousandths(run.grams),
        grams_basis=GRAMS_BASES.index(run.grams_basis),
        feed=None if run.feed is None else FEEDS.index(run.feed),
        purpose=PURPOSES.index(run.purpose),
        setting_milli=thousandths(run.setting),
        rpm=whole(run.rpm),
        energy_joules=whole(run.energy_joules),
        motor_decicelsius=tenths(run.motor_celsius),
        ambient_decicelsius=tenths(run.ambient_celsius),
        time_source=TIME_SOURCES.index(time_source),
        source_no=source_no,
        fingerprint=fingerprint_of(run),
        received_ms=to_milliseconds(received_at),
        more=more or None,
    )


def stored_run_of(row: RunRow, *, grinder_id: str, source: str | None) -> StoredRun:
    """The run of a row, in stored precision."""
    more = row.more or {}
    brew = more.get("brew")
    return StoredRun(
        run=Run(
            run_id=run_id_of(row),
            grinder_id=grinder_id,
            started_at=to_instant(row.started_ms),
            seconds=_over(row.on_ms, 1000),
            grams=_over(row.grams_mg, 1000),
            grams_basis=GRAMS_BASES[row.grams_basis],
            feed=None if row.feed is None else FEEDS[row.feed],
            energy_joules=row.energy_joules,
            setting=_over(row.setting_milli, 1000),
            rpm=row.rpm,
            motor_celsius=_over(row.motor_decicelsius, 10),
            ambient_celsius=_over(row.ambient_decicelsius, 10),
            purpose=PURPOSES[row.purpose],
            coffee_lot=more.get("coffee_lot"),
            brew=None if brew is None else Brew(**brew),
            source=source,
        ),
        time_source=TIME_SOURCES[row.time_source],  # type: ignore[arg-type]
        received_at=to_instant(row.received_ms),
        findings=tuple(Finding(**finding) for finding in more.get("findings", ())),
        voided_at=None if row.voided_ms is None else to_instant(row.voided_ms),
    )


def run_id_of(row: RunRow) -> str:
    return row.run_id if row.run_id is not None else str(uuid.UUID(bytes=row.run_key))


def fingerprint_of(run: Run) -> bytes:
    """16 bytes: half of them for the content, half for the start as sent (zero when not sent).

    A run sent with its age comes again with another age, so a start that was not sent cannot
    count when two copies are compared.
    """
    content = (
        run.grinder_id,
        thousandths(run.seconds),
        thousandths(run.grams),
        run.grams_basis,
        run.feed,
        whole(run.energy_joules),
        thousandths(run.setting),
        whole(run.rpm),
        tenths(run.motor_celsius),
        tenths(run.ambient_celsius),
        run.purpose,
        run.coffee_lot,
        None if run.brew is None else asdict(run.brew),
        run.source,
    )
    text = json.dumps(content, ensure_ascii=False, separators=(",", ":"))
    first = blake2b(text.encode(), digest_size=8).digest()
    if run.started_at is None:
        return first + NO_TIME
    started = str(to_milliseconds(run.started_at)).encode()
    return first + blake2b(started, digest_size=8).digest()


def is_same_content(one: bytes, other: bytes) -> bool:
    """Whether two fingerprints speak of the same run."""
    if one[:8] != other[:8]:
        return False
    return one[8:] == other[8:] or NO_TIME in (one[8:], other[8:])


def _over(value: int | None, divisor: int) -> float | None:
    return None if value is None else value / divisor
