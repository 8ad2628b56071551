"""Grinders and burr sets as flat names: one table for flags and for the columns of a file.

``limit_celsius`` stands for the member ``limit_celsius`` of ``motor``, and so on; a burr set's
serial number is ``burr_serial``, for the grinder has one too.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from burrline._convert import format_instant
from burrline._terminal import finite, instant

UNKNOWN = "unknown"


def word(text: str) -> str:
    if not text.strip():
        raise argparse.ArgumentTypeError("must not be empty")
    return text


def number_or_unknown(text: str) -> float | None:
    return None if text == UNKNOWN else finite(text)


def instant_text(text: str) -> str:
    return format_instant(instant(text))


@dataclass(frozen=True)
class Member:
    """One flat name: where its value stands in the object, how text is read, what it means."""

    name: str
    path: tuple[str, ...]
    read: Callable[[str], Any]
    meaning: str

    @property
    def flag(self) -> str:
        return "--" + self.name.replace("_", "-")


def _of(owner: str, *rows: tuple[str, str, Callable[[str], Any], str]) -> tuple[Member, ...]:
    return tuple(
        Member(name, (owner, member) if owner else (member,), read, meaning)
        for name, member, read, meaning in rows
    )


PLATE = (
    *_of(
        "",
        ("name", "name", word, "the grinder's name"),
        ("model", "model", word, "the maker's model name"),
        ("serial", "serial", word, "the serial number off the plate"),
        ("hopper_grams", "hopper_grams", finite, "what the hopper holds, in grams"),
        ("retained_grams", "retained_grams", finite, "what stays in it between runs, in grams"),
        ("retired_at", "retired_at", instant_text, "when it went out of use (RFC 3339)"),
    ),
    *_of(
        "rated_duty",
        ("duty_kind", "kind", word, "continuous, short_time or intermittent"),
        ("on_seconds", "on_seconds", finite, "longest on-time, in seconds"),
        ("cycle_seconds", "cycle_seconds", finite, "length of one cycle, in seconds"),
        ("duty_fraction", "duty_fraction", finite, "on-time as a fraction of the cycle, 0 to 1"),
    ),
    *_of(
        "motor",
        ("rated_watts", "rated_watts", finite, "rated power, in watts"),
        ("thermal_class", "thermal_class", finite, "105, 120, 130, 155, 180 or 200"),
        ("sensor", "sensor", word, "winding, housing or none"),
        ("caution_celsius", "caution_celsius", finite, "warm from here on, in degrees Celsius"),
        ("limit_celsius", "limit_celsius", finite, "too hot from here on, in degrees Celsius"),
        ("fan", "fan", word, "shaft, separate or none"),
    ),
    *_of(
        "grind",
        ("setting_step", "setting_step", finite, "the smallest step of the setting"),
        ("low_setting", "low_setting", finite, "the lowest setting"),
        ("high_setting", "high_setting", finite, "the highest setting"),
        ("coarser", "coarser", word, "higher or lower: which way it gets coarser"),
        (
            "expected_grams_per_second",
            "expected_grams_per_second",
            finite,
            "the usual flow, in grams per second",
        ),
    ),
)

BURR_SET = _of(
    "",
    ("geometry", "geometry", word, "flat, conical or other"),
    ("prior_grams", "prior_grams", number_or_unknown, "grams before burrline; 0 new, or unknown"),
    ("low_prior_grams", "low_prior_grams", finite, "at least so many before"),
    ("high_prior_grams", "high_prior_grams", finite, "at most so many before"),
    ("diameter_millimetres", "diameter_millimetres", finite, "outer diameter, in millimetres"),
    ("burr_model", "burr_model", word, "the maker's name of the burrs"),
    ("burr_serial", "serial", word, "the set's serial number"),
    ("material", "material", word, "what they are made of"),
    ("coating", "coating", word, "their coating"),
    ("pre_treated", "pre_treated", word, "none, factory, outside or unknown"),
    ("rated_life_grams", "rated_life_grams", finite, "the maker's rated life, in grams"),
)


def add_flags(parser: argparse.ArgumentParser, members: Iterable[Member]) -> None:
    for member in members:
        kind = "TEXT" if member.read is word else "INSTANT" if member.read is instant_text else "N"
        parser.add_argument(
            member.flag,
            type=member.read,
            metavar=kind,
            default=argparse.SUPPRESS,  # tells a flag left out from a value that is null
            help=member.meaning,
        )


def add_clear(parser: argparse.ArgumentParser, members: tuple[Member, ...]) -> None:
    parser.add_argument(
        "--clear",
        action="append",
        default=[],
        metavar="NAME",
        choices=[member.name for member in members],
        help="take away what is recorded, by the flag's name with _ (may be given several times)",
    )


def flat_of(options: argparse.Namespace, members: Iterable[Member]) -> dict[str, Any]:
    """The values of the flags that were used; cleared ones are None."""
    used = {one.name: getattr(options, one.name) for one in members if hasattr(options, one.name)}
    return {**used, **dict.fromkeys(getattr(options, "clear", ()))}


def nested(flat: Mapping[str, Any], members: Iterable[Member]) -> dict[str, Any]:
    """The flat values where they stand in the object.

    >>> nested({"name": "Bar left", "limit_celsius": 75.0}, PLATE)
    {'name': 'Bar left', 'motor': {'limit_celsius': 75.0}}
    """
    found: dict[str, Any] = {}
    for member in members:
        if member.name in flat:
            inner = found
            for step in member.path[:-1]:
                inner = inner.setdefault(step, {})
            inner[member.path[-1]] = flat[member.name]
    return found


def flattened(value: Mapping[str, Any], members: Iterable[Member]) -> dict[str, Any]:
    """The members' values in an object as read; what is absent is None."""
    found: dict[str, Any] = {}
    for member in members:
        inner: Any = value
        for step in member.path:
            inner = inner.get(step) if isinstance(inner, Mapping) else None
        found[member.name] = inner
    return found
