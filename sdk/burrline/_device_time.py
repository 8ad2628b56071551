"""What a device knows of time when its clock may be wrong: boots, uptimes, and offsets.

Seconds since boot never jump. The service's answers carry its time, so that within one boot the
offset between the two becomes known, and stays known for the runs of that boot ever after. A wall
clock is a last resort: on small boards it stands still while the power is off.
"""

from __future__ import annotations

import time
import uuid
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from pathlib import Path

BOOT_ID_FILE = Path("/proc/sys/kernel/random/boot_id")
_THIS_PROCESS = uuid.uuid4().hex


@dataclass(frozen=True)
class Moment:
    """One instant as the device can tell it: which boot, seconds since it, and its wall clock."""

    boot_id: str
    uptime_seconds: float
    wall_seconds: float


def moment_now() -> Moment:
    """This machine's moment; where it does not tell its boots, each process is one."""
    boot_id = _boot_id()
    if boot_id is not None and hasattr(time, "CLOCK_BOOTTIME"):
        uptime_seconds = time.clock_gettime(time.CLOCK_BOOTTIME)
    else:
        boot_id, uptime_seconds = _THIS_PROCESS, time.monotonic()
    return Moment(boot_id, uptime_seconds, time.time())


def _boot_id() -> str | None:
    try:
        return BOOT_ID_FILE.read_text("ascii").strip() or None
    except (OSError, UnicodeDecodeError):
        return None


def instant_of(unix_seconds: float) -> datetime:
    """The instant of POSIX seconds, in whole milliseconds.

    >>> instant_of(1_767_254_400.0004)
    datetime.datetime(2026, 1, 1, 8, 0, tzinfo=datetime.timezone.utc)
    """
    return datetime(1970, 1, 1, tzinfo=timezone.utc) + timedelta(
        milliseconds=round(unix_seconds * 1000)
    )
