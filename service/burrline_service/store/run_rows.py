"""A run as a row and back: exact integers, the key of its id, the fingerprint of its content."""

from __future__ import annotations

import json
import re
import uuid
from dataclasses import asdict
from datetime import datetime
from functools import lru_cache
from hashlib import blake2b
from typing import Any

from ..core.grinds import COUNTS_GRAMS, COUNTS_SECONDS
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
from .tables import UNSTATED
from .types import to_instant, to_milliseconds

NO_TIME = bytes(8)
_CANONICAL_UUID = re.compile("[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_AS_TEXT = json.JSONEncoder(ensure_ascii=False, separators=(",", ":")).encode


def run_key_of(run_id: str) -> bytes:
    """16 bytes: the UUID's own for the canonical lower-case form, else blake2b-128 of the text.

    Two ids never share a key but by a collision of the 128-bit hash: only the one canonical text
    of a UUID takes the short way.
    """
    if is_canonical_uuid(run_id):
        return bytes.fromhex(run_id.replace("-", ""))
    return blake2b(run_id.encode(), digest_size=16).digest()


def is_canonical_uuid(run_id: str) -> bool:
    return len(run_id) == 36 and _CANONICAL_UUID.fullmatch(run_id) is not None


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
    finding: Finding | None,
) -> RunRow:
    """The row of a run that has been placed in time and judged."""
    more: dict[str, Any] = {}
    if run.brew is not None:
        more["brew"] = {k: v for k, v in asdict(run.brew).items() if v is not None}
    if run.coffee_lot is not None:
        more["coffee_lot"] = run.coffee_lot
    if finding is not None:  # about its clock: the others follow from the facts when it is read
        more["findings"] = [asdict(finding)]
    numbers = _numbers(run)
    on_ms, grams_mg, energy_joules, setting_milli, rpm, motor, ambient = numbers
    return RunRow(
        run_key=run_key_of(run.run_id),
        run_id=None if is_canonical_uuid(run.run_id) else run.run_id,
        grinder_no=grinder_no,
        started_ms=to_milliseconds(started_at),
        on_ms=on_ms,
        grams_mg=grams_mg,
        grams_basis=GRAMS_BASES.index(run.grams_basis),
        feed=None if run.feed is None else FEEDS.index(run.feed),
        purpose=UNSTATED if run.purpose is None else PURPOSES.index(run.purpose),
        setting_milli=setting_milli,
        rpm=rpm,
        energy_joules=energy_joules,
        motor_decicelsius=motor,
        ambient_decicelsius=ambient,
        time_source=TIME_SOURCES.index(time_source),
        source_no=source_no,
        fingerprint=_fingerprint(run, numbers),
        received_ms=to_milliseconds(received_at),
        more=more or None,
    )


def _numbers(run: Run) -> tuple[int | None, ...]:
    return (
        thousandths(run.seconds),
        thousandths(run.grams),
        whole(run.energy_joules),
        thousandths(run.setting),
        whole(run.rpm),
        tenths(run.motor_celsius),
        tenths(run.ambient_celsius),
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
            seconds=over(row.on_ms, 1000),
            grams=over(row.grams_mg, 1000),
            grams_basis=GRAMS_BASES[row.grams_basis],
            feed=None if row.feed is None else FEEDS[row.feed],
            energy_joules=row.energy_joules,
            setting=over(row.setting_milli, 1000),
            rpm=row.rpm,
            motor_celsius=over(row.motor_decicelsius, 10),
            ambient_celsius=over(row.ambient_decicelsius, 10),
            purpose=None if row.purpose == UNSTATED else PURPOSES[row.purpose],
            coffee_lot=more.get("coffee_lot"),
            brew=None if brew is None else Brew(**brew),
            source=source,
        ),
        time_source=TIME_SOURCES[row.time_source],  # type: ignore[arg-type]
        received_at=to_instant(row.received_ms),
        findings=findings_of(row),
        voided_at=None if row.voided_ms is None else to_instant(row.voided_ms),
        raw_started_at=None if row.raw_started_ms is None else to_instant(row.raw_started_ms),
        raw_grams=None if row.raw_started_ms is None else over(row.raw_grams_mg, 1000),
        counts=_counts(row),
    )


def findings_of(row: RunRow) -> tuple[Finding, ...]:
    """The findings kept with a run."""
    return tuple(Finding(**finding) for finding in (row.more or {}).get("findings", ()))


def _counts(row: RunRow) -> tuple[str, ...]:
    """Which of its numbers count: not those of a run left out, or that another device reports."""
    has_grams = row.grams_mg is not None and (row.part is None or row.part & COUNTS_GRAMS)
    has_seconds = row.on_ms is not None and (row.part is None or row.part & COUNTS_SECONDS)
    if row.left_out:
        return ()
    return tuple(
        name for name, counts in (("grams", has_grams), ("seconds", has_seconds)) if counts
    )


def run_id_of(row: RunRow) -> str:
    return row.run_id if row.run_id is not None else str(uuid.UUID(bytes=row.run_key))


def fingerprint_of(run: Run) -> bytes:
    """16 bytes: half of them for the content, half for the start as sent (zero when not sent).

    A run sent with its age comes again with another age, so a start that was not sent cannot
    count when two copies are compared.
    """
    return _fingerprint(run, _numbers(run))


def _fingerprint(run: Run, numbers: tuple[int | None, ...]) -> bytes:
    """Of the content as a JSON array without spaces, put together from its pieces."""
    on_ms, grams_mg, energy_joules, setting_milli, rpm, motor, ambient = numbers
    amounts = f"{on_ms},{grams_mg}".replace("None", "null")
    others = f"{energy_joules},{setting_milli},{rpm},{motor},{ambient}".replace("None", "null")
    brew = "null" if run.brew is None else _AS_TEXT(asdict(run.brew))
    text = (
        f"[{_quoted(run.grinder_id)},{amounts},{_quoted(run.grams_basis)},"
        f"{_quoted(run.feed)},{others},{_quoted(run.purpose)},"
        f"{_quoted(run.coffee_lot)},{brew},{_quoted(run.source)}]"
    )
    sent_ms = None if run.started_at is None else to_milliseconds(run.started_at)
    return _halves(text, sent_ms)


@lru_cache(maxsize=4096)
def _quoted(text: str | None) -> str:
    return _AS_TEXT(text)


def fingerprint_with_time(content: Any, sent_ms: int | None) -> bytes:
    """Half of the bytes for the content, half for the time as sent (zero when it was not)."""
    return _halves(_AS_TEXT(content), sent_ms)


def _halves(text: str, sent_ms: int | None) -> bytes:
    first = blake2b(text.encode(), digest_size=8).digest()
    if sent_ms is None:
        return first + NO_TIME
    return first + blake2b(str(sent_ms).encode(), digest_size=8).digest()


def is_same_content(one: bytes, other: bytes) -> bool:
    """Whether two fingerprints speak of the same run."""
    if one[:8] != other[:8]:
        return False
    return one[8:] == other[8:] or NO_TIME in (one[8:], other[8:])


def over(value: int | None, divisor: int) -> float | None:
    return None if value is None else value / divisor
