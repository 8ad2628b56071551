"""Field types are exact: JSON types, RFC 3339, whole texts."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from marshmallow import ValidationError, fields

from burrline_service.api.checks import FullMatch
from burrline_service.api.fields import (
    Array,
    Choice,
    Instant,
    QueryInteger,
    StrictBoolean,
    StrictFloat,
    StrictInteger,
    Text,
    nullable,
)
from burrline_service.api.instants import EARLIEST, LATEST, instant_text, read_instant
from burrline_service.api.operation import PATH_IDS


def load(field: fields.Field[Any], value: Any) -> Any:
    return field.deserialize(value)


def is_refused(field: fields.Field[Any], value: Any) -> bool:
    try:
        field.deserialize(value)
    except ValidationError:
        return True
    return False


GRAMS = StrictFloat("grams", low=0, high=50_000)


@pytest.mark.parametrize("value", [0, 0.0, 18.2, 50_000, 5e-324])
def test_a_number_is_a_json_number_within_its_bounds(value: float) -> None:
    found = load(GRAMS, value)
    assert found == value
    assert type(found) is float


@pytest.mark.parametrize(
    "value",
    ["18", "", True, False, None, [], {}, -1e-9, 50_000.001, float("nan"), float("inf"), 10**400],
)
def test_nothing_else_is_a_number(value: Any) -> None:
    assert is_refused(GRAMS, value)


def test_an_open_bound_excludes_its_end() -> None:
    field = StrictFloat("seconds", above=0, high=1)
    assert is_refused(field, 0)
    assert load(field, 1) == 1.0


def test_minus_zero_becomes_zero() -> None:
    assert str(load(GRAMS, -0.0)) == "0.0"


@pytest.mark.parametrize(("value", "found"), [(120, 120), (120.0, 120), (-3, -3), (2**53 - 1,) * 2])
def test_an_integer_may_be_written_with_a_zero_fraction(value: Any, found: int) -> None:
    # JSON Schema 2020-12, 6.1.1: "integer" matches any number with a zero fractional part.
    loaded = load(StrictInteger("count"), value)
    assert (loaded, type(loaded)) == (found, int)


@pytest.mark.parametrize("value", ["120", 1.5, True, None, 2**53, 1e300, float("inf")])
def test_nothing_else_is_an_integer(value: Any) -> None:
    assert is_refused(StrictInteger("count"), value)


@pytest.mark.parametrize(
    "value", ["", " 5", "5 ", "+5", "-5", "05", "1_0", "٣", "5.0", "1e2", "5\n", "9" * 20, "0x5", 5]
)
def test_an_integer_in_a_query_is_ascii_digits_alone(value: Any) -> None:
    assert is_refused(QueryInteger("limit", low=1, high=200), value)


def test_an_integer_in_a_query_has_bounds() -> None:
    field = QueryInteger("limit", low=1, high=200)
    assert [load(field, text) for text in ("1", "50", "200")] == [1, 50, 200]
    assert is_refused(field, "0")
    assert is_refused(field, "201")


@pytest.mark.parametrize("value", [0, 1, "true", "false", "on", None, []])
def test_a_boolean_is_true_or_false(value: Any) -> None:
    assert load(StrictBoolean("is it"), True) is True
    assert is_refused(StrictBoolean("is it"), value)


@pytest.mark.parametrize(
    ("text", "is_one"),
    [
        ("bar-1", True),
        ("0", True),
        ("a" * 64, True),
        ("a" * 65, False),
        ("", False),
        ("-a", False),
        ("Bar", False),
        ("bar-1\n", False),
        ("\nbar-1", False),
        ("bár", False),
        ("bar/1", False),
        ("٣", False),
    ],
)
def test_an_id_is_matched_as_a_whole(text: str, is_one: bool) -> None:
    field = Text("id", pattern=PATH_IDS["grinder_id"].pattern)
    assert is_refused(field, text) is not is_one


@pytest.mark.parametrize("value", [5, None, True, ["a"], {}])
def test_a_text_is_a_json_string(value: Any) -> None:
    assert is_refused(Text("name", high=200), value)
    assert is_refused(Choice("kind", ("flat", "conical")), value)


def test_a_text_is_counted_in_characters() -> None:
    assert load(Text("name", high=200), "\U0001f600" * 200) == "\U0001f600" * 200
    assert is_refused(Text("name", high=200), "x" * 201)
    assert is_refused(Text("name", high=200), "")


def test_a_pattern_is_ascii() -> None:
    with pytest.raises(ValidationError):
        FullMatch(r"\d+")("٣")


def test_null_is_taken_only_where_it_is_declared() -> None:
    assert load(nullable(Text, "serial", high=9), None) is None
    assert is_refused(Text("serial", high=9), None)


def test_an_array_may_have_to_name_each_thing_once() -> None:
    field = Array(Text("id", high=9), "ids", high=3, is_unique=True)
    assert load(field, ["a", "b"]) == ["a", "b"]
    assert is_refused(field, ["a", "a"])
    assert is_refused(field, ["a", "b", "c", "d"])
    assert is_refused(field, "ab")


# --- instants ----------------------------------------------------------------------------------

# RFC 3339, 5.8 (examples), and the equivalences stated there; the leap second is clamped by us.
RFC_3339_EXAMPLES = [
    ("1985-04-12T23:20:50.52Z", datetime(1985, 4, 12, 23, 20, 50, 520_000, tzinfo=UTC)),
    ("1996-12-19T16:39:57-08:00", datetime(1996, 12, 20, 0, 39, 57, tzinfo=UTC)),
    ("1990-12-31T23:59:60Z", datetime(1990, 12, 31, 23, 59, 59, 999_000, tzinfo=UTC)),
    ("1990-12-31T15:59:60-08:00", datetime(1990, 12, 31, 23, 59, 59, 999_000, tzinfo=UTC)),
    ("1937-01-01T12:00:27.87+00:20", datetime(1937, 1, 1, 11, 40, 27, 870_000, tzinfo=UTC)),
]


@pytest.mark.parametrize(("text", "at"), RFC_3339_EXAMPLES)
def test_the_examples_of_rfc_3339_are_read(text: str, at: datetime) -> None:
    assert read_instant(text) == at
    assert read_instant(text.lower()) == at


@pytest.mark.parametrize(
    "text",
    [
        "",
        "2026-07-01",
        "2026-07-01T08:15:00",
        "2026-07-01 08:15:00Z",
        "2026-07-01T08:15Z",
        "2026-07-01T08:15:00.Z",
        "2026-07-01T08:15:00,5Z",
        "2026-07-01T08:15:00.1234567890Z",
        "2026-07-01T24:00:00Z",
        "2026-07-01T08:60:00Z",
        "2026-07-01T08:15:61Z",
        "2026-02-29T08:15:00Z",
        "2026-13-01T08:15:00Z",
        "2026-00-01T08:15:00Z",
        "2026-07-00T08:15:00Z",
        "2026-07-01T08:15:00+2:00",
        "2026-07-01T08:15:00+0200",
        "2026-07-01T08:15:00+24:00",
        "2026-07-01T08:15:00+02:60",
        "2026-07-01T08:15:00 02:00",
        "2026-07-01T08:15:00Z\n",
        " 2026-07-01T08:15:00Z",
        "2026-W27-3T08:15:00Z",
        "20260701T081500Z",
        "+2026-07-01T08:15:00Z",
        "٢٠٢٦-07-01T08:15:00Z",
        "1751357700",
    ],
)
def test_anything_else_is_no_instant(text: str) -> None:
    assert read_instant(text) is None
    assert is_refused(Instant("at"), text)


@pytest.mark.parametrize("value", [1751357700, 1.5, None, True, datetime(2026, 7, 1, tzinfo=UTC)])
def test_an_instant_is_a_json_string(value: Any) -> None:
    assert is_refused(Instant("at"), value)


@pytest.mark.parametrize(
    ("text", "at"),
    [
        ("0000-02-29T00:00:00Z", EARLIEST),
        ("0001-01-01T00:00:00+23:59", EARLIEST),
        ("1899-12-31T23:59:59Z", EARLIEST),
        ("1900-01-01T00:00:00+01:00", EARLIEST),
        ("2999-12-31T00:00:00-12:00", LATEST),
        ("9999-12-31T23:59:59.999999999-23:59", LATEST),
    ],
)
def test_instants_beyond_all_records_are_read_as_the_ends_of_the_span(
    text: str, at: datetime
) -> None:
    assert read_instant(text) == at


@given(
    st.datetimes(datetime(1901, 1, 1), datetime(2998, 12, 31)),  # noqa: DTZ001 (zone added below)
    st.integers(-1439, 1439),
)
def test_an_instant_is_read_as_the_standard_library_reads_it_down_to_milliseconds(
    local: datetime, offset_minutes: int
) -> None:
    at = local.replace(tzinfo=timezone(timedelta(minutes=offset_minutes)))
    expected = at.replace(microsecond=at.microsecond // 1000 * 1000)
    found = read_instant(at.isoformat())
    assert found == expected
    assert found is not None
    assert found.utcoffset() == timedelta(0)
    assert read_instant(instant_text(at)) == expected


def test_instants_are_answered_in_utc_with_milliseconds() -> None:
    at = datetime(2026, 7, 1, 10, 15, 0, 999_999, tzinfo=timezone(timedelta(hours=2)))
    assert instant_text(at) == "2026-07-01T08:15:00.999Z"
    with pytest.raises(ValueError, match="naive"):
        instant_text(at.replace(tzinfo=None))
