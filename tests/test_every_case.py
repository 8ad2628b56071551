"""Cases tried together are all tried, and those that fail are named."""

from __future__ import annotations

import pytest

from every_case import try_each


def test_all_are_tried_and_each_that_fails_is_named() -> None:
    tried: list[int] = []

    def check(number: int) -> None:
        tried.append(number)
        assert number % 2 == 0, f"{number} is odd"

    with pytest.raises(
        ExceptionGroup, match=r"^2 of 4 cases failed: number 1 \(1\), number 3 \(3\)"
    ) as found:
        try_each([1, 2, 3, 4], check, name=lambda number: f"number {number}")
    assert tried == [1, 2, 3, 4]
    assert [error.__notes__ for error in found.value.exceptions] == [
        ["the case: number 1"],
        ["the case: number 3"],
    ]
    with pytest.raises(AssertionError, match="3 is odd") as alone:
        try_each([2, 3], check)
    assert alone.value.__notes__ == ["the case: 3"]
    try_each([2, 4], check)


def test_no_case_at_all_is_a_failure() -> None:
    with pytest.raises(AssertionError, match="nothing is proven"):
        try_each([], lambda case: None)
