"""Readings coming in: temperatures between and during runs, and motors that run now."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime, timedelta
from hashlib import blake2b
from typing import Any

from ..core.entered import Reading, StoredReading
from ..core.errors import AlreadyExists, NotFound, Refusal
from ..core.quality import EARLIEST_START_AT, FUTURE_SECONDS
from ..core.records import (
    TIME_SOURCES,
    Caller,
    Page,
    RunOutcome,
)
from ..store import grinders, readings, run_rows, state, sums
from ..store.database import Connection, Database
from ..store.readings import ReadingRow
from ..store.types import to_instant, to_milliseconds
from . import reach
from .listing import cut, milliseconds_or_none
from .recording import source_numbers


def add_readings(
    database: Database, caller: Caller, *, sent: Sequence[Reading], now: datetime
) -> list[RunOutcome | Refusal]:
    """Record many readings in one transaction; one outcome or refusal each, in the order given.

    A reading without an id is known by its grinder, source and instant.
    """
    return database.write(caller.account_no, lambda connection: _add(connection, caller, sent, now))


def add_reading(
    database: Database, caller: Caller, *, reading: Reading, now: datetime
) -> RunOutcome:
    """Record one reading; what is refused leaves nothing behind."""

    def work(connection: Connection) -> RunOutcome:
        (outcome,) = _add(connection, caller, [reading], now)
        if isinstance(outcome, Refusal):
            raise outcome
        if outcome.outcome == "conflict":
            raise AlreadyExists("reading", outcome.run_id)
        return outcome

    return database.write(caller.account_no, work)


def list_readings(
    database: Database,
    caller: Caller,
    *,
    grinder_id: str,
    from_at: datetime | None = None,
    to_at: datetime | None = None,
    limit: int,
    position: tuple[Any, ...] | None,
    now: datetime,
) -> Page:
    def work(connection: Connection) -> Page:
        found = reach.grinder_of(connection, caller, grinder_id, now=now)
        rows = readings.listed(
            connection,
            caller.account_no,
            found.grinder_no,
            from_ms=milliseconds_or_none(from_at),
            to_ms=milliseconds_or_none(to_at),
            limit=limit + 1,
            after=None if position is None else (position[0], bytes.fromhex(position[1])),
        )
        kept, last = cut(rows, limit)
        names = state.source_names(
            connection,
            caller.account_no,
            {row.source_no for row in kept if row.source_no is not None},
        )
        return Page(
            tuple(_record(row, grinder_id, names) for row in kept),
            None if last is None else (last.at_ms, last.reading_key.hex()),
        )

    return database.read(caller.account_no, work)


def void_reading(
    database: Database, caller: Caller, *, reading_id: str, now: datetime
) -> StoredReading:
    """Take a reading out of every answer; it stays readable, marked."""

    def work(connection: Connection) -> StoredReading:
        row = readings.by_key(connection, caller.account_no, key_of(reading_id))
        found = (
            None
            if row is None
            else reach.grinder_numbered(connection, caller, row.grinder_no, now=now)
        )
        if row is None or found is None:
            raise NotFound("reading", reading_id)
        sums.lock(connection, caller.account_no, [row.grinder_no])
        readings.void(
            connection, caller.account_no, row.reading_key, voided_ms=to_milliseconds(now)
        )
        voided = readings.by_key(connection, caller.account_no, row.reading_key)
        assert voided is not None
        numbers = [] if voided.source_no is None else [voided.source_no]
        names = state.source_names(connection, caller.account_no, numbers)
        return _record(voided, found.grinder.grinder_id, names)

    return database.write(caller.account_no, work)


def _add(
    connection: Connection, caller: Caller, sent: Sequence[Reading], now: datetime
) -> list[RunOutcome | Refusal]:
    known = {
        grinder_id: row
        for grinder_id, row in grinders.by_ids(
            connection, caller.account_no, {reading.grinder_id for reading in sent}, as_of=now
        ).items()
        if reach.may_see(caller, site_id=row.grinder.site_id, grinder_id=grinder_id)
    }
    named = {
        reading.source
        for reading in sent
        if reading.source is not None and reading.grinder_id in known
    }
    sources = source_numbers(connection, caller.account_no, named)
    outcomes: list[RunOutcome | Refusal] = []
    rows: list[ReadingRow | None] = []
    for reading in sent:
        grinder = known.get(reading.grinder_id)
        rows.append(None if grinder is None else _row(reading, grinder.grinder_no, sources, now))
    sums.lock(
        connection,
        caller.account_no,
        {row.grinder_no for row in rows if row is not None},
        # motors' fits that were kept stay good where nothing here lies before the last minutes
        earliest_ms=min((row.at_ms for row in rows if row is not None), default=None),
        now_ms=to_milliseconds(now),
    )
    seen = readings.known(
        connection, caller.account_no, [row.reading_key for row in rows if row is not None]
    )
    fresh: list[ReadingRow] = []
    for reading, row in zip(sent, rows, strict=True):
        if row is None:
            outcomes.append(NotFound("grinder", reading.grinder_id))
            continue
        first = seen.get(row.reading_key)
        name = _id_of(row)
        if first is None:
            seen[row.reading_key] = row.fingerprint
            fresh.append(row)
            outcomes.append(RunOutcome(name, "accepted"))
        else:
            is_same = run_rows.is_same_content(row.fingerprint, first)
            outcomes.append(RunOutcome(name, "duplicate" if is_same else "conflict"))
    readings.add(connection, caller.account_no, fresh)
    return outcomes


def _row(reading: Reading, grinder_no: int, sources: dict[str, int], now: datetime) -> ReadingRow:
    at, time_source = _placed(reading, now)
    at_ms = to_milliseconds(at)
    identity = reading.reading_id or _made_id(reading, at_ms)
    return ReadingRow(
        reading_key=key_of(identity),
        reading_id=identity,
        grinder_no=grinder_no,
        at_ms=at_ms,
        motor_decicelsius=run_rows.tenths(reading.motor_celsius),
        ambient_decicelsius=run_rows.tenths(reading.ambient_celsius),
        is_running=reading.is_running,
        run_key=None if reading.run_id is None else run_rows.run_key_of(reading.run_id),
        run_id=reading.run_id,
        time_source=TIME_SOURCES.index(time_source),
        source_no=None if reading.source is None else sources[reading.source],
        fingerprint=_fingerprint(reading),
        received_ms=to_milliseconds(now),
    )


def _placed(reading: Reading, now: datetime) -> tuple[datetime, str]:
    if reading.at is not None:
        ahead = (reading.at - now).total_seconds()
        if ahead <= FUTURE_SECONDS and reading.at >= EARLIEST_START_AT:
            return reading.at, "device"
        return now, "received"
    if reading.age_seconds is not None:
        return now - timedelta(seconds=reading.age_seconds), "age"
    return now, "device"  # read at the moment of sending


def _made_id(reading: Reading, at_ms: int) -> str:
    text = json.dumps([reading.grinder_id, reading.source, at_ms])
    return f"r-{blake2b(text.encode(), digest_size=12).hexdigest()}"


def key_of(reading_id: str) -> bytes:
    return blake2b(reading_id.encode(), digest_size=16).digest()


def _id_of(row: ReadingRow) -> str:
    assert row.reading_id is not None
    return row.reading_id


def _fingerprint(reading: Reading) -> bytes:
    content = (
        reading.grinder_id,
        run_rows.tenths(reading.motor_celsius),
        run_rows.tenths(reading.ambient_celsius),
        reading.is_running,
        reading.run_id,
        reading.source,
    )
    sent_at = None if reading.at is None else to_milliseconds(reading.at)
    return run_rows.fingerprint_with_time(content, sent_at)


def _record(row: ReadingRow, grinder_id: str, names: dict[int, str]) -> StoredReading:
    return StoredReading(
        reading=Reading(
            grinder_id=grinder_id,
            reading_id=row.reading_id,
            at=to_instant(row.at_ms),
            motor_celsius=run_rows.over(row.motor_decicelsius, 10),
            ambient_celsius=run_rows.over(row.ambient_decicelsius, 10),
            is_running=row.is_running,
            run_id=row.run_id,
            source=None if row.source_no is None else names[row.source_no],
        ),
        time_source=TIME_SOURCES[row.time_source],
        received_at=to_instant(row.received_ms),
        voided_at=None if row.voided_ms is None else to_instant(row.voided_ms),
    )
