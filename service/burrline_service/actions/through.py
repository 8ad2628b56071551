"""What went through the burr set that is in a grinder, from the sums loaded for an answer."""

from __future__ import annotations

from ..core.nameplate import burr_set_of
from ..core.records import BurrSet
from ..core.throughput import estimated_grams, flow_grams_per_second
from ..store.sums import Sums
from .asked import Asked


def want_through(one: Asked) -> None:
    """Name what ``through`` is going to ask the counters for."""
    for stay in one.stays:
        stay.counter.want(stay.from_ms, stay.to_ms)


def through(one: Asked) -> Sums:
    """Sums of the coffee over all stays of the set."""
    total = Sums()
    for stay in one.stays:
        total = total.plus(stay.counter.coffee(stay.from_ms, stay.to_ms))
    return total


def flow_of(one: Asked, measured: Sums) -> float | None:
    """Grams per second of runs that tell both, else what the plate lets one expect."""
    grind = one.grinder.grind
    return flow_grams_per_second(
        measured.paired_mg,
        measured.paired_ms,
        None if grind is None else grind.expected_grams_per_second,
    )


def unweighed_grams(one: Asked, total: Sums) -> float | None:
    """What nobody weighed of it, as an estimate; None: it cannot be told."""
    return estimated_grams(total.estimated_mg, total.ungrammed_ms, flow_of(one, total))


def burr_set_in(one: Asked) -> BurrSet | None:
    if one.burr_set is None:
        return None
    return burr_set_of(
        one.burr_set.description,
        burr_set_id=one.burr_set.burr_set_id,
        created_at=one.burr_set.created_at,
        revision=one.burr_set.revision,
        fittings=(),
    )
