"""What a grind or a flow is to be brought back to."""

from __future__ import annotations

import math
from datetime import datetime
from typing import Literal

from .calibration_answers import ReferenceAnswer
from .setting_steps import Step, Steps
from .settling_measures import significant
from .stage_facts import GrindFacts
from .stages import stage_at


def choose_reference(
    facts: GrindFacts,
    as_of: datetime,
    steps: Steps,
    *,
    d50_micrometres: float | None = None,
    checkpoint_id: str | None = None,
    grams_per_second: float | None = None,
    steadied_grams_per_second: float | None = None,
) -> tuple[ReferenceAnswer | None, Step | None]:
    """Choose what is to be brought back: what was asked for, else what was proven settled.

    ``asked D50; else the asked checkpoint; else the first whose doses proved it settled``

    Parameters
    ----------
    facts : GrindFacts
        Of the set in the grinder.
    as_of : datetime
        Aware.
    steps : Steps
        Its checkpoints with their settings.
    d50_micrometres : float or None
        The D50 asked for.
    checkpoint_id : str or None
        The checkpoint asked for.
    grams_per_second : float or None
        The flow asked for.
    steadied_grams_per_second : float or None
        The flow it steadied at, if it did: brought back where no other flow is asked for.

    Returns
    -------
    tuple
        The reference, None when there is none; and its step where D50 is a checkpoint's.

    Raises
    ------
    ValueError
        The instant is naive.

    Valid
    -----
    A checkpoint that is not comparable, or tells no D50, leaves the D50 None.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> from datetime import UTC
    >>> from burrline_service.core.setting_steps import select_steps
    >>> at = datetime(2026, 5, 4, tzinfo=UTC)
    >>> choose_reference(GrindFacts(None, None), at, select_steps([]))
    (None, None)
    """
    flow_basis: Literal["asked", "steadied_flow"] | None = "asked"
    if grams_per_second is None:
        grams_per_second = steadied_grams_per_second
        flow_basis = None if grams_per_second is None else "steadied_flow"
    by_id = {row.checkpoint_id: row for row in steps.rows}
    if d50_micrometres is not None:
        d50 = significant(d50_micrometres)
        return ReferenceAnswer("asked", None, d50, grams_per_second, flow_basis), None
    basis = "asked_checkpoint"
    if checkpoint_id is None:
        settled_at = stage_at(facts, as_of).settled_at if facts.checkpoints else None
        proofs = sorted(
            c.checkpoint_id
            for c in facts.checkpoints
            if c.ground_at == settled_at and c.checkpoint_id in by_id
        )
        if not proofs:
            if flow_basis is None:
                return None, None
            return ReferenceAnswer(flow_basis, None, None, grams_per_second, flow_basis), None
        basis, checkpoint_id = "settled_checkpoint", proofs[0]
    row = by_id.get(checkpoint_id)
    logs = () if row is None else row.log_d50_ratio
    mean = math.exp(math.fsum(logs) / len(logs)) if logs else None
    made = ReferenceAnswer(
        "asked_checkpoint" if basis == "asked_checkpoint" else "settled_checkpoint",
        checkpoint_id,
        significant(mean),
        grams_per_second,
        flow_basis,
    )
    return made, row if logs else None
