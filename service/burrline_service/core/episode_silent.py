"""Episodes in which a grinder that should have ground did not, through so many opening hours."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

from .alert_settings import DatedRules, rules_at
from .coverage import Intervals, open_spans
from .episode_facts import Episode
from .episode_span import DAY_MS, episodes_from, while_on
from .records import Site

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
CHUNK_MS = 28 * DAY_MS


class DatedSite(NamedTuple):
    """A site as it is from an instant on, POSIX ms."""

    from_ms: int
    site: Site


def silent_episodes(
    ran: Sequence[tuple[int, int]],
    sites: Sequence[DatedSite],
    dated: Sequence[DatedRules],
    *,
    unavailable: Sequence[tuple[int, int]] = (),
    until_ms: int,
) -> list[Episode]:
    """Fold motor-on time into the episodes of silence through opening hours.

    ``opens: first t with opening time in [end of the last run, t) >= open_seconds;  closes: the
    next run, or time in which the grinder is not there``

    Parameters
    ----------
    ran : sequence of tuple of int
        Spans of motor-on, in any order, POSIX ms; before the first nothing is missed.
    sites : sequence of DatedSite
        Ascending; the first holds before its own instant too.
    dated : sequence of DatedRules
        ``silent`` is read of each.
    unavailable : sequence of tuple of int
        When it was out of service or retired: no opening time for it.
    until_ms : int
        The instant of the answer, POSIX ms.

    Returns
    -------
    list of Episode
        Ascending, severity ``notice``. Facts: ``open_seconds`` it was silent when it opened.

    Raises
    ------
    ValueError
        A site's hours are malformed.

    Valid
    -----
    While a site tells no opening hours it is not judged: silence there may be the night. Where the
    rules change within a silence, each holds for its own time.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> silent_episodes([(0, 10)], [], [DatedRules(0, {"silent": {"is_on": True}})], until_ms=50)
    []
    """
    known = sorted((low, min(high, until_ms)) for low, high in ran if low <= until_ms)
    if not known or not sites:
        return []
    gaps: list[tuple[int, int]] = []
    reached = known[0][1]
    for (_, _), (low, high) in pairwise(known):
        if low > reached:
            gaps.append((reached, low))
        reached = max(reached, high)
    gaps.append((reached, 2**53))
    episodes: list[Episode] = []
    for low, high in gaps:
        least_ms = min(_least_ms(rules.rules) for rules in dated)
        if min(high, until_ms) - low < least_ms:
            continue
        spans: list[tuple[int, int]] = []
        for number, rules in enumerate(dated):
            first = low if number == 0 else max(low, rules.from_ms)
            last = high if number + 1 == len(dated) else min(high, dated[number + 1].from_ms)
            if first >= last or not rules.rules["silent"]["is_on"]:
                continue
            at_ms = _reached(
                low, min(last, until_ms + 1), _least_ms(rules.rules), sites, unavailable
            )
            if at_ms is not None and max(at_ms, first) < last:
                spans.append((max(at_ms, first), last))
        merged: list[tuple[int, int]] = []
        for span in spans:
            if merged and merged[-1][1] == span[0]:
                merged[-1] = (merged[-1][0], span[1])
            else:
                merged.append(span)
        # where it is taken away the silence ends; what is left of it later is a new one
        for gone_low, gone_high in sorted([*unavailable, *_without_hours(sites)]):
            merged = [
                piece
                for begin, end in merged
                for piece in ((begin, min(end, gone_low)), (max(begin, gone_high), end))
                if piece[0] < piece[1]
            ]

        def _made(opened_ms: int, closed_ms: int | None) -> Episode:
            seconds = rules_at(dated, opened_ms)["silent"]["open_seconds"]
            return Episode("silent", "notice", opened_ms, closed_ms, {"open_seconds": seconds})

        episodes += episodes_from(while_on(merged, "silent", dated), _made, until_ms=until_ms)
    return episodes


def silent_from_ms(
    last_ms: int,
    sites: Sequence[DatedSite],
    dated: Sequence[DatedRules],
    *,
    unavailable: Sequence[tuple[int, int]] = (),
    within_ms: int,
) -> int | None:
    """Tell when a silence that began with the end of a run will open, if nothing is heard.

    ``first t with opening time in [last, t) >= open_seconds``

    Parameters
    ----------
    last_ms : int
        When the last run ended, POSIX ms.
    sites : sequence of DatedSite
        As for ``silent_episodes``.
    dated : sequence of DatedRules
        The last of them counts.
    unavailable : sequence of tuple of int
        As for ``silent_episodes``.
    within_ms : int
        How far to look, POSIX ms.

    Returns
    -------
    int or None
        POSIX ms; None = not by then.

    Raises
    ------
    ValueError
        A site's hours are malformed.

    Valid
    -----
    For the time to come, by what is set now.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> silent_from_ms(0, [], [DatedRules(0, {"silent": {"is_on": False}})], within_ms=5) is None
    True
    """
    rules = dated[-1].rules
    if not sites or not rules["silent"]["is_on"]:
        return None
    return _reached(last_ms, within_ms, _least_ms(rules), sites, unavailable)


def _without_hours(sites: Sequence[DatedSite]) -> list[tuple[int, int]]:
    ends = [*(site.from_ms for site in sites[1:]), 2**53]
    return [
        (0 if number == 0 else dated.from_ms, ends[number])
        for number, dated in enumerate(sites)
        if not dated.site.opening_hours
    ]


def _least_ms(rules: Mapping[str, Mapping[str, float]]) -> int:
    return max(1, round(1000 * rules["silent"].get("open_seconds", 0.001)))


def _reached(
    low_ms: int,
    high_ms: int,
    least_ms: int,
    sites: Sequence[DatedSite],
    unavailable: Sequence[tuple[int, int]],
) -> int | None:
    """The first instant in [low, high) with so much opening time since low."""
    left_ms = least_ms
    for number, (from_ms, site) in enumerate(sites):
        first = low_ms if number == 0 else max(low_ms, from_ms)
        last = high_ms if number + 1 == len(sites) else min(high_ms, sites[number + 1].from_ms)
        while first < last and site.opening_hours:
            upto = min(last, first - first % CHUNK_MS + CHUNK_MS)
            for begin, end in _open(first, upto, site, unavailable):
                if end - begin >= left_ms:
                    return begin + left_ms
                left_ms -= end - begin
            first = upto
    return None


def _open(
    low_ms: int, high_ms: int, site: Site, unavailable: Sequence[tuple[int, int]]
) -> Intervals:
    hours = tuple(
        (day, tuple(map(tuple, spans))) for day, spans in (site.opening_hours or {}).items()
    )
    chunk_ms = low_ms - low_ms % CHUNK_MS
    found = [
        (max(begin, low_ms), min(end, high_ms))
        for begin, end in _open_chunk(chunk_ms, site.time_zone, hours, tuple(site.closed_days))
    ]
    for gone_low, gone_high in unavailable:
        found = [
            piece
            for begin, end in found
            for piece in ((begin, min(end, gone_low)), (max(begin, gone_high), end))
        ]
    return [piece for piece in found if piece[0] < piece[1]]


@lru_cache(maxsize=4096)
def _open_chunk(
    chunk_ms: int,
    time_zone: str,
    hours: tuple[tuple[str, tuple[tuple[str, ...], ...]], ...],
    closed_days: tuple[str, ...],
) -> Intervals:
    low_at = _EPOCH + timedelta(milliseconds=chunk_ms)
    high_at = low_at + timedelta(milliseconds=CHUNK_MS)
    return open_spans(low_at, high_at, time_zone, dict(hours), closed_days)
