"""What was noticed of alerts, and what changes in it when their episodes are folded anew.

Episodes follow from the facts; the ledger only remembers which of them somebody was told of.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from .episode_facts import Episode, Severity

Reason = Literal["withdrawn", "joined"]
LATE_MS = 3_600_000
"""Facts that came later after their own end call nobody."""
OVERDUE_MS = 24 * LATE_MS
"""What no fact shows by itself, but time: noticed later than this it calls nobody."""


@dataclass(frozen=True)
class Entry:
    """An alert of the ledger; ``reason`` says why it closed where not by its own rule."""

    alert_id: str
    kind: str
    severity: Severity
    opened_ms: int
    closed_ms: int | None = None
    reason: str | None = None
    facts: Mapping[str, float | None] = field(default_factory=dict, hash=False)
    is_late: bool = False


@dataclass(frozen=True)
class Change:
    """Something the ledger has to take up; ``entry`` is None for an episode that is new to it.

    ``tells`` names the events to be made: one that is ``again`` open, or only a ``part`` of what
    was told before, is recorded and calls nobody.
    """

    entry: Entry | None
    episode: Episode | None
    closed_ms: int | None
    reason: Reason | None
    tells: tuple[Literal["opened", "closed", "again"], ...]
    is_part: bool = False


def amended(
    ledger: Sequence[Entry],
    episodes: Sequence[Episode],
    *,
    from_ms: int,
    now_ms: int,
    looked_ms: int | None = None,
) -> list[Change]:
    """Compare a ledger with the episodes that hold as far as is known now.

    ``entry ~ episode: same kind, and their spans overlap; each at most once, open with open first``

    Parameters
    ----------
    ledger : sequence of Entry
        All of one grinder that were open at or after ``from_ms``, in any order.
    episodes : sequence of Episode
        All of it that were open at or after ``from_ms``, folded from the facts known now.
    from_ms : int
        Where the fold began, POSIX ms: what was over before is left as it is.
    now_ms : int
        The instant of the fold, POSIX ms.
    looked_ms : int or None
        Up to when what is open in the ledger is known to last, POSIX ms; None = up to now.

    Returns
    -------
    list of Change
        In the order of time; empty where the ledger says what the facts say.

    Raises
    ------
    Nothing.

    Valid
    -----
    An episode that overlaps an entry keeps its id and is not told as opened again; one that opened
    after the last look is new. Of an episode that fell apart one part keeps the id, the open one if
    there is one; the others are parts. Of entries that grew together the open one stays, else the
    first; others close as ``joined``. An entry whose episode is gone closes as ``withdrawn``.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> held = Episode("long_run", "caution", 5, None, {"run_seconds": 700.0})
    >>> [change.tells for change in amended([], [held], from_ms=0, now_ms=9)]
    [('opened',)]
    >>> entry = Entry("a", "long_run", "caution", 5, None, None, {"run_seconds": 700.0})
    >>> amended([entry], [held], from_ms=0, now_ms=9)
    []
    """
    told: dict[str, list[Entry]] = defaultdict(list)
    for entry in ledger:
        if entry.closed_ms is None or entry.closed_ms >= from_ms:
            told[entry.kind].append(entry)
    holding: dict[str, list[Episode]] = defaultdict(list)
    for episode in episodes:
        holding[episode.kind].append(episode)
    changes: list[Change] = []
    known_ms = now_ms if looked_ms is None else looked_ms
    for kind in sorted({*told, *holding}):
        changes += _of_kind(told[kind], holding[kind], now_ms, known_ms)
    changes.sort(key=_when)
    return changes


def paired(ledger: Sequence[Entry], episodes: Sequence[Episode]) -> dict[int, Entry]:
    """Find the entry of a ledger that each episode goes on, where there is one.

    ``entry ~ episode: same kind, overlapping spans; each at most once, open with open first``

    Parameters
    ----------
    ledger : sequence of Entry
        Of one grinder, in any order.
    episodes : sequence of Episode
        Of the same grinder, in any order.

    Returns
    -------
    dict
        From the place of an episode in the sequence to its entry.

    Raises
    ------
    Nothing.

    Valid
    -----
    As ``amended`` pairs them.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> held = Episode("long_run", "caution", 5, None, {})
    >>> paired([Entry("a", "long_run", "caution", 6)], [held])[0].alert_id
    'a'
    """
    entries = sorted(ledger, key=lambda entry: (entry.opened_ms, entry.alert_id))
    order = sorted(range(len(episodes)), key=lambda place: episodes[place].opened_at_ms)
    found: dict[int, Entry] = {}
    for kind in sorted({episode.kind for episode in episodes}):
        own = [entry for entry in entries if entry.kind == kind]
        places = [place for place in order if episodes[place].kind == kind]
        for number, entry_place in _paired(own, [episodes[place] for place in places]).items():
            found[places[number]] = own[entry_place]
    return found


def _paired(
    entries: Sequence[Entry], found: Sequence[Episode], looked_ms: int | None = None
) -> dict[int, int]:
    """From places of episodes to places of entries of the same kind, both in the order of time."""
    pairs: dict[int, int] = {}
    # what goes on first, then what stands, then what was taken back and may have come again
    for turn in range(3):
        for place, entry in enumerate(entries):
            for number, episode in enumerate(found):
                is_open = entry.closed_ms is None and episode.closed_at_ms is None
                if (
                    number not in pairs
                    and place not in pairs.values()
                    and (is_open, entry.reason is None, True)[turn]
                    and _overlap(entry, episode, looked_ms)
                ):
                    pairs[number] = place
    return pairs


def _of_kind(
    ledger: list[Entry], episodes: list[Episode], now_ms: int, looked_ms: int
) -> list[Change]:
    entries = sorted(ledger, key=lambda entry: (entry.opened_ms, entry.alert_id))
    found = sorted(episodes, key=lambda episode: episode.opened_at_ms)
    places = _paired(entries, found, looked_ms)
    pairs = {place: found[number] for number, place in places.items()}
    changes = []
    for place, entry in enumerate(entries):
        pair = pairs.get(place)
        if pair is not None:
            changes += _kept(entry, pair)
        elif entry.reason is None:
            is_joined = any(_overlap(entry, one, looked_ms) for one in found)
            reason: Reason = "joined" if is_joined else "withdrawn"
            is_open = entry.closed_ms is None
            closed_ms = now_ms if is_open else entry.closed_ms
            tells: tuple[Literal["closed"], ...] = ("closed",) if is_open else ()
            changes.append(Change(entry, None, closed_ms, reason, tells))
    for number, episode in enumerate(found):
        if number not in places:
            is_part = any(
                _overlap(entry, episode, looked_ms) for entry in entries if entry.reason is None
            )
            is_over = episode.closed_at_ms is not None
            changes.append(
                Change(
                    None,
                    episode,
                    episode.closed_at_ms,
                    None,
                    ("opened", "closed") if is_over else ("opened",),
                    is_part,
                )
            )
    return changes


def _kept(entry: Entry, episode: Episode) -> list[Change]:
    is_same = (
        entry.opened_ms == episode.opened_at_ms
        and entry.closed_ms == episode.closed_at_ms
        and entry.reason is None
        and entry.severity == episode.severity
        and dict(entry.facts) == dict(episode.facts)
    )
    if is_same:
        return []
    tells: tuple[Literal["closed", "again"], ...] = ()
    if entry.closed_ms is None and episode.closed_at_ms is not None:
        tells = ("closed",)
    elif entry.closed_ms is not None and episode.closed_at_ms is None:
        tells = ("again",)
    return [Change(entry, episode, episode.closed_at_ms, None, tells)]


def _overlap(entry: Entry, episode: Episode, looked_ms: int | None) -> bool:
    end_ms = entry.closed_ms
    if end_ms is None and looked_ms is not None:  # told of one instant at the least
        end_ms = max(looked_ms, entry.opened_ms + 1)
    return (end_ms is None or end_ms > episode.opened_at_ms) and (
        episode.closed_at_ms is None or episode.closed_at_ms > entry.opened_ms
    )


def _when(change: Change) -> tuple[int, str, str]:
    opened_ms = change.episode.opened_at_ms if change.episode else change.closed_ms or 0
    kind = change.episode.kind if change.episode else change.entry.kind if change.entry else ""
    return opened_ms, kind, change.entry.alert_id if change.entry else ""


def is_late(episode: Episode, lags_ms: Sequence[int], *, now_ms: int) -> bool:
    """Tell whether an episode that is new to the ledger came too late to call anybody.

    ``facts: all received more than 60 min after their own end;  none: closed more than 60 min or
    opened more than 24 h ago``

    Parameters
    ----------
    episode : Episode
        New to the ledger.
    lags_ms : sequence of int
        Of the facts within it, how long after its own end each was received, in ms.
    now_ms : int
        The instant of the notice, POSIX ms.

    Returns
    -------
    bool
        True = it is recorded, and nobody is called.

    Raises
    ------
    Nothing.

    Valid
    -----
    One fact that came in time is enough to call. When it is noticed does not matter where facts
    tell: a worker that was down calls late rather than never.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> is_late(Episode("long_run", "caution", 0, 9, {}), [7_200_000], now_ms=7_200_100)
    True
    """
    if lags_ms:
        return min(lags_ms) > LATE_MS
    if episode.closed_at_ms is not None and now_ms - episode.closed_at_ms > LATE_MS:
        return True
    return now_ms - episode.opened_at_ms > OVERDUE_MS
