"""A run as a row and back: exact integers, the key of its id, the fingerprint of its content."""

from __future__ import annotations

import json
import re
import uuid
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
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
from ..core.run_columns import RunColumns
from .row_columns import RowColumns, RunRow
from .tables import UNSTATED
from .types import to_instant, to_milliseconds

NO_TIME = bytes(8)
UUID_LENGTH = 36
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
    return len(run_id) == UUID_LENGTH and _CANONICAL_UUID.fullmatch(run_id) is not None


def thousandths(value: float | None) -> int | None:
    """Grams to milligrams, seconds to milliseconds: the nearest whole number."""
    return _whole_of([value], 1000)[0]


def tenths(value: float | None) -> int | None:
    return _whole_of([value], 10)[0]


def columns_of(
    sent: RunColumns,
    *,
    grinder_nos: Sequence[int],
    source_nos: Sequence[int | None] | None,
    started_ms: Sequence[int],
    time_sources: Sequence[str],
    received_at: datetime,
    findings: Mapping[int, Finding],
) -> RowColumns:
    """The rows of runs that have been placed in time and judged, column by column.

    ``findings`` are about clocks, by the run's place: others follow from the facts when the run is
    read. No ``source_nos`` when no run names a source.
    """
    count = len(sent)
    columns: dict[str, Sequence[Any]] = {}
    for name, (member, factor) in _NUMBERS.items():
        if not sent.is_left_out(member):
            columns[name] = _whole_of(sent.column(member), factor)
    fingerprints = _fingerprints(sent, columns)
    ids = sent.column("run_id")
    columns["run_key"] = list(map(run_key_of, ids))
    if UUID_LENGTH not in set(map(len, ids)):
        columns["run_id"] = ids
    else:
        columns["run_id"] = [None if is_canonical_uuid(run_id) else run_id for run_id in ids]
    columns["grinder_no"] = grinder_nos
    columns["started_ms"] = started_ms
    columns["grams_basis"] = list(map(_BASIS_NOS.__getitem__, sent.column("grams_basis")))
    columns["purpose"] = list(map(_PURPOSE_NOS.__getitem__, sent.column("purpose")))
    columns["time_source"] = list(map(_TIME_SOURCE_NOS.__getitem__, time_sources))
    if not sent.is_left_out("feed"):
        columns["feed"] = list(map(_FEED_NOS.__getitem__, sent.column("feed")))
    if source_nos is not None:
        columns["source_no"] = source_nos
    columns["fingerprint"] = fingerprints
    columns["received_ms"] = [to_milliseconds(received_at)] * count
    return RowColumns(count, columns, _more(sent, findings))


_NUMBERS = {
    "on_ms": ("seconds", 1000),
    "grams_mg": ("grams", 1000),
    "energy_joules": ("energy_joules", 1),
    "setting_milli": ("setting", 1000),
    "rpm": ("rpm", 1),
    "motor_decicelsius": ("motor_celsius", 10),
    "ambient_decicelsius": ("ambient_celsius", 10),
}
_BASIS_NOS = {name: number for number, name in enumerate(GRAMS_BASES)}
_PURPOSE_NOS = {name: number for number, name in enumerate(PURPOSES)} | {None: UNSTATED}
_FEED_NOS = {name: number for number, name in enumerate(FEEDS)} | {None: None}
_TIME_SOURCE_NOS = {name: number for number, name in enumerate(TIME_SOURCES)}


def _whole_of(column: Sequence[float | None], factor: int) -> list[int | None]:
    """Grams to milligrams and the like: the nearest whole number."""
    if None in column:
        return [None if value is None else round(value * factor) for value in column]
    return [round(value * factor) for value in column]  # type: ignore[operator]


def _more(sent: RunColumns, findings: Mapping[int, Finding]) -> dict[int, dict[str, Any]]:
    """What few runs have, by their places."""
    more: dict[int, dict[str, Any]] = defaultdict(dict)
    for member in ("brew", "coffee_lot"):
        if not sent.is_left_out(member):
            for place, value in enumerate(sent.column(member)):
                if value is not None:
                    more[place][member] = _described(value) if member == "brew" else value
    for place, finding in findings.items():
        more[place]["findings"] = [asdict(finding)]
    return dict(more)


def _described(brew: Brew) -> dict[str, Any]:
    return {name: value for name, value in asdict(brew).items() if value is not None}


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
    """The row of one run that has been placed in time and judged."""
    return columns_of(
        RunColumns.of([run]),
        grinder_nos=[grinder_no],
        source_nos=[source_no],
        started_ms=[to_milliseconds(started_at)],
        time_sources=[time_source],
        received_at=received_at,
        findings={} if finding is None else {0: finding},
    ).row(0)


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
    return findings_in(row.more or {})


def findings_in(more: Mapping[str, Any]) -> tuple[Finding, ...]:
    return tuple(Finding(**finding) for finding in more.get("findings", ()))


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
    sent = RunColumns.of([run])
    whole = {name: _whole_of(sent.column(member), by) for name, (member, by) in _NUMBERS.items()}
    return _fingerprints(sent, whole)[0]


_FINGERPRINTED = (
    "grinder_id", "on_ms", "grams_mg", "grams_basis", "feed", "energy_joules", "setting_milli",
    "rpm", "motor_decicelsius", "ambient_decicelsius", "purpose", "coffee_lot", "brew", "source",
)  # fmt: skip


def _fingerprints(sent: RunColumns, whole: Mapping[str, Sequence[Any]]) -> list[bytes]:
    """Of each run's content as a JSON array without spaces, put together from its pieces.

    What is the same in all runs is written once, into a form that the others are put into.
    """
    pieces: list[str] = []
    varying: list[Sequence[Any]] = []
    for name in _FINGERPRINTED:
        if name in _NUMBERS:
            column = whole.get(name)
            if column is None:
                pieces.append("null")
                continue
            if None in column:
                column = ["null" if value is None else value for value in column]
        else:
            told = sent.column(name)
            texts = {value: _as_text(value) for value in set(told)}
            if len(texts) == 1:
                pieces.append(texts[told[0]].replace("%", "%%"))
                continue
            column = [texts[value] for value in told]
        pieces.append("%s")
        varying.append(column)
    form = f"[{','.join(pieces)}]"
    each = zip(*varying, strict=True) if varying else [()] * len(sent)
    contents = [form % values for values in each]
    told_at = sent.column("started_at")
    times = [None if at is None else to_milliseconds(at) for at in told_at]
    return list(map(_halves, contents, times))


def _as_text(value: Any) -> str:
    return _AS_TEXT(asdict(value) if isinstance(value, Brew) else value)


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
