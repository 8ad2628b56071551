"""A cursor leads on in the list it came from, and nowhere else."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline_service.api.cursors import LONGEST_CURSOR, read_cursor, write_cursor
from burrline_service.core.errors import BadCursor

AT = datetime(2026, 7, 1, 8, 15, tzinfo=UTC)
WHERE: dict[str, Any] = {
    "account_no": 7,
    "operation": "list_runs",
    "filters": {"grinder_id": "bar-1", "from_at": AT, "to_at": None},
}
CURSOR = write_cursor((1_751_357_700_000, "00ff"), **WHERE)


@given(
    st.lists(
        st.integers()
        | st.text(max_size=20)
        | st.none()
        | st.binary(max_size=16)
        | st.datetimes(timezones=st.just(UTC)),
        max_size=4,
    )
)
def test_a_position_comes_back_as_it_was(position: list[Any]) -> None:
    cursor = write_cursor(tuple(position), **WHERE)
    assert read_cursor(cursor, **WHERE) == tuple(position)


def test_a_cursor_fits_into_a_path_and_a_query_as_it_is() -> None:
    longest_id = ("z" * 128,)
    cursor = write_cursor(longest_id, **WHERE)
    assert len(cursor) < LONGEST_CURSOR
    assert set(cursor) <= set("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_")


@pytest.mark.parametrize(
    "elsewhere",
    [
        {"account_no": 8},
        {"operation": "list_grinders"},
        {"filters": {"grinder_id": "bar-2", "from_at": AT, "to_at": None}},
        {"filters": {"grinder_id": "bar-1", "from_at": None, "to_at": None}},
        {"filters": {"grinder_id": "bar-1", "from_at": None, "to_at": AT}},
        {"filters": {}},
    ],
)
def test_a_cursor_is_refused_elsewhere(elsewhere: dict[str, Any]) -> None:
    with pytest.raises(BadCursor):
        read_cursor(CURSOR, **{**WHERE, **elsewhere})


def test_the_order_of_filters_does_not_matter() -> None:
    turned = dict(reversed(WHERE["filters"].items()))
    assert read_cursor(CURSOR, **{**WHERE, "filters": turned}) == (1_751_357_700_000, "00ff")


@pytest.mark.parametrize(
    "cursor",
    ["", "=", "a", "AAAA", "\x00", "é", "../..", CURSOR + "=", CURSOR + "A", CURSOR[:-1],
     CURSOR[1:], CURSOR.swapcase(), " " + CURSOR, CURSOR + "\n", "A" * (LONGEST_CURSOR + 1)],
)  # fmt: skip
def test_anything_else_is_refused(cursor: str) -> None:
    with pytest.raises(BadCursor):
        read_cursor(cursor, **WHERE)


@given(st.integers(0, len(CURSOR) - 1), st.characters(codec="ascii"))
def test_no_single_character_can_be_changed(place: int, character: str) -> None:
    changed = CURSOR[:place] + character + CURSOR[place + 1 :]
    if changed != CURSOR:
        with pytest.raises(BadCursor):
            read_cursor(changed, **WHERE)
