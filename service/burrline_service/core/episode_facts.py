"""What alert episodes are folded from, and what comes out: instants are whole milliseconds.

All instants are POSIX milliseconds. The order of the facts given never matters.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from .intervals import union_of_intervals
from .records import RatedDuty

Milliseconds = NDArray[np.int64]
Switches = NDArray[np.bool_]

BEFORE_ALL_MS = -(2**53)
"""Earlier than any instant; doubles hold every whole number from here to 2^53 exactly."""


@dataclass(frozen=True)
class Episode:
    """A condition that held for a while; ``closed_at_ms`` is None while it lasts."""

    kind: Literal["motor_overheat", "duty_exceeded", "long_run"]
    severity: Literal["notice", "caution", "alert"]
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


def motor_on(
    stretches: Sequence[Stretch], *, until_ms: int, bridged_ms: int = 0
) -> tuple[Milliseconds, Milliseconds]:
    """Merge motor-on stretches and cut them off at an instant.

    ``U = (union of [s_i, e_i)) cut at until, gaps shorter than bridged closed``

    Parameters
    ----------
    stretches : sequence of Stretch
        In any order; they may overlap.
    until_ms : int
        Motor time after it is not known yet, POSIX ms.
    bridged_ms : int
        A gap shorter than this does not part two stretches, in ms.

    Returns
    -------
    tuple of ndarray, shape (m,) and (m,)
        Starts and ends in POSIX ms, ascending, none of length zero.

    Raises
    ------
    ValueError
        A stretch ends before it starts.

    Valid
    -----
    Instants between -2^53 and 2^53 ms.

    Source
    ------
    ``union_of_intervals``; bridging defined here.

    Examples
    --------
    >>> motor_on([Stretch(50, 90), Stretch(0, 60), Stretch(95, 200)], until_ms=120)
    (array([ 0, 95]), array([ 90, 120]))
    """
    borders = np.array(stretches, dtype=np.int64).reshape(-1, 2)
    merged = union_of_intervals(borders[:, 0], borders[:, 1])
    starts, ends = merged[0].astype(np.int64), merged[1].astype(np.int64)
    is_known = starts < until_ms
    starts, ends = starts[is_known], np.minimum(ends[is_known], until_ms)
    if starts.size == 0:
        return starts, ends
    is_parted = starts[1:] - ends[:-1] >= max(bridged_ms, 1)
    return starts[np.append(True, is_parted)], ends[np.append(is_parted, True)]


def held_since(sets: Switches, clears: Switches, *, is_set_before: bool) -> Switches:
    """Run a switch with hysteresis over a sequence, without a loop.

    ``state_i = 1 if sets_i, 0 if clears_i, else state_(i-1)``

    Parameters
    ----------
    sets, clears : ndarray of bool, shape (n,)
        Where the switch is thrown on, and off; where both are true, on wins.
    is_set_before : bool
        The state before the first element.

    Returns
    -------
    ndarray of bool, shape (n,)
        The state after each element.

    Valid
    -----
    Any n, none included.

    Source
    ------
    Definition of a two-level switch (Schmitt trigger), made here.

    Examples
    --------
    >>> import numpy as np
    >>> held_since(np.array([False, True, False]), np.array([False, False, True]),
    ...     is_set_before=False)
    array([False,  True, False])
    """
    indexes = np.where(sets | clears, np.arange(sets.size), -1)
    deciding = np.maximum.accumulate(indexes)
    return np.where(deciding >= 0, sets[deciding], is_set_before)
