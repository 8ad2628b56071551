"""What alert episodes are folded from, and what comes out: instants are whole milliseconds.

All instants are POSIX milliseconds. The order of the facts given never matters.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from typing import Literal, NamedTuple

from .duty import rating_limit
from .heat import STALE_SECONDS
from .records import RatedDuty

BEFORE_ALL_MS = -(2**53)
"""Earlier than any instant; doubles hold every whole number from here to 2^53 exactly."""


RELEASE_FRACTION = Fraction(9, 10)
"""An episode closes when the on-time has come down to this share of the limit, so that a grinder
that works right at its limit is one episode and not fifty (our choice, no source)."""
RELEASE_KELVIN = 5.0
"""An overheat closes this far below the limit: more than a sensor's own unrest of a kelvin or
two, less than a motor cools in the rest that helps (our choice, no source)."""
BRIDGED_MS = 2000
"""Two pulses less than 2 s apart are one run (our choice, no source)."""
STALE_MS = round(STALE_SECONDS * 1000)


Severity = Literal["notice", "caution", "alert"]
AlertKind = Literal[
    "motor_overheat",
    "motor_heating",
    "duty_exceeded",
    "long_run",
    "flow_low",
    "silent",
    "clock_suspect",
    "checkpoint_due",
    "settled",
    "burr_life",
]


@dataclass(frozen=True)
class Episode:
    """A condition that held for a while; ``closed_at_ms`` is None while it lasts."""

    kind: AlertKind
    severity: Severity
    opened_at_ms: int
    closed_at_ms: int | None
    facts: Mapping[str, float | None] = field(hash=False)


class Reading(NamedTuple):
    """A motor temperature and when it was read."""

    at_ms: int
    celsius: float


class Stretch(NamedTuple):
    """Motor-on time, half-open [started, ended); one that still goes on ends at the present."""

    started_ms: int
    ended_ms: int


@dataclass(frozen=True)
class DatedLimits:
    """What a grinder is held to from an instant on; None = not judged."""

    from_ms: int
    limit_celsius: float | None = None
    rated: RatedDuty | None = None
    longest_run_seconds: float | None = None
    release_fraction: Fraction = RELEASE_FRACTION
    release_kelvin: float = RELEASE_KELVIN


class Span(NamedTuple):
    """Limits and the first and last whole millisecond at which they are in force."""

    first_ms: int
    last_ms: int
    limits: DatedLimits


def spans_in_force(limits: Sequence[DatedLimits], *, until_ms: int) -> tuple[Span, ...]:
    """Lay dated limits out on the time line, each from its instant to just before the next.

    ``in force at t: the one with the latest from <= t, else the first``

    Parameters
    ----------
    limits : sequence of DatedLimits
        In any order; the earliest holds before its own instant too.
    until_ms : int
        The last instant of interest, POSIX ms.

    Returns
    -------
    tuple of Span
        Ascending, without gaps, from before all time to ``until_ms``; empty without limits.

    Raises
    ------
    ValueError
        Two limits are valid from the same instant.

    Valid
    -----
    Instants are whole milliseconds, so a span ends one millisecond before the next begins.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> [span[:2] for span in spans_in_force([DatedLimits(500), DatedLimits(0)], until_ms=900)]
    [(-9007199254740992, 499), (500, 900)]
    """
    ordered = sorted(limits, key=lambda one: one.from_ms)
    begins = [one.from_ms for one in ordered]
    if len(set(begins)) < len(begins):
        twice = next(a for a, b in pairwise(begins) if a == b)
        raise ValueError(f"two limits are valid from the same instant, {twice} ms")
    firsts = [BEFORE_ALL_MS, *begins[1:]]
    lasts = [*(begin - 1 for begin in begins[1:]), until_ms]
    return tuple(
        Span(first, min(last, until_ms), one)
        for first, last, one in zip(firsts, lasts, ordered, strict=False)
        if first <= until_ms
    )


def judged_rating_ms(rated: RatedDuty | None) -> tuple[int, int] | None:
    """Read the limit and the trailing window out of a rating, in whole milliseconds.

    ``limit_ms = floor(1000 limit + 1/2);  cycle_ms = floor(1000 T + 1/2);  each at least 1``

    Parameters
    ----------
    rated : RatedDuty or None
        The plate's rating.

    Returns
    -------
    tuple of int, or None
        Allowed on-time and window in ms; None for a rating that cannot be exceeded: none at all,
        a continuous one, or one that leaves the on-time open.

    Raises
    ------
    ValueError
        ``rating_limit`` refuses a number of the rating.

    Valid
    -----
    On-time is a whole number of ms: it is over ``limit_ms`` just when it is over the limit by
    more than half a millisecond, as ``judge_duty`` has it.

    Source
    ------
    ``rating_limit`` (IEC 60034-1, duty types S2 and S3).

    Examples
    --------
    >>> judged_rating_ms(RatedDuty("intermittent", duty_fraction=0.25))
    (150000, 600000)
    """
    if rated is None or rated.kind == "continuous":
        return None
    limit_seconds, cycle_seconds = rating_limit(rated)
    if limit_seconds is None:
        return None
    return _whole_ms(limit_seconds), _whole_ms(cycle_seconds)


def _whole_ms(seconds: float) -> int:
    return max(1, math.floor(seconds * 1000 + 0.5))
