"""Checkpoints of an invented burr set, made up by number."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from typing import Any

from hypothesis import strategies as st

from burrline_service.core.entered import Checkpoint, Replicate
from burrline_service.core.particles_pooled import pool_sizes
from burrline_service.core.particles_records import SampleSizes

AT = datetime(2026, 5, 4, 8, tzinfo=UTC)


def sizes(d50: float | None, fines: float | None, cut: float = 100.0) -> SampleSizes:
    return SampleSizes(None, d50, None, None, fines, cut)


NOT_USED_HERE = pool_sizes([sizes(300.0, 0.14)])


def checkpoint(
    number: int,
    d50: tuple[float | None, ...] = (300.0, 302.0, 301.0),
    fines: tuple[float | None, ...] = (0.14, 0.13, 0.15),
    **changes: Any,
) -> Checkpoint:
    """Number 2 was ground two days after the start, at 10 kg; the pooled sizes are made up."""
    cut = changes.get("fines_cut_micrometres", 100.0)
    at = AT + timedelta(days=number)
    made = tuple(
        Replicate(25.0, at, {}, sizes(*pair, cut)) for pair in zip(d50, fines, strict=True)
    )
    described: dict[str, Any] = {
        "checkpoint_id": f"c{number}",
        "grinder_id": "bar-1",
        "burr_set_id": "north-98-a",
        "ground_at": at,
        "measured_at": None,
        "session_id": None,
        "setting": 7.0,
        "rpm": 1400.0,
        "burr_grams": 5000.0 * number,
        "burr_grams_basis": "runs",
        "method": "laser",
        "instrument_id": "lab-2",
        "sieve_set_id": None,
        "dispersant": None,
        "coffee_lot": "lot-1",
        "note": None,
        "fines_cut_micrometres": cut,
        "replicates": made,
        "pooled": NOT_USED_HERE,
        "created_at": at,
    }
    return Checkpoint(**described | changes)


D50S = st.floats(min_value=-1e3, max_value=2e4) | st.sampled_from(
    [0.0, 1.0, 300.0, 300.0, 300.0, 1e4, math.inf, math.nan]
)
FRACTIONS = st.floats(min_value=-0.5, max_value=1.5) | st.sampled_from([0.0, 1.0, 0.14, math.nan])
KILOS = st.floats(min_value=-1, max_value=100) | st.sampled_from([0.0, 5.0, 10.0, 1e5, math.nan])


@st.composite
def checkpoint_sets(draw: st.DrawFn) -> list[Checkpoint]:
    """Whatever could be sent, sensible or not."""
    made = []
    for number in range(draw(st.integers(0, 9))):
        doses = draw(st.integers(1, 4))
        d50 = tuple(draw(st.none() | D50S) for _ in range(doses))
        fines = tuple(draw(st.none() | FRACTIONS) for _ in range(doses))
        made.append(
            checkpoint(
                number,
                d50,
                fines,
                burr_grams=draw(st.none() | KILOS.map(lambda kilos: 1000 * kilos)),
                coffee_lot=draw(st.sampled_from([None, "a", "b"])),
                setting=draw(st.sampled_from([7.0, 7.0, 7.0, None, 8.0])),
            )
        )
    return made
