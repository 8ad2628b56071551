"""What bears on the stage of the burr sets in grinders: checkpoints, seatings, sets like them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from functools import lru_cache

from ..core.entered import Checkpoint
from ..core.joining import Row, Seating, join_checkpoints
from ..core.settling import assess_settling
from ..core.settling_forecast import MeasuredSet
from ..core.stage_facts import GrindFacts
from ..store import entries, grinders, measured_sets
from ..store.database import Connection
from ..store.entries import CARE, CHECKPOINT, doses_ms
from .asked import Asked
from .burr_grams import through_by
from .checkpoint_records import checkpoint_of
from .seatings import SEATING_TASKS, seatings_of
from .through import burr_set_in, through, unweighed_grams

MOST_SETS_OF_MODEL = 12
"""So many measured sets of a model inform the forecasts of the others, no more: it is enough, and
keeps the answer cheap."""
KEPT_SETS = 1024


def facts_of(
    connection: Connection, account_no: int, each: Iterable[Asked]
) -> dict[int, GrindFacts]:
    """What bears on the stage, by number of grinder, where its set has checkpoints at all.

    The counters must have counted what ``want_through`` names. Where no grinder has checkpoints
    nothing is asked of the store.
    """
    measured = [one for one in each if one.has_checkpoints and one.burr_set is not None]
    if not measured:
        return {}
    at_ms, end_ms, at = measured[0].at_ms, measured[0].end_ms, measured[0].at
    models = {one.found.grinder_no: _model_of(one) for one in measured}
    alike = measured_sets.of_models(
        connection,
        account_no,
        {model for model in models.values() if model is not None},
        by=at,
        limit=MOST_SETS_OF_MODEL,
    )
    numbers = {stay.counter.grinder_no for one in measured for stay in one.stays}
    numbers |= {other.grinder_no for other in alike}
    rows = entries.in_force(
        connection, account_no, sorted(numbers), [CARE, CHECKPOINT], until_ms=at_ms
    )
    ids = grinders.ids_of(connection, account_no, numbers)
    cared = [row for row in rows if row.kind == CARE and row.body["task"] in SEATING_TASKS]
    # a checkpoint is there once its last dose is ground
    dosed = [row for row in rows if row.kind == CHECKPOINT and max(doses_ms(row)) <= at_ms]
    ground = through_by(connection, account_no, dosed, at_ms=at_ms, end_ms=end_ms)
    of_set: dict[int, list[Checkpoint]] = defaultdict(list)
    for row, known in zip(dosed, ground, strict=True):
        if known.burr_set_no is not None:
            of_set[known.burr_set_no].append(checkpoint_of(row, ids[row.grinder_no], known))
    told: dict[str, list[MeasuredSet]] = defaultdict(list)
    for set_no, set_id, model in sorted({other[:3] for other in alike}):
        known_set = _measured(set_id, of_set.get(set_no, ()))
        if known_set is not None:
            told[model].append(known_set)
    found = {}
    for one in measured:
        assert one.burr_set is not None
        own = one.burr_set
        others = [
            other
            for other in told.get(models[one.found.grinder_no] or "", ())
            if other.burr_set_id != own.burr_set_id
        ]
        found[one.found.grinder_no] = facts_about(
            one,
            of_set.get(own.burr_set_no, []),
            seatings_of(one.stays, cared),
            sorted(others, key=lambda other: other.burr_set_id),
        )
    return found


def facts_about(
    one: Asked,
    checkpoints: Sequence[Checkpoint] = (),
    seatings: Sequence[Seating] = (),
    measured: Sequence[MeasuredSet] = (),
) -> GrindFacts:
    """The same of one grinder, from what was found about its set."""
    total, burr_set = through(one), burr_set_in(one)
    return GrindFacts(
        burr_set=burr_set,
        burr_grams=None if burr_set is None else total.grams_mg / 1000,
        burr_estimated_grams=unweighed_grams(one, total),
        checkpoints=tuple(checkpoints),
        seatings=tuple(seatings),
        measured_sets=tuple(measured),
    )


def _model_of(one: Asked) -> str | None:
    burr_set = burr_set_in(one)
    return None if burr_set is None else burr_set.burr_model


def _measured(burr_set_id: str, checkpoints: Sequence[Checkpoint]) -> MeasuredSet | None:
    """What the checkpoints of a set tell of tau, None while they do not bound it."""
    if not checkpoints:
        return None
    return _measured_by(burr_set_id, join_checkpoints(checkpoints).rows)


@lru_cache(maxsize=KEPT_SETS)
def _measured_by(burr_set_id: str, rows: tuple[Row, ...]) -> MeasuredSet | None:
    settling = assess_settling(rows)
    tau = settling.tau_grams
    response = next((one for one in settling.responses if one.name == "d50"), None)
    if tau is None or response is None or not tau.low or tau.best is None or tau.high is None:
        return None
    start, change = response.start.best, response.change.best
    if not start or change is None:
        return None
    return MeasuredSet(burr_set_id, tau.low, tau.best, tau.high, abs(change) / start)
