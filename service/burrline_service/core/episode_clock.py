"""Episodes in which the clock of a live source was wrong by a whole number of half hours."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import NamedTuple

from .alert_settings import DatedRules, rules_at
from .episode_facts import Episode
from .episode_span import DAY_MS, Told, episodes_from, held_spans, while_on

HALF_HOUR_MS = 1_800_000
EARLY_MS, LATE_MS = 30_000, 90_000
"""A live run comes within so much of its end, by a clock that is off by half hours: time zones
and summer time are (our choice, no source)."""

MOST_HALF_HOURS = 28
"""No two places on earth have clocks further apart than from UTC to UTC+14."""


class Receipt(NamedTuple):
    """A run as it came: when it ended by its own clock, and when it was received."""

    source_no: int
    ended_ms: int
    received_ms: int


def clock_episodes(
    receipts: Sequence[Receipt], dated: Sequence[DatedRules], *, until_ms: int
) -> list[Episode]:
    """Fold receipts into the episodes in which a source's clock was behind by half hours.

    ``k_i = round((received_i - ended_i) / 1800 s);  shows: n in a row, each by itself, with one k
    >= 1 and a rest of -30 to 90 s;  releases: k < 1 or another rest``

    Parameters
    ----------
    receipts : sequence of Receipt
        Of runs whose start the device told, in any order.
    dated : sequence of DatedRules
        ``clock_suspect`` is read of each, as of each receipt.
    until_ms : int
        The instant of the answer, POSIX ms; later receipts do not exist yet.

    Returns
    -------
    list of Episode
        Ascending, severity ``caution``. Facts: ``behind_seconds``, of the latest shown.

    Raises
    ------
    Nothing.

    Valid
    -----
    The n are those of 24 h. By the instants of receipt, as the source's own are the ones in doubt.
    Runs that came together are one receipt: the oldest of them counts against it, since a backlog
    is no clock. A clock that is ahead is told of with each run, by its finding, and its runs are
    timed by their receipt.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> clock_episodes([], [DatedRules(0, {"clock_suspect": {"is_on": True}})], until_ms=5)
    []
    """
    by_source: dict[int, dict[int, int]] = defaultdict(dict)
    for source_no, ended_ms, received_ms in receipts:
        if received_ms <= until_ms:
            at = by_source[source_no]
            at[received_ms] = min(ended_ms, at.get(received_ms, ended_ms))
    shown: list[tuple[int, int]] = []
    spans: list[tuple[int, int]] = []
    for ends in by_source.values():
        told: list[Told] = []
        steps: list[tuple[int, int]] = []
        for received_ms in sorted(ends):
            rule = rules_at(dated, received_ms)["clock_suspect"]
            step = _half_hours(received_ms - ends[received_ms])
            count: int = rule.get("run_count", 1)
            steps.append((received_ms, step))
            last = [one for at, one in steps[-count:] if received_ms - at < DAY_MS]
            is_steady = step >= 1 and last == [step] * count
            told.append(Told(received_ms, is_steady and rule["is_on"], step < 1))
            if is_steady:
                shown.append((received_ms, step))
        spans += held_spans(told)
    shown.sort()

    def _made(opened_ms: int, closed_ms: int | None) -> Episode:
        end_ms = until_ms if closed_ms is None else closed_ms
        steps = [step for at_ms, step in shown if opened_ms <= at_ms <= end_ms]
        behind = {"behind_seconds": steps[-1] * HALF_HOUR_MS / 1000 if steps else None}
        return Episode("clock_suspect", "caution", opened_ms, closed_ms, behind)

    kept = while_on(_union(spans), "clock_suspect", dated)
    return episodes_from(kept, _made, until_ms=until_ms)


def may_be_behind(receipts: Sequence[Receipt], *, since_ms: int, until_ms: int) -> bool:
    """Tell from the latest receipts alone whether any from an instant on may show a wrong clock.

    ``no, where k_i < 1 for all received at or after since``

    Parameters
    ----------
    receipts : sequence of Receipt
        All of runs from some instant on, in any order.
    since_ms : int
        What was received before this instant, POSIX ms, was judged already.
    until_ms : int
        The instant of the answer, POSIX ms.

    Returns
    -------
    bool
        False = none shows it; True = that is not certain.

    Raises
    ------
    Nothing.

    Valid
    -----
    As ``clock_episodes``.

    Source
    ------
    Derived here: that function's rule.

    Examples
    --------
    >>> may_be_behind([Receipt(1, 0, 1_800_000)], since_ms=0, until_ms=1_800_000)
    True
    """
    return any(
        since_ms <= one.received_ms <= until_ms and _half_hours(one.received_ms - one.ended_ms) >= 1
        for one in receipts
    )


def _half_hours(lag_ms: int) -> int:
    """By how many half hours a clock is behind that told of a live run so; 0 = it is not."""
    step, rest_ms = divmod(lag_ms + EARLY_MS, HALF_HOUR_MS)
    is_one = 1 <= step <= MOST_HALF_HOURS and rest_ms <= EARLY_MS + LATE_MS
    return step if is_one else 0


def _union(spans: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    merged: list[tuple[int, int]] = []
    for low, high in sorted(spans):
        if merged and low <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(high, merged[-1][1]))
        else:
            merged.append((low, high))
    return merged
