"""The models and what turns Python into JSON and back."""

from __future__ import annotations

import dataclasses
import inspect
import json
import pickle
import re
import typing
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal
from fractions import Fraction
from functools import cache
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from burrline import Client, models, new_run_id
from burrline._convert import Model, format_instant, parse_instant, to_json, uuid7
from burrline_service.api import make_operations
from burrline_service.api.document import make_document
from every_case import each_of

MODELS: list[type[Any]] = [getattr(models, name) for name in models.__all__]


# --- instants -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "instant"),
    [
        # the examples of RFC 3339 section 5.8
        ("1985-04-12T23:20:50.52Z", datetime(1985, 4, 12, 23, 20, 50, 520000, UTC)),
        ("1996-12-19T16:39:57-08:00", datetime(1996, 12, 20, 0, 39, 57, 0, UTC)),
        # its leap second, read as the second before
        ("1990-12-31T23:59:60Z", datetime(1990, 12, 31, 23, 59, 59, 0, UTC)),
        ("1990-12-31T15:59:60-08:00", datetime(1990, 12, 31, 23, 59, 59, 0, UTC)),
        # Dutch local time of 1937, the section's last example
        ("1937-01-01T12:00:27.87+00:20", datetime(1937, 1, 1, 11, 40, 27, 870000, UTC)),
        # letters of either case: section 5.6
        ("2026-03-01t08:30:00.123456789z", datetime(2026, 3, 1, 8, 30, 0, 123456, UTC)),
    ],
)
def test_an_instant_is_read_as_aware_utc(text: str, instant: datetime) -> None:
    found = parse_instant(text)
    assert found == instant
    assert found.utcoffset() == timedelta(0)


@pytest.mark.parametrize(
    "text",
    [
        "2026-03-01",
        "2026-03-01T08:30:00",
        "2026-03-01 08:30:00Z",
        "2026-03-01T08:30Z",
        "2026-02-30T08:30:00Z",
        "2026-03-01T24:00:00Z",
        "2026-03-01T08:30:61Z",
        "2026-03-01T08:30:00+24:00",
        "2026-03-01T08:30:00+0100",
        "2026-W09-7T08:30:00Z",
        "2026-03-01T08:30:00Z\n",
        "２026-03-01T08:30:00Z",
        "0001-01-01T00:00:00+01:00",
        "",
    ],
)
def test_what_is_no_instant_is_refused(text: str) -> None:
    with pytest.raises(ValueError):
        parse_instant(text)


@given(
    st.datetimes(
        min_value=datetime(1900, 1, 1),  # noqa: DTZ001
        max_value=datetime(2999, 1, 1),  # noqa: DTZ001
        timezones=st.timezones(),
    )
)
def test_an_instant_survives_the_way_there_and_back_to_the_millisecond(instant: datetime) -> None:
    back = parse_instant(format_instant(instant))
    assert timedelta(0) <= instant.astimezone(UTC) - back < timedelta(milliseconds=1)


def test_an_instant_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="has no time zone"):
        format_instant(datetime(2026, 3, 1))  # noqa: DTZ001


# --- ids ----------------------------------------------------------------------------------------


def test_a_run_id_is_built_as_the_standards_example() -> None:
    # RFC 9562 appendix A.6: Tuesday, February 22, 2022 2:22:22.00 PM GMT-05:00
    moment = datetime(2022, 2, 22, 14, 22, 22, tzinfo=timezone(timedelta(hours=-5)))
    milliseconds = int(moment.timestamp() * 1000)
    assert milliseconds == 0x017F22E279B0
    found = uuid7(milliseconds, 0xCC3, 0x18C4DC0C0C07398F)
    assert found == "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"


def test_run_ids_are_lower_case_distinct_and_in_the_order_of_their_time() -> None:
    moments = [datetime(2026, 3, 1, tzinfo=UTC) + timedelta(milliseconds=n) for n in range(500)]
    ids = [new_run_id(moment) for moment in moments]
    assert ids == sorted(ids)
    assert len({new_run_id(moments[0]) for _ in range(500)}) == 500
    assert all(one == one.lower() and len(one) == 36 for one in ids)


# --- values -------------------------------------------------------------------------------------


def test_numbers_of_any_kind_are_sent_as_numbers() -> None:
    given = [1, 1.5, Decimal("18.25"), Fraction(1, 4), True, None]
    assert json.dumps(to_json(given)) == "[1, 1.5, 18.25, 0.25, true, null]"


@pytest.mark.parametrize(
    "value", [float("nan"), float("inf"), Decimal("-Infinity"), Decimal("NaN")]
)
def test_what_is_no_number_is_not_sent(value: object) -> None:
    with pytest.raises(ValueError, match="not a number"):
        to_json({"grams": value})


@pytest.mark.parametrize("value", [b"bytes", object(), 1j])
def test_what_json_cannot_hold_is_not_sent(value: object) -> None:
    with pytest.raises(TypeError):
        to_json([value])


# --- the generated models -----------------------------------------------------------------------


def values_of(kind: Any) -> st.SearchStrategy[Any]:
    """Values of a field's type."""
    origin, arguments = typing.get_origin(kind), typing.get_args(kind)
    if origin is typing.Literal:
        return st.sampled_from(arguments)
    if origin is tuple:
        return st.lists(values_of(arguments[0]), max_size=3).map(tuple)
    if origin is Mapping or getattr(origin, "__name__", "") == "Mapping":
        inner = st.just(None) if arguments[1] is Any else values_of(arguments[1])
        return st.dictionaries(st.text(max_size=5), inner, max_size=3)
    if type(None) in arguments:
        (other,) = [one for one in arguments if one is not type(None)]
        return st.none() | values_of(other)
    if dataclasses.is_dataclass(kind):
        return instances_of(kind)
    simple: dict[Any, st.SearchStrategy[Any]] = {
        str: st.text(max_size=20),
        int: st.integers(),
        float: st.floats(allow_nan=False, allow_infinity=False),
        bool: st.booleans(),
        datetime: st.datetimes(timezones=st.just(UTC)).map(
            lambda one: one.replace(microsecond=one.microsecond // 1000 * 1000)
        ),
    }
    return simple[kind]


@cache  # a strategy made anew for each example costs more than the example
def instances_of(model: Any) -> st.SearchStrategy[Any]:
    kinds = typing.get_type_hints(model)
    unknown = st.dictionaries(st.sampled_from(["later", "newer"]), st.integers(), max_size=2)
    return st.builds(
        model,
        **{
            field.name: unknown if field.name == "extra" else values_of(kinds[field.name])
            for field in dataclasses.fields(model)
            if field.name != "etag"
        },
    )


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
@settings(max_examples=10, deadline=None)
@given(data=st.data())
def test_a_model_survives_the_way_to_json_and_back_and_is_frozen_and_slotted(
    model: Any, data: st.DataObject
) -> None:
    made = data.draw(instances_of(model))
    text = json.dumps(made.to_json())
    assert model.from_json(json.loads(text)) == made
    assert pickle.loads(pickle.dumps(made)) == made
    with pytest.raises(dataclasses.FrozenInstanceError):
        made.extra = {}
    assert not hasattr(made, "__dict__")


@each_of(MODELS, name=lambda model: model.__name__)
def test_a_model_is_made_by_keyword(model: Any) -> None:
    assert issubclass(model, Model)
    parameters = inspect.signature(model).parameters.values()
    assert {one.kind for one in parameters} == {inspect.Parameter.KEYWORD_ONLY}


@each_of(MODELS, name=lambda model: model.__name__)
def test_an_answer_that_is_no_object_is_refused_by_name(model: Any) -> None:
    for wrong in (None, [], "text", 7):
        with pytest.raises(ValueError, match=f"{model.__name__} should be an object"):
            model.from_json(wrong)


def test_a_word_that_a_later_service_says_is_kept() -> None:
    finding = {"run_id": "bar-1-000001", "outcome": "postponed", "findings": []}
    assert models.RunOutcome.from_json(finding).outcome == "postponed"  # type: ignore[comparison-overlap]


def test_a_place_inside_an_answer_is_named_to_the_element() -> None:
    outcome = {"run_id": "r", "outcome": "accepted", "findings": [{"code": "x", "detail": 7}]}
    with pytest.raises(ValueError, match=r"^RunOutcome\.findings\[0\]\.detail should be a string"):
        models.RunOutcome.from_json(outcome)


# --- methods and the document -------------------------------------------------------------------

CREATING = (
    "create_site",
    "create_grinder",
    "fit_burr_set",
    "create_key",
    "add_run",
    "add_readings",
    "add_tally",
    "set_period",
    "add_correction",
    "record_care",
)
QUERY_WORDS = {"from": "from_at", "to": "to_at"}


def _operations() -> dict[str, Mapping[str, Any]]:
    document = make_document(make_operations())
    return {
        operation["operationId"]: {"document": document, "verb": verb, "path": path, **operation}
        for path, item in document["paths"].items()
        for verb, operation in item.items()
        if verb in ("get", "post", "patch", "delete", "put")
    }


OPERATIONS = _operations()


def _members(operation: Mapping[str, Any]) -> set[str]:
    schemas = operation["document"]["components"]["schemas"]
    content = operation["requestBody"]["content"]["application/json"]["schema"]
    waiting, found = [content], set()
    while waiting:
        schema = waiting.pop()
        if "$ref" in schema:
            schema = schemas[schema["$ref"].rsplit("/", 1)[1]]
        found |= set(schema.get("properties", {}))
        waiting += [*schema.get("oneOf", ()), *schema.get("anyOf", ()), *schema.get("allOf", ())]
    return found


@pytest.mark.parametrize("name", CREATING)
def test_a_method_takes_every_member_of_its_body_by_name(name: str) -> None:
    taken = set(inspect.signature(getattr(Client, name)).parameters)
    members = {QUERY_WORDS.get(member, member) for member in _members(OPERATIONS[name])}
    assert members
    ids = set(re.findall("{([a-z_]+)}", OPERATIONS[name]["path"]))
    assert taken - {"self", "run", "readings"} == (members | ids) - {"readings"}


@each_of(sorted(OPERATIONS))
def test_a_method_takes_every_parameter_of_its_query_by_name(name: str) -> None:
    document = OPERATIONS[name]["document"]
    asked = set()
    for parameter in OPERATIONS[name].get("parameters", ()):
        if "$ref" in parameter:
            parameter = document["components"]["parameters"][parameter["$ref"].rsplit("/", 1)[1]]
        if parameter["in"] == "query":
            asked.add(QUERY_WORDS.get(parameter["name"], parameter["name"]))
    asked.discard("format")  # how an answer is written; the SDK reads JSON
    assert asked <= set(inspect.signature(getattr(Client, name)).parameters)


def _header_names(operation: Mapping[str, Any]) -> set[str]:
    document, names = operation["document"], set()
    for parameter in operation.get("parameters", ()):
        if "$ref" in parameter:
            parameter = document["components"]["parameters"][parameter["$ref"].rsplit("/", 1)[1]]
        if parameter["in"] == "header":
            names.add(parameter["name"])
    return names


def test_what_is_sent_twice_without_fear_is_what_the_service_takes_twice() -> None:
    posts = {name for name, operation in OPERATIONS.items() if operation["verb"] == "post"}
    keyed = {name for name in posts if "Idempotency-Key" in _header_names(OPERATIONS[name])}
    by_id = {"add_run", "add_runs", "add_readings", "add_tallies"}
    words = ("void", "revoke", "acknowledge")
    done_once = {name for name in posts if name.split("_")[0] in words}
    told_once = {"create_key", "create_webhook", "rotate_webhook_secret"}
    sent_once_more = {"test_webhook", "redeliver"}
    does_nothing = {"summarize_sample"}
    assert posts - keyed == by_id | done_once | told_once | sent_once_more | does_nothing
