"""Devices without a clock: what they tell of time, by the headers of a request.

Such a device counts its boots and the seconds since the last one. With each request it sends
both as they are now; a run or reading carries both as they were then. Within one boot the
difference is an age; across boots nothing is known, and the time of receipt has to do.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from flask import Request

from .refusals import BadHeader

BOOT_HEADER = "X-Device-Boot"
UPTIME_HEADER = "X-Device-Uptime"
LONGEST_BOOT_ID = 64
UPTIME = "[0-9]{1,11}(?:\\.[0-9]{1,9})?"
LARGEST_UPTIME_SECONDS = 99_999_999_999
OLDEST_AGE_SECONDS = 400 * 86_400


@dataclass(frozen=True)
class DeviceClock:
    """A device's boot and uptime at the moment of sending."""

    boot_id: str
    uptime_seconds: float


def read_device_clock(request: Request) -> DeviceClock | None:
    """The device's clock from the headers; None where one of them is missing."""
    boot_id = request.headers.get(BOOT_HEADER)
    uptime = request.headers.get(UPTIME_HEADER)
    if boot_id is not None:
        boot_id = boot_id.strip(" \t")
        if not 1 <= len(boot_id) <= LONGEST_BOOT_ID:
            raise BadHeader(BOOT_HEADER, f"must have 1 to {LONGEST_BOOT_ID} characters")
    if uptime is not None:
        uptime = uptime.strip(" \t")
        if re.fullmatch(UPTIME, uptime, re.ASCII) is None:
            raise BadHeader(UPTIME_HEADER, "must be a number of seconds such as 86312.5")
    if boot_id is None or uptime is None:
        return None
    return DeviceClock(boot_id, float(uptime))


def placed(line: Mapping[str, Any], clock: DeviceClock | None) -> dict[str, Any]:
    """A loaded run or reading with its uptime turned into an age, where that can be told."""
    told = dict(line)
    boot_id, uptime_seconds = told.pop("boot_id", None), told.pop("uptime_seconds", None)
    if uptime_seconds is not None and clock is not None and boot_id == clock.boot_id:
        age_seconds = round(clock.uptime_seconds - uptime_seconds, 3)
        if 0 <= age_seconds <= OLDEST_AGE_SECONDS:
            told["age_seconds"] = age_seconds
    return told
