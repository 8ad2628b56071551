"""What bears on the stage of a burr set, and how its checkpoints add up over time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from functools import lru_cache

from .entered import Checkpoint
from .joining import Joined, Row, Seating, SettingSlope, join_checkpoints
from .records import BurrSet
from .replicates import Pooled, compare_means
from .settling import Settling, assess_settling
from .settling_forecast import MeasuredSet
from .settling_series import Rule, Series

KEPT_VERDICTS = 1024
"""So many verdicts are remembered: each follows from its rows alone, and is asked for again and
again while runs go on between two checkpoints."""


@dataclass(frozen=True)
class GrindFacts:
    """All that bears on the stage of one burr set; kilograms count since tracking began.

    ``flow_steadied_at`` and ``drift_confirmed_at`` are what a stream of runs told, None = nothing.
    """

    burr_set: BurrSet | None
    burr_grams: float | None
    burr_estimated_grams: float | None = 0.0
    checkpoints: tuple[Checkpoint, ...] = ()
    seatings: tuple[Seating, ...] = ()
    first_zero_setting: float | None = None
    slope: SettingSlope | None = None
    rule: Rule = field(default_factory=Rule)
    measured_sets: tuple[MeasuredSet, ...] = ()
    flow_steadied_at: datetime | None = None
    drift_confirmed_at: datetime | None = None


@dataclass(frozen=True, eq=False)
class Folded:
    """How far the checkpoints up to ``ground_at`` tell; ``settled_at`` is None while not settled.

    ``has_moved`` says that the grind has left what was called settled.
    """

    joined: Joined = field(default_factory=lambda: join_checkpoints(()))
    settling: Settling = field(default_factory=lambda: assess_settling(()))
    settled_at: datetime | None = None
    has_moved: bool = False
    ground_at: datetime | None = None


def fold_checkpoints(facts: GrindFacts, as_of: datetime) -> Iterator[Folded]:
    """Judge after each instant with checkpoints what is known by then, in the order of time.

    ``settled -> since then; not settled -> no more; a response moved by more than delta -> no
    more; else as before``

    Parameters
    ----------
    facts : GrindFacts
        Checkpoints and seatings of one burr set.
    as_of : datetime
        Up to when, aware.

    Returns
    -------
    iterator of Folded
        One for each instant, none without checkpoints.

    Raises
    ------
    ValueError
        An instant is naive.

    Valid
    -----
    Whether the grind has moved is told by the responses of the proof, and by
    checkpoints of one lot, seating and setting only.

    Source
    ------
    Definition made here: a call holds until a later checkpoint contradicts it.

    Examples
    --------
    >>> from datetime import UTC
    >>> list(fold_checkpoints(GrindFacts(None, None), datetime(2026, 5, 4, tzinfo=UTC)))
    []
    """
    counted = [c for c in facts.checkpoints if c.ground_at <= as_of]
    settled_at: datetime | None = None
    has_moved = False
    proof: dict[str, tuple[Row, Pooled]] = {}
    for at in sorted({c.ground_at for c in counted}):
        so_far = [c for c in counted if c.ground_at <= at]
        steps = [seating for seating in facts.seatings if seating.at <= at]
        joined = join_checkpoints(
            so_far, steps, first_zero_setting=facts.first_zero_setting, slope=facts.slope
        )
        settling = _assessed(joined.rows, facts.rule)
        latest = joined.rows[-1] if joined.rows else None
        if settling.decision == "settled":
            settled_at, has_moved = settled_at or at, False
        elif settling.decision == "not_settled":
            settled_at, has_moved = None, False
        elif settled_at and latest and _has_moved(proof, latest, settling):
            settled_at, has_moved = None, True
        if settling.decision == "settled" and latest is not None:
            proof = _proof(latest, settling)
        yield Folded(joined, settling, settled_at, has_moved, at)


@lru_cache(maxsize=KEPT_VERDICTS)
def _assessed(rows: tuple[Row, ...], rule: Rule) -> Settling:
    return assess_settling(rows, rule)


def _proof(latest: Row, settling: Settling) -> dict[str, tuple[Row, Pooled]]:
    """What a later checkpoint is held against, for each response that carried the verdict."""
    judged = {response.name for response in settling.responses}
    return {
        series.name: (
            latest,
            Pooled(
                tuple(map(float, series.means_response)),
                tuple(map(int, series.replicates_count)),
                series.within_squares,
                series.freedom_count,
            ),
        )
        for series in settling.series
        if series.name in judged and _values(latest, series.name)
    }


def _has_moved(proof: dict[str, tuple[Row, Pooled]], latest: Row, settling: Settling) -> bool:
    """Whether any response has left, for certain, what was called settled."""
    return any(
        series.name in proof and _has_left(*proof[series.name], latest, series)
        for series in settling.series
    )


def _has_left(row: Row, pooled: Pooled, latest: Row, series: Series) -> bool:
    """Whether a response is elsewhere than at the proof, at the same lot and seating."""
    is_alike = (row.coffee_lot, row.seating_count) == (latest.coffee_lot, latest.seating_count)
    if not is_alike or not _values(latest, series.name):
        return False
    if row.checkpoint_id not in series.checkpoint_ids:  # no longer joined with it
        return False
    change = compare_means(
        _values(row, series.name),
        _values(latest, series.name),
        pooled=pooled,
        session_sd_response=series.session.sd_response,
    )
    delta = series.change_response
    low, high = change.low_response, change.high_response
    return low is not None and high is not None and (low > delta or high < -delta)


def _values(row: Row, name: str) -> tuple[float, ...]:
    return row.d50_micrometres if name == "d50" else row.fines_fraction
