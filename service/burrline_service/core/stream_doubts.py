"""What keeps ordinary runs from telling of the flow, and what to bear in mind when they do."""

from __future__ import annotations

from collections.abc import Sequence

from .stream_moments import steps_of
from .stream_sessions import SessionCell, Sessions


def unrecorded_reason(sessions: Sessions, grinds_count: int) -> str:
    """Say what nobody recorded of most grinds, if that is why there is so little evidence.

    ``the larger of feed and setting unrecorded, if larger than the grinds that count``

    Parameters
    ----------
    sessions : Sessions
        The evidence, with what was left out.
    grinds_count : int
        The grinds that count.

    Returns
    -------
    str
        ``feed_unrecorded``, ``setting_unrecorded`` or nothing.

    Raises
    ------
    Nothing.

    Valid
    -----
    A grind without feed is left out for that before its setting is asked for.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> unrecorded_reason(Sessions(left_out={"setting_unrecorded": 40}), 12)
    'setting_unrecorded'
    """
    feed, setting = (
        sessions.left_out.get(name, 0) for name in ("feed_unrecorded", "setting_unrecorded")
    )
    if max(feed, setting) <= grinds_count:
        return ""
    return "feed_unrecorded" if feed > setting else "setting_unrecorded"


def level_cautions(cells: Sequence[SessionCell], *, is_cut: bool) -> tuple[str, ...]:
    """Name what to bear in mind of evidence that is not all alike.

    ``one code for each kind of unlikeness``

    Parameters
    ----------
    cells : sequence of SessionCell
        The evidence.
    is_cut : bool
        Whether there is more of it, beyond the kilograms that tell of settling.

    Returns
    -------
    tuple of str
        ``setting_never_moved``, ``lot_unrecorded``, ``several_levels``, ``seated_anew``,
        ``beyond_reach``.

    Raises
    ------
    Nothing.

    Valid
    -----
    None of them changes a verdict.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> level_cautions([], is_cut=True)
    ('beyond_reach',)
    """
    found = []
    if len({cell.setting_milli for cell in cells}) == 1:
        found.append("setting_never_moved")
    if any(cell.coffee_lot is None for cell in cells):
        found.append("lot_unrecorded")
    if len({steps_of(cell)[1:] for cell in cells}) > 1:
        found.append("several_levels")
    if len({cell.seating for cell in cells}) > 1:
        found.append("seated_anew")
    if is_cut:
        found.append("beyond_reach")
    return tuple(found)
