"""What the folds of alert episodes are made with: motor-on time and switches as arrays."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .episode_facts import Stretch

Milliseconds = NDArray[np.int64]
Switches = NDArray[np.bool_]


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
    Derived here (sweep over sorted starts), see test; bridging defined here.

    Examples
    --------
    >>> motor_on([Stretch(50, 90), Stretch(0, 60), Stretch(95, 200)], until_ms=120)
    (array([ 0, 95]), array([ 90, 120]))
    """
    borders = np.array(stretches, dtype=np.int64).reshape(-1, 2)
    starts, ends = borders[:, 0], borders[:, 1]
    if (ends < starts).any():
        first = int(np.argmax(ends < starts))
        raise ValueError(f"stretch {first} ends at {ends[first]} before its start {starts[first]}")
    order = np.argsort(starts, kind="stable")
    order = order[ends[order] > starts[order]]
    starts, ends = starts[order], np.maximum.accumulate(ends[order])
    is_apart = starts[1:] > ends[:-1]
    if starts.size:
        starts, ends = starts[np.append(True, is_apart)], ends[np.append(is_apart, True)]
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
