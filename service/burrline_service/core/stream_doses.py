"""Which doses have one level: the sizes a grinder grinds, told apart by what lies between them.

A short grind looks slower, as the motor's run-up is a larger part of it, so each usual size has a
level of its own. Where one size ends is told by the doses themselves. No fixed edge would do: where
a timer doses, the dose grows with the flow, and an edge that it crosses would hide the very change
that is looked for.
"""

from __future__ import annotations

from collections.abc import Sequence

from .stream_sessions import SessionCell

VALLEY_FRACTION = 0.1
"""Between two sizes hardly any dose lies: so much of the lower peak at most (our choice)."""
SMALLEST_SHARE_FRACTION = 0.05
"""A size has at least so much of all grinds (our choice); rarer ones go with their neighbours."""


def merge_doses(cells: Sequence[SessionCell]) -> tuple[SessionCell, ...]:
    """Give cells of one usual size one dose class, and add those that are alike then.

    ``a size ends at the class with fewest grinds, if these are 10 % or less of the lower peak
    beside it and each side has 5 % or more of all grinds``

    Parameters
    ----------
    cells : sequence of SessionCell
        All the evidence, in its order.

    Returns
    -------
    tuple of SessionCell
        In their order; ``dose_class`` is now the lowest class of the size.

    Raises
    ------
    Nothing.

    Valid
    -----
    Exact: sums of whole numbers, by the counts of all cells.

    Source
    ------
    Definition made here; see the simulation of doses by time.

    Examples
    --------
    >>> small = SessionCell(1, 0, 4800, 0, 3, None, None, None, 20, 10, 52, 2_000_000)
    >>> merged = merge_doses([small, small._replace(dose_class=4), small._replace(dose_class=7)])
    >>> [(cell.dose_class, cell.grinds_count) for cell in merged]
    [(3, 40), (7, 20)]
    """
    if not cells:
        return ()
    counts = [0] * (max(cell.dose_class for cell in cells) + 1)
    for cell in cells:
        counts[cell.dose_class] += cell.grinds_count
    starts = _starts(counts, 0, SMALLEST_SHARE_FRACTION * sum(counts))
    sizes = [0] * len(counts)
    for start in starts:
        sizes[start:] = [start] * (len(counts) - start)
    sums: dict[SessionCell, list[int]] = {}
    for cell in cells:
        key = cell._replace(
            dose_class=sizes[cell.dose_class],
            grinds_count=0,
            sum_micro=0,
            sum_squares_micro=0,
            sum_twice_place_mg=0,
        )
        found = sums.setdefault(key, [0, 0, 0, 0])
        for place, value in enumerate(cell[-4:]):
            found[place] += value
    return tuple(SessionCell(*key[:-4], *found) for key, found in sums.items())


def _starts(counts: Sequence[int], offset: int, least: float) -> list[int]:
    """The lowest classes of the sizes, by parting at the deepest valley as long as there is one."""
    best, ratio = 0, VALLEY_FRACTION
    for place in range(1, len(counts)):
        below, above = counts[:place], counts[place:]
        if min(sum(below), sum(above)) < least:
            continue
        # the class of the fewest may stand on either side of the border
        valley = min(counts[place - 1], counts[place])
        found = valley / min(max(below), max(above))
        if found < ratio or (found == ratio and not best):
            best, ratio = place, found
    if not best:
        return [offset + next((at for at, count in enumerate(counts) if count), 0)]
    return [
        *_starts(counts[:best], offset, least),
        *_starts(counts[best:], offset + best, least),
    ]
