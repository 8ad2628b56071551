"""How a run or a reading tells its time: by an instant, an age, or an uptime; never two ways."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from marshmallow import ValidationError

from .device_clock import LARGEST_UPTIME_SECONDS, LONGEST_BOOT_ID, OLDEST_AGE_SECONDS
from .fields import StrictFloat, Text, nullable


def given(**kinds: str) -> dict[str, Any]:
    """These members stand there, and are not null."""
    return {
        "required": list(kinds),
        "properties": {name: {"type": kind} for name, kind in kinds.items()},
    }


TIMES_ALONE: tuple[dict[str, Any], ...] = (
    given(age_seconds="number", uptime_seconds="number"),
    {**given(uptime_seconds="number"), "not": given(boot_id="string")},
)
"""What no run and no reading may tell of its time."""


def check_times(loaded: Mapping[str, Any], instant: str) -> None:
    """Refuse two times for one thing, and an uptime without the boot it counts from."""
    told = [
        name for name in (instant, "age_seconds", "uptime_seconds") if loaded.get(name) is not None
    ]
    if len(told) > 1:
        raise ValidationError({told[1]: [f"cannot stand beside {told[0]}"]})
    if loaded.get("uptime_seconds") is not None and loaded.get("boot_id") is None:
        raise ValidationError({"boot_id": ["is required beside uptime_seconds"]})


def age(what: str, instant: str) -> Any:
    return nullable(
        StrictFloat,
        f"How long before sending {what}, in seconds, instead of `{instant}`.",
        low=0,
        high=OLDEST_AGE_SECONDS,
    )


def boot_id() -> Any:
    return nullable(
        Text,
        "For a device without a clock: which boot of it `uptime_seconds` counts from, in its own "
        "words; compared with the header X-Device-Boot.",
        high=LONGEST_BOOT_ID,
        example="17",
    )


def uptime(what: str) -> Any:
    return nullable(
        StrictFloat,
        f"How long after that boot {what}, in seconds. With the header X-Device-Uptime of the "
        "same boot its age is known; of another boot, it is the time of receipt.",
        low=0,
        high=LARGEST_UPTIME_SECONDS,
        example=86_312.5,
    )
