"""Grams of many tallies over a stretch of time, held against the sum over every one of them."""

from __future__ import annotations

from random import Random
from types import SimpleNamespace
from typing import Any

from burrline_service.actions.counting import SERVICE, Counter
from burrline_service.core.tallies import Tally, share_mg
from burrline_service.store import entries


def test_tallies_that_lie_elsewhere_are_passed_over_and_no_others() -> None:
    made = Random(9)
    rows = []
    for _ in range(300):
        from_ms = made.randrange(1000)
        rows.append(Tally(made.randrange(10_000), from_ms, from_ms + made.randrange(1, 60)))
    entered: list[Any] = [
        SimpleNamespace(
            kind=entries.TALLY,
            from_ms=row.from_ms,
            to_ms=row.to_ms,
            body={"grams_mg": row.grams_mg, "purpose": "service", "basis": "weighed_out"},
        )
        for row in rows
    ]
    counter = Counter(1, at_ms=900, end_ms=901, entered=entered, restored=())
    for _ in range(200):
        low, high = sorted(made.randrange(-20, 1100) for _ in range(2))
        counter.want(low, high)
    spans = list(counter._wanted)
    counter.fill([{} for _ in counter.pieces()])
    for low, high in spans:
        found = counter.between(low, high).get(SERVICE)
        until = max(low, min(high, 900))
        assert (found.grams_mg if found else 0) == sum(share_mg(row, low, until) for row in rows)
