"""Two devices on one grinder: which of their runs are one grind, and what each of them counts for.

Runs of different sources that overlap, or lie within ``TOLERANCE_MS`` of each other, are linked;
what hangs together by links is one grind. Runs of one source are never linked to each other.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from .records import GRAMS_BASES

TOLERANCE_MS = 2000
"""Clocks of two devices on one grinder may differ by as much (our choice, no source)."""
_NEVER_MS = -(2**63)
DISAGREE_MG, DISAGREE_PERCENT = 300, 3
"""Two weighed totals disagree when both are exceeded (our choice, no source)."""

COUNTS_GRAMS, COUNTS_SECONDS, COUNTS_AS_RUN, HAS_SECONDS, HAS_GRAMS, DISAGREES = 1, 2, 4, 8, 16, 32
HAS_WEIGHED_GRAMS = 64
_WORST_WEIGHED = GRAMS_BASES.index("weighed_in")


@dataclass(frozen=True, slots=True)
class Reported:
    """One run as one device reports it; ``source`` is empty for runs that name none."""

    key: bytes
    source: str
    started_ms: int
    on_ms: int | None
    grams_mg: int | None
    grams_basis: int

    def __post_init__(self) -> None:
        if (self.on_ms or 0) < 0 or (self.grams_mg or 0) < 0:
            raise ValueError(f"a run cannot have {self.on_ms} ms or {self.grams_mg} mg")
        if not 0 <= self.grams_basis < len(GRAMS_BASES):
            raise ValueError(f"{self.grams_basis} is no index of a grams basis")


def components(runs: Iterable[Reported]) -> list[list[Reported]]:
    """Part runs into grinds: what hangs together by overlaps of different sources.

    ``a - b  iff  source_a != source_b and later start - end of the earlier <= 2000 ms``

    Parameters
    ----------
    runs : iterable of Reported
        Runs of one grinder, in any order.

    Returns
    -------
    list of list of Reported
        The connected components, each by start and key, in order of their first run.

    Raises
    ------
    Nothing; what makes no run is refused by ``Reported``.

    Valid
    -----
    Any number of runs and sources, in O(n log n). A run without motor time is an instant.

    Source
    ------
    Derived here (sweep over sorted starts), see the brute-force test.

    Examples
    --------
    >>> plug = Reported(b"p", "plug", 0, 9_000, None, 0)
    >>> scale = Reported(b"s", "scale", 10_500, None, 18_000, 0)
    >>> later = Reported(b"t", "scale", 60_000, None, 18_200, 0)
    >>> [[run.key for run in grind] for grind in components([later, scale, plug])]
    [[b'p', b's'], [b't']]
    """
    hub: _Cluster | None = None
    waiting: list[_Cluster] = []  # clusters that only runs of the hub's last source still reach
    done: list[_Cluster] = []
    source = ""
    for run in sorted(runs, key=_in_order):
        joined = _Cluster(run)
        if hub is not None:
            if run.source != source:
                for cluster in waiting:
                    if cluster.reach_ms_without(run.source) >= run.started_ms:
                        joined = joined.joined_with(cluster)
                    else:
                        done.append(cluster)
                waiting = []
            if hub.reach_ms_without(run.source) >= run.started_ms:
                joined = joined.joined_with(hub)
            else:
                waiting.append(hub)
        hub, source = joined, run.source
    last = [] if hub is None else [hub]
    return sorted(
        (sorted(cluster.runs, key=_in_order) for cluster in [*done, *waiting, *last]),
        key=lambda grind: _in_order(grind[0]),
    )


def parts_of(runs: Iterable[Reported]) -> dict[bytes, int | None]:
    """Say of each run what it counts for in its grind, so that nothing is counted twice.

    ``part = G 1 + S 2 + C 4 + T 8 + M 16 + D 32 + W 64``: G, S, C it counts grams, seconds, as a
    run; T, M its grind has seconds, grams; D its source and another weighed different totals; W
    the grams that count were weighed.

    Parameters
    ----------
    runs : iterable of Reported
        Whole grinds of one grinder, without runs that are left out; in any order.

    Returns
    -------
    dict
        Key of each run -> its bits, None for a run that is alone (it counts for all it has).

    Raises
    ------
    ValueError
        Two runs have one key.

    Valid
    -----
    In a grind, grams come from the source with the best basis (a source's basis is its worst
    one), seconds from the source with most motor time, the count from the source of the grams, or
    else of the seconds; ties go to the source that sorts first. G and S stand only on runs that
    have the number. D: over 0.3 g and over 3 % of the larger of two weighed totals.

    Source
    ------
    Definition made here; the order of bases and both limits are our choice, no source.

    Examples
    --------
    >>> plug = Reported(b"p", "plug", 0, 9_000, 17_000, 3)
    >>> scale = Reported(b"s", "scale", 500, 8_000, 18_000, 0)
    >>> later = Reported(b"t", "scale", 60_000, 8_000, 18_200, 0)
    >>> parts_of([plug, scale, later])
    {b'p': 90, b's': 93, b't': None}
    """
    parts: dict[bytes, int | None] = {}
    count = 0
    for grind in components(runs):
        count += len(grind)
        parts.update([(grind[0].key, None)] if len(grind) == 1 else _bits_of(grind))
    if len(parts) != count:
        raise ValueError(f"{count} runs have only {len(parts)} different keys")
    return parts


class _Cluster:
    """Linked runs; how far its furthest-reaching source reaches, and the furthest of the others."""

    __slots__ = ("other_reach_ms", "reach_ms", "runs", "source")

    def __init__(self, run: Reported) -> None:
        self.runs = [run]
        self.source, self.reach_ms, self.other_reach_ms = run.source, _reach_ms(run), _NEVER_MS

    def reach_ms_without(self, source: str) -> int:
        return self.other_reach_ms if source == self.source else self.reach_ms

    def joined_with(self, other: _Cluster) -> _Cluster:
        large, small = (self, other) if len(self.runs) >= len(other.runs) else (other, self)
        large.runs += small.runs
        ahead, behind = (large, small) if large.reach_ms >= small.reach_ms else (small, large)
        others = max(ahead.other_reach_ms, behind.reach_ms_without(ahead.source))
        large.source, large.reach_ms, large.other_reach_ms = ahead.source, ahead.reach_ms, others
        return large


def _in_order(run: Reported) -> tuple[int, bytes]:
    return run.started_ms, run.key


def _reach_ms(run: Reported) -> int:
    return run.started_ms + (run.on_ms or 0) + TOLERANCE_MS


def _bits_of(grind: list[Reported]) -> list[tuple[bytes, int]]:
    milligrams: dict[str, int] = {}
    basis: dict[str, int] = {}
    milliseconds: dict[str, int] = {}
    for run in grind:
        if run.grams_mg is not None:
            milligrams[run.source] = milligrams.get(run.source, 0) + run.grams_mg
            basis[run.source] = max(basis.get(run.source, 0), run.grams_basis)
        if run.on_ms is not None:
            milliseconds[run.source] = milliseconds.get(run.source, 0) + run.on_ms
    of_grams = min(basis, key=lambda source: (basis[source], source), default=None)
    of_seconds = min(milliseconds, key=lambda source: (-milliseconds[source], source), default=None)
    leading = of_seconds if of_grams is None else of_grams
    if leading is None:  # no run has any number: the grind counts once all the same
        leading = min(run.source for run in grind)
    common = HAS_SECONDS * (of_seconds is not None) + HAS_GRAMS * (of_grams is not None)
    if of_grams is not None and basis[of_grams] <= _WORST_WEIGHED:
        common += HAS_WEIGHED_GRAMS
    disagree = _disagreeing(
        {source: milligrams[source] for source in basis if basis[source] <= _WORST_WEIGHED}
    )
    return [
        (
            run.key,
            common
            + COUNTS_GRAMS * (run.grams_mg is not None and run.source == of_grams)
            + COUNTS_SECONDS * (run.on_ms is not None and run.source == of_seconds)
            + COUNTS_AS_RUN * (run.source == leading)
            + DISAGREES * (run.grams_mg is not None and run.source in disagree),
        )
        for run in grind
    ]


def _disagreeing(milligrams: dict[str, int]) -> set[str]:
    """The sources of which some other one differs; the furthest others decide."""
    if len(milligrams) < 2:
        return set()
    least, most = min(milligrams.values()), max(milligrams.values())
    return {
        source
        for source, total in milligrams.items()
        if _differ(least, total) or _differ(total, most)
    }


def _differ(less_mg: int, more_mg: int) -> bool:
    apart = more_mg - less_mg
    return apart > DISAGREE_MG and apart * 100 > DISAGREE_PERCENT * more_mg
