"""Where a change of some runs can reach: the grinds to look at again, and no others.

A store keeps the part of each run; these functions tell which parts a change can have moved.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from .grinds import TOLERANCE_MS, Reported, components
from .records import LONGEST_RUN_SECONDS

LONGEST_RUN_MS = LONGEST_RUN_SECONDS * 1000


def reaches_ms(runs: Iterable[Reported], longest_ms: int = LONGEST_RUN_MS) -> list[tuple[int, int]]:
    """Find the windows of starts in which further runs of the same grinds can lie.

    ``[start - tolerance - longest, start + on + tolerance]`` of each run, merged where they meet

    Parameters
    ----------
    runs : iterable of Reported
        Runs of one grinder, in any order.
    longest_ms : int
        Motor time of the longest run the grinder can have, in ms.

    Returns
    -------
    list of tuple of int
        First and last start in ms, both inclusive, separate and in order.

    Raises
    ------
    ValueError
        ``longest_ms`` is negative.

    Valid
    -----
    A run that starts outside is linked to none of these; shorter ``longest_ms`` must be known.

    Source
    ------
    Derived here from the rule of ``components``, see test.

    Examples
    --------
    >>> reaches_ms([Reported(b"s", "scale", 100_000, 8_000, 18_000, 0)], longest_ms=60_000)
    [(38000, 110000)]
    """
    if longest_ms < 0:
        raise ValueError(f"the longest run cannot last {longest_ms} ms")
    before = TOLERANCE_MS + longest_ms
    merged: list[tuple[int, int]] = []
    for low, high in sorted((run.started_ms - before, _last_linked_ms(run)) for run in runs):
        if merged and low <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(high, merged[-1][1]))
        else:
            merged.append((low, high))
    return merged


def affected(
    touched: Sequence[Reported],
    fetch: Callable[[list[tuple[int, int]]], Sequence[Reported]],
    longest_ms: int = LONGEST_RUN_MS,
) -> list[Reported]:
    """Collect all runs whose part can have changed when some came, went or were corrected.

    ``union of components of (fetched + touched) that hold a touched one``, windows widened until
    none of these grinds can go on outside them

    Parameters
    ----------
    touched : sequence of Reported
        Each changed run as it was before and as it is now (one of them where it came or went).
    fetch : callable
        Gives the present runs, without those left out, that start in the given windows (first and
        last start in ms, both inclusive).
    longest_ms : int
        As in ``reaches_ms``.

    Returns
    -------
    list of Reported
        Present runs, grind by grind: whole grinds, to be given to ``parts_of``; no other run of
        the grinder has another part than before.

    Raises
    ------
    ValueError
        ``longest_ms`` is negative.

    Valid
    -----
    Where ``fetch`` answers from one state of the store; it is called at least once if touched.

    Source
    ------
    Derived here, see the test against the parts of the whole history.

    Examples
    --------
    >>> plug = Reported(b"p", "plug", 0, 9_000, None, 0)
    >>> scale = Reported(b"s", "scale", 500, 8_000, 18_000, 0)
    >>> [run.key for run in affected([scale], lambda windows: [plug, scale])]
    [b'p', b's']
    """
    windows = reaches_ms(touched, longest_ms)
    while windows:
        present = set(fetch(windows))
        changed = set(touched)
        near = [
            run
            for grind in components(present | changed)
            if not changed.isdisjoint(grind)
            for run in grind
        ]
        wider = reaches_ms(near, longest_ms)
        if wider == windows:
            return [run for run in near if run in present]
        windows = wider
    return []


def _last_linked_ms(run: Reported) -> int:
    return run.started_ms + (run.on_ms or 0) + TOLERANCE_MS
