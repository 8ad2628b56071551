"""What folds of dated conditions have in common: how long each holds, and for how long at least."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import NamedTuple

from .alert_settings import DEFAULT_RULES, DatedRules, rules_at
from .episode_facts import Episode

DAY_MS = 24 * 3_600_000
ENDLESS_MS = 2**53


class Told(NamedTuple):
    """A fact that shows a condition, says that it is over, or neither."""

    at_ms: int
    shows: bool
    releases: bool


def held_spans(told: Sequence[Told], *, held_ms: int = DAY_MS) -> list[tuple[int, int]]:
    """Find over which spans a condition holds that facts show and release.

    ``union over facts i that show of [t_i, min(t_i + held, first release after t_i))``

    Parameters
    ----------
    told : sequence of Told
        Ascending in time.
    held_ms : int
        How long a fact that shows it holds by itself, in ms.

    Returns
    -------
    list of tuple of int
        Disjoint, ascending, those that meet merged; POSIX ms.

    Raises
    ------
    Nothing.

    Valid
    -----
    Whether it holds at t is told by the facts of [t - held, t] alone: nothing is remembered.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> held_spans([Told(0, True, False), Told(4, True, False), Told(9, False, True)], held_ms=10)
    [(0, 9)]
    """
    spans: list[tuple[int, int]] = []
    for at_ms, shows, releases in told:
        if spans and releases and spans[-1][1] > at_ms:
            spans[-1] = (spans[-1][0], at_ms)
        if not shows:
            continue
        if spans and at_ms <= spans[-1][1]:
            spans[-1] = (spans[-1][0], at_ms + held_ms)
        else:
            spans.append((at_ms, at_ms + held_ms))
    return [span for span in spans if span[0] < span[1]]


def judged(
    episodes: Iterable[Episode], dated: Sequence[DatedRules], *, until_ms: int
) -> list[Episode]:
    """Keep of episodes what the rules of their time judge, where it held long enough.

    ``[opened, closed) & {t: is_on};  opened' = opened + minimum, where closed > opened'``

    Parameters
    ----------
    episodes : iterable of Episode
        In any order.
    dated : sequence of DatedRules
        Ascending; ``minimum_seconds`` of the kind is read as of each opening.
    until_ms : int
        The instant of the answer, POSIX ms.

    Returns
    -------
    list of Episode
        In the order given.

    Raises
    ------
    Nothing.

    Valid
    -----
    An episode that is open counts once it has held so long.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> from burrline_service.core.alert_settings import ALWAYS
    >>> one = Episode("long_run", "caution", 5, 9, {})
    >>> judged([one], ALWAYS, until_ms=20) == [one]
    True
    """
    if len(dated) == 1 and dated[0].rules is DEFAULT_RULES:
        return list(episodes)
    kept = []
    for episode in episodes:
        whole = (
            episode.opened_at_ms,
            ENDLESS_MS if episode.closed_at_ms is None else episode.closed_at_ms,
        )
        for low_ms, high_ms in while_on([whole], episode.kind, dated):
            rule = rules_at(dated, low_ms)[episode.kind]
            opened_ms = low_ms + round(1000 * rule.get("minimum_seconds", 0.0))
            if opened_ms < high_ms and opened_ms <= until_ms:
                closed_ms = None if high_ms > until_ms else high_ms
                kept.append(replace(episode, opened_at_ms=opened_ms, closed_at_ms=closed_ms))
    return kept


def while_on(
    spans: Iterable[tuple[int, int]], kind: str, dated: Sequence[DatedRules]
) -> list[tuple[int, int]]:
    """Cut spans down to the time in which their kind is judged.

    ``[low, high) & {t: rules(t)[kind].is_on}``

    Parameters
    ----------
    spans : iterable of tuple of int
        POSIX ms, ascending and disjoint.
    kind : str
        Of alerts.
    dated : sequence of DatedRules
        Ascending.

    Returns
    -------
    list of tuple of int
        Ascending and disjoint.

    Raises
    ------
    Nothing.

    Valid
    -----
    The first rules hold before their own instant too.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> from burrline_service.core.alert_settings import rules_in_force
    >>> off = rules_in_force([[(5, {"silent": {"is_on": False}})], [], []])
    >>> while_on([(0, 9)], "silent", off)
    [(0, 5)]
    """
    borders = [(rules.from_ms, bool(rules.rules[kind]["is_on"])) for rules in dated]
    kept: list[tuple[int, int]] = []
    for low, high in spans:
        for number, (from_ms, is_on) in enumerate(borders):
            first = low if number == 0 else max(low, from_ms)
            last = high if number + 1 == len(borders) else min(high, borders[number + 1][0])
            if is_on and first < last:
                if kept and kept[-1][1] == first:
                    kept[-1] = (kept[-1][0], last)
                else:
                    kept.append((first, last))
    return kept


def episodes_from(
    spans: Iterable[tuple[int, int]], make: Callable[[int, int | None], Episode], *, until_ms: int
) -> list[Episode]:
    """Make episodes of spans as they are known at an instant.

    ``opened = low <= until;  closed = high where high <= until``

    Parameters
    ----------
    spans : iterable of tuple of int
        POSIX ms.
    make : callable
        From opening and closing (None while it lasts) to the episode.
    until_ms : int
        The instant, POSIX ms.

    Returns
    -------
    list of Episode
        In the order of the spans.

    Raises
    ------
    Nothing.

    Valid
    -----
    Spans that begin later do not exist yet.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> made = episodes_from([(3, 9)], lambda low, high: Episode("silent", "notice", low, high,
    ...     {}), until_ms=5)
    >>> made[0].closed_at_ms is None
    True
    """
    return [make(low, high if high <= until_ms else None) for low, high in spans if low <= until_ms]
