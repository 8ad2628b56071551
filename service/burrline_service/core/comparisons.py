"""Each checkpoint beside the one before it: the difference with its interval, and no more."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from .joining import Row
from .replicates import Difference, Pooled, compare_means
from .settling_series import Rule, Series, make_series


@dataclass(frozen=True)
class Comparison:
    """What changed in one response since the checkpoint before.

    ``reason`` says why the two cannot be compared; ``difference`` is None then.
    """

    checkpoint_id: str
    before_checkpoint_id: str
    response: Literal["d50", "fines"]
    difference: Difference | None
    reason: str | None


def compare_neighbours(rows: Sequence[Row], rule: Rule | None = None) -> tuple[Comparison, ...]:
    """Compare every joined checkpoint with the one before it, by D50 and by fines.

    ``d = mean_j - mean_(j-1),  se^2 = 2 s_b^2 + s_w^2 (1 / n_j + 1 / n_(j-1))``, s_w pooled over
    all checkpoints

    Parameters
    ----------
    rows : sequence of Row
        Joined checkpoints, in any order.
    rule : Rule or None
        Scatter of whole sittings; None = the defaults.

    Returns
    -------
    tuple of Comparison
        In the order of the kilograms; reasons ``coffee_lot_changed`` and ``reseated``.

    Raises
    ------
    ValueError
        A replicate is not finite.

    Valid
    -----
    Two-sided 95 % intervals. ``no_change_shown`` says nothing about the change still to come:
    that is what ``assess_settling`` bounds.

    Source
    ------
    ``compare_means``

    Examples
    --------
    >>> compare_neighbours([])
    ()
    """
    rule = Rule() if rule is None else rule
    ordered = sorted(rows, key=lambda row: (row.burr_grams, row.ground_at, row.checkpoint_id))
    found: list[Comparison] = []
    names: tuple[Literal["d50", "fines"], ...] = ("d50", "fines")
    for name in names:
        told = [(row, _values(row, name)) for row in ordered if _values(row, name)]
        series = make_series(ordered, name, rule, origin_grams=0.0)
        if series is None:
            continue
        pooled = _pooled(series)
        for (before, earlier), (row, later) in pairwise(told):
            reason = None
            if row.seating_count != before.seating_count:
                reason = "reseated"
            elif row.coffee_lot != before.coffee_lot:
                reason = "coffee_lot_changed"
            difference = None
            if reason is None:
                difference = compare_means(
                    earlier,
                    later,
                    pooled=pooled,
                    session_sd_response=series.session.sd_response,
                )
            found.append(
                Comparison(row.checkpoint_id, before.checkpoint_id, name, difference, reason)
            )
    return tuple(found)


def _values(row: Row, name: str) -> tuple[float, ...]:
    return row.d50_micrometres if name == "d50" else row.fines_fraction


def _pooled(series: Series) -> Pooled:
    return Pooled(
        tuple(map(float, series.means_response)),
        tuple(map(int, series.replicates_count)),
        series.within_squares,
        series.freedom_count,
    )
