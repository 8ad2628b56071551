"""What an MQTT message says, and where those go that make no sense; needs no MQTT library."""

from __future__ import annotations

import base64
import hashlib
import json
import math
import os
import re
from datetime import datetime, timezone
from typing import Any

from burrline._convert import format_instant

MOST_PAYLOAD_BYTES = 64 * 1024
MOST_ASIDE_BYTES = 16 * 1024 * 1024
UNKNOWN_BOOT = "unknown"
"""A boot that no device ever told the service of: what is placed by it is placed at receipt."""
_GRINDER = re.compile(r"[a-z0-9][a-z0-9_-]{0,63}")


class NoSense(ValueError):
    """A message that neither a run nor a reading can be made of."""


def run_or_reading(
    topic: str, payload: bytes, *, prefix: str, is_retained: bool, trusts_arrival: bool
) -> tuple[str, dict[str, Any]]:
    """The kind and the line of a message; ``NoSense`` tells what is wrong with it.

    >>> kind, line = run_or_reading(
    ...     "burrline/bar-1/run", b'{"run_id": "bar-1-000017", "grams": 18.2, "seconds": 7.4}',
    ...     prefix="burrline", is_retained=False, trusts_arrival=True,
    ... )
    >>> kind, line["grinder_id"], line["grams"]
    ('run', 'bar-1', 18.2)
    """
    grinder_id, _, kind = topic.removeprefix(f"{prefix}/").partition("/")
    if kind not in ("run", "reading") or not _GRINDER.fullmatch(grinder_id):
        raise NoSense("its topic is not PREFIX/GRINDER/run or PREFIX/GRINDER/reading")
    line = _object(payload)
    if line.setdefault("grinder_id", grinder_id) != grinder_id:
        raise NoSense("it names another grinder than its topic")
    id_name, time_name = ("run_id", "started_at") if kind == "run" else ("reading_id", "at")
    has_time = line.get(time_name) is not None
    has_uptime = line.get("boot_id") is not None and line.get("uptime_seconds") is not None
    if line.get(id_name) is None:
        if not has_time and not has_uptime:
            raise NoSense(
                f"it has neither {id_name} nor {time_name}: sent again it would count twice"
            )
        text = json.dumps([topic, line], sort_keys=True, separators=(",", ":"))
        line[id_name] = "mqtt-" + hashlib.sha256(text.encode()).hexdigest()[:40]
    # a retained message comes with every new connection: it is of any age
    if not has_time and not has_uptime and (is_retained or not trusts_arrival):
        if kind == "reading":
            raise NoSense("it has no at: nobody can tell how long it lay at the broker")
        line.pop("age_seconds", None)
        line.update(boot_id=UNKNOWN_BOOT, uptime_seconds=0)
    return kind, line


def _object(payload: bytes) -> dict[str, Any]:
    if len(payload) > MOST_PAYLOAD_BYTES:
        raise NoSense(f"it has more than {MOST_PAYLOAD_BYTES} bytes")
    try:
        line = json.loads(payload.decode("utf-8"), parse_constant=_finite, parse_float=_finite)
        json.dumps(line, ensure_ascii=False).encode()
    except (ValueError, RecursionError):
        raise NoSense("it is not JSON") from None
    if not isinstance(line, dict):
        raise NoSense("it is not a JSON object")
    return line


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(f"{text} is not a number JSON can hold")
    return value


class Aside:
    """A file of messages set aside, one JSON object per line; ``OSError`` when it is full."""

    def __init__(self, path: str) -> None:
        self.path = path

    def put(self, topic: str, payload: bytes, reason: str) -> None:
        """Write a message down; it is on disk when this returns."""
        entry: dict[str, Any] = {
            "set_aside_at": format_instant(datetime.now(timezone.utc)),
            "topic": topic,
            "reason": reason,
        }
        try:
            entry["payload"] = payload.decode("utf-8")
        except UnicodeDecodeError:
            entry["payload_base64"] = base64.b64encode(payload).decode("ascii")
        text = json.dumps(entry, separators=(",", ":")) + "\n"
        with open(self.path, "ab") as file:
            if file.tell() + len(text) > MOST_ASIDE_BYTES:
                raise OSError(f"{self.path} is full: look at it, then move it away")
            file.write(text.encode("ascii"))
            file.flush()
            os.fsync(file.fileno())
