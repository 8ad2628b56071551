"""Whether an alert can be open at an instant at all: a look at the last minutes, before folding."""

from __future__ import annotations

from collections.abc import Sequence

from .episode_facts import (
    BRIDGED_MS,
    STALE_MS,
    DatedLimits,
    Reading,
    Stretch,
    judged_rating_ms,
)


def look_back_ms(limits: Sequence[DatedLimits]) -> int:
    """Tell how much motor time before an instant decides whether an alert may be open at it.

    ``M = max(longest cycle, longest run + 2 s)``

    Parameters
    ----------
    limits : sequence of DatedLimits
        All that are ever in force.

    Returns
    -------
    int
        In ms.

    Raises
    ------
    ValueError
        A malformed rating.

    Valid
    -----
    For ``may_be_open``, which asks of every limit, whenever it was in force.

    Source
    ------
    Derived here from the memory of each kind of episode.

    Examples
    --------
    >>> look_back_ms([DatedLimits(0, longest_run_seconds=600.0)])
    602000
    """
    ratings = [judged_rating_ms(each.rated) for each in limits]
    longest = [each.longest_run_seconds for each in limits if each.longest_run_seconds is not None]
    return max(
        [BRIDGED_MS]
        + [rating[1] for rating in ratings if rating is not None]
        + [round(seconds * 1000) + BRIDGED_MS for seconds in longest]
    )


def may_be_open(
    latest: Reading | None,
    stretches: Sequence[Stretch],
    limits: Sequence[DatedLimits],
    *,
    at_ms: int,
) -> bool:
    """Tell whether an episode can be open at an instant, from what lies shortly before it.

    ``T > limit - d not over 900 s ago;  or on(t) > r limit;  or on for the longest run``

    Parameters
    ----------
    latest : Reading or None
        The latest motor temperature at or before the instant, of several the hottest.
    stretches : sequence of Stretch
        All motor-on time that lasts into the ``look_back_ms`` before the instant, in any order.
    limits : sequence of DatedLimits
        All that are in force at the instant or before.
    at_ms : int
        The instant t, POSIX ms.

    Returns
    -------
    bool
        False = none is open, whatever happened before; True = the fold must tell.

    Raises
    ------
    ValueError
        A malformed rating.

    Valid
    -----
    Each kind of episode closes as soon as its condition of release is met, so one of these must
    still fail where one is open. On-time is added up without merging and held to every limit
    there is: both can only say True more often.

    Source
    ------
    Derived here from the definitions of the episodes; the test holds it to the fold.

    Examples
    --------
    >>> plate = [DatedLimits(0, limit_celsius=80.0, longest_run_seconds=600.0)]
    >>> may_be_open(Reading(0, 74.0), [Stretch(0, 8_000)], plate, at_ms=9_000)
    False
    >>> may_be_open(Reading(0, 76.0), [Stretch(0, 8_000)], plate, at_ms=9_000)
    True
    """
    known = [
        (started_ms, min(ended_ms, at_ms))
        for started_ms, ended_ms in stretches
        if started_ms < at_ms
    ]
    run_ms = _run_ms(known, at_ms)
    for each in limits:
        if (
            each.limit_celsius is not None
            and latest is not None
            and at_ms - latest.at_ms <= STALE_MS
            and latest.celsius > each.limit_celsius - each.release_kelvin - 0.001
        ):
            return True
        if each.longest_run_seconds is not None and run_ms >= each.longest_run_seconds * 1000 - 1:
            return True
        rating = judged_rating_ms(each.rated)
        if rating is not None:
            limit_ms, cycle_ms = rating
            low_ms = at_ms - cycle_ms
            on_ms = sum(end - max(start, low_ms) for start, end in known if end > low_ms)
            if on_ms > 0 and on_ms > each.release_fraction * limit_ms - 1:
                return True
    return False


def _run_ms(known: Sequence[tuple[int, int]], at_ms: int) -> int:
    """How long ago the run began that goes on at the instant, or could still be joined."""
    began_ms = reached_ms = None
    for started_ms, ended_ms in sorted(known):
        if reached_ms is None or started_ms - reached_ms >= BRIDGED_MS:
            began_ms, reached_ms = started_ms, ended_ms
        else:
            reached_ms = max(reached_ms, ended_ms)
    if began_ms is None or reached_ms is None or at_ms - reached_ms > BRIDGED_MS:
        return 0
    return at_ms - began_ms
