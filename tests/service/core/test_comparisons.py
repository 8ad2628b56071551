"""A checkpoint beside the one before it."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from burrline_service.core.comparisons import compare_neighbours
from burrline_service.core.joining import Row
from burrline_service.core.settling_series import Rule

AT = datetime(2026, 5, 4, 8, tzinfo=UTC)
ROWS = [
    Row("a", AT, 0.0, (298.0, 300.0, 302.0), (0.14, 0.15), None, 0),
    Row("b", AT, 5e3, (320.0, 322.0, 324.0), (), None, 0),
    Row("c", AT, 1e4, (321.0, 323.0, 325.0), (0.12, 0.13), None, 0),
]


def test_each_is_compared_with_the_one_before_that_has_the_response() -> None:
    found = compare_neighbours(ROWS)
    pairs = [(c.response, c.before_checkpoint_id, c.checkpoint_id) for c in found]
    assert pairs == [("d50", "a", "b"), ("d50", "b", "c"), ("fines", "a", "c")]


def test_the_interval_is_that_of_the_pooled_scatter_and_of_both_sittings() -> None:
    rule = Rule(d50_session_micrometres=3.0)
    first, second, _ = compare_neighbours(ROWS, rule)
    assert first.difference is not None
    assert second.difference is not None
    # s_w = 2 in all three groups with 6 degrees of freedom; t(0.975, 6) = 2.446912 in any table
    error = math.sqrt(2 * 9.0 + 4.0 * 2 / 3)
    assert first.difference.change_response == 22.0
    assert first.difference.low_response == pytest.approx(22.0 - 2.446912 * error, rel=1e-6)
    assert first.difference.verdict == "rose"
    assert second.difference.verdict == "no_change_shown"


def test_across_a_seating_or_a_lot_nothing_is_compared() -> None:
    seated = [ROWS[0], replace(ROWS[1], seating_count=1), replace(ROWS[2], seating_count=1)]
    found = [c for c in compare_neighbours(seated) if c.response == "d50"]
    assert [c.reason for c in found] == ["reseated", None]
    assert found[0].difference is None
    lots = [ROWS[0], replace(ROWS[1], coffee_lot="b")]
    assert [c.reason for c in compare_neighbours(lots)] == ["coffee_lot_changed"]


def test_order_changes_nothing() -> None:
    assert compare_neighbours(ROWS[::-1]) == compare_neighbours(ROWS)
