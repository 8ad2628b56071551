"""Usual doses are told apart by what lies between them, and no change of the flow is cut in two."""

from __future__ import annotations

import math

import numpy as np
import pytest

from burrline_service.core.stream_doses import merge_doses
from burrline_service.core.stream_eligible import dose_class
from burrline_service.core.stream_sessions import SessionCell


def cells_of(doses_grams: list[float]) -> list[SessionCell]:
    found = []
    for number, grams in enumerate(sorted(doses_grams)):
        micro = 700_000 + number
        found.append(
            SessionCell(
                1, 0, 4_800, 0, dose_class(round(1000 * grams)), None, None, None,
                1, micro, micro * micro, 2_000,
            )
        )  # fmt: skip
    return found


def sizes_of(doses_grams: list[float]) -> list[int]:
    return [cell.grinds_count for cell in merge_doses(cells_of(doses_grams))]


def spread(grams: float, count: int, sd: float, seed: int = 1) -> list[float]:
    dice = np.random.default_rng(seed)
    return (grams * np.exp(sd * dice.standard_normal(count))).tolist()


@pytest.mark.parametrize("grams", [14.0, 14.14, 18.0, 20.0, 28.28])
def test_doses_by_time_are_one_size_wherever_the_classes_begin(grams: float) -> None:
    # 6 % of scatter, and a flow that rises by 15 %
    rising = [
        dose * math.exp(0.15 * place / 300) for place, dose in enumerate(spread(grams, 300, 0.06))
    ]
    assert sizes_of(rising) == [300]


def test_one_cup_and_two_cups_are_two_sizes() -> None:
    doses = [*spread(9.0, 60, 0.06), *spread(18.0, 200, 0.06, seed=2)]
    assert sizes_of(doses) == [60, 200]
    bag = [*doses, *spread(250.0, 40, 0.02, seed=3)]
    assert sizes_of(bag) == [60, 200, 40]


def test_a_rare_size_goes_with_its_neighbour() -> None:
    assert sizes_of([*[18.0] * 100, *[60.0] * 5]) == [105]
    assert sizes_of([*[18.0] * 100, *[60.0] * 6]) == [100, 6]


def test_nothing_is_lost_and_the_order_stays() -> None:
    doses = [*spread(9.0, 30, 0.2), *spread(18.0, 70, 0.3, seed=2)]
    cells = cells_of(doses)
    merged = merge_doses(cells)
    for place in range(-4, 0):
        assert sum(cell[place] for cell in merged) == sum(cell[place] for cell in cells)
    assert merge_doses(merged) == merged
    assert list(merged) == sorted(merged, key=lambda cell: cell.dose_class)
    assert merge_doses([]) == ()
