"""A line on its way into a spool: its id, its time by this device's uptime, its place.

A line with a ``reading_id`` is a reading; all others are runs. A reading's id has a prefix in the
spool, for it may be the same as that of a run.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from burrline._convert import format_instant, new_run_id, parse_instant
from burrline._device_time import Moment, instant_of
from burrline._spool_store import WAITING, count, text_of

LONGEST_LINE_BYTES = 64 * 1024
OLDEST_AGE_SECONDS = 400 * 86_400
"""More than this the service does not take for an age."""
TIMES = ("started_at", "at", "age_seconds", "uptime_seconds", "boot_id")
READING_PREFIX = "reading:"


@dataclass(frozen=True)
class New:
    """A run on its way in; the times of its start are None where it tells its own."""

    key: str
    line: dict[str, Any]
    text: str
    boot_id: str | None
    uptime_seconds: float | None
    wall_seconds: float | None

    @property
    def size_bytes(self) -> int:
        return len(self.text.encode())


def is_reading(line: Mapping[str, Any]) -> bool:
    return "reading_id" in line


def placed(line: dict[str, Any], moment: Moment) -> New:
    """The line with its id, and its time by this device's uptime where it does not tell its own."""
    id_name, time_name = ("reading_id", "at") if is_reading(line) else ("run_id", "started_at")
    if line.get(id_name) is None:
        line[id_name] = new_run_id(instant_of(moment.wall_seconds))
    if not isinstance(line[id_name], str):
        raise ValueError(f"a {id_name.removesuffix('_id')}'s id is a text")
    ago = line.get("age_seconds")
    boot_id = uptime_seconds = wall_seconds = None
    if line.get(time_name) is None and line.get("uptime_seconds") is None:
        if ago is None:
            ago = 0.0 if is_reading(line) else line.get("seconds") or 0.0
        if _is_age(ago):
            line.pop("age_seconds", None)
            boot_id = moment.boot_id
            uptime_seconds = moment.uptime_seconds - ago
            wall_seconds = moment.wall_seconds - ago
    text = text_of(line)
    if len(text.encode()) > LONGEST_LINE_BYTES:
        raise ValueError(f"a run of more than {LONGEST_LINE_BYTES} bytes cannot be sent")
    key = (READING_PREFIX if is_reading(line) else "") + line[id_name]
    return New(key, line, text, boot_id, uptime_seconds, wall_seconds)


def _is_age(ago: Any) -> bool:
    """Whether it can be one; what cannot is sent as it is, for the service to refuse."""
    is_number = isinstance(ago, (int, float)) and not isinstance(ago, bool)
    return is_number and 0 <= ago <= OLDEST_AGE_SECONDS


def insert(
    connection: sqlite3.Connection, fresh: Sequence[New], moment: Moment, *, is_suspect: bool
) -> None:
    """Write runs down; a wall clock behind what the service has told before is left out."""
    for run in fresh:
        connection.execute(
            "INSERT INTO run (run_id, line, size_bytes, state, put_at, boot_id, uptime_seconds,"
            " wall_seconds) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            (
                run.key,
                run.text,
                run.size_bytes,
                WAITING,
                moment.wall_seconds,
                run.boot_id,
                run.uptime_seconds,
                None if is_suspect else run.wall_seconds,
            ),
        )
        count(connection, 1, run.size_bytes)


def is_same(text: str, line: Mapping[str, Any]) -> bool:
    """The same run put again; two starts that were told have to be the same instant.

    A start told by one of them alone counts for nothing: the same run may be told by its age.
    """
    known: dict[str, Any] = json.loads(text)
    again: dict[str, Any] = json.loads(text_of(dict(line)))
    name = "at" if is_reading(known) else "started_at"
    starts = [found for one in (known, again) if (found := one.get(name)) is not None]
    if len({_instant(start) for start in starts}) > 1:
        return False
    return _without_times(known) == _without_times(again)


def _instant(start: Any) -> str:
    try:
        return format_instant(parse_instant(start))
    except (TypeError, ValueError):
        return text_of({"": start})


def _without_times(line: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in line.items() if name not in TIMES}
