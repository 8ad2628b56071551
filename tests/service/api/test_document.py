"""The OpenAPI document: valid, complete, without the mistakes validators let pass."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

import pytest
from flask import Flask
from jsonschema import Draft202012Validator
from marshmallow import ValidationError
from openapi_spec_validator import validate
from referencing import Registry
from referencing.jsonschema import DRAFT202012

from burrline_service.api import docs, make_operations, register
from burrline_service.api.document import document_text, make_document
from burrline_service.api.operation import Operation, refusals_of
from burrline_service.api.problems import INTERNAL_ERROR, problem_of
from burrline_service.core.records import SCOPES
from every_case import each_of

OPERATIONS = make_operations()
DOCUMENT = make_document(OPERATIONS)
SCHEMAS: dict[str, Any] = DOCUMENT["components"]["schemas"]
ENTRIES: dict[str, tuple[str, str, dict[str, Any]]] = {
    entry["operationId"]: (method, path, entry)
    for path, item in DOCUMENT["paths"].items()
    for method, entry in item.items()
    if method != "parameters"
}
# Rules of the app that the document leaves out. This list may only shrink.
OUTSIDE = {docs.ASSET_ENDPOINT}

each_operation = each_of(OPERATIONS, name=lambda operation: operation.name)


def followed(part: dict[str, Any]) -> dict[str, Any]:
    while "$ref" in part:
        found: Any = DOCUMENT
        for step in part["$ref"].removeprefix("#/").split("/"):
            found = found[step]
        part = found
    return part


def walk(part: Any, where: str = "#") -> Iterator[tuple[str, Any]]:
    yield where, part
    if isinstance(part, dict):
        for name, inner in part.items():
            yield from walk(inner, f"{where}/{name}")
    elif isinstance(part, list):
        for place, inner in enumerate(part):
            yield from walk(inner, f"{where}/{place}")


def schema_errors(schema: dict[str, Any], value: Any) -> list[str]:
    resource = DRAFT202012.create_resource(DOCUMENT)
    registry: Registry[Any] = Registry().with_resource("urn:document", resource)
    absolute = json.loads(json.dumps(schema).replace('"#/', '"urn:document#/'))
    return [error.message for error in Draft202012Validator(absolute, registry=registry)
            .iter_errors(value)]  # fmt: skip


def test_the_document_is_valid_openapi_3_1() -> None:
    assert DOCUMENT["openapi"] == "3.1.1"
    validate(DOCUMENT)


def test_every_schema_is_valid_json_schema() -> None:
    for schema in SCHEMAS.values():
        Draft202012Validator.check_schema(schema)


def test_the_document_is_made_of_the_operations_alone_and_always_the_same() -> None:
    assert document_text(make_operations()) == document_text(OPERATIONS)
    assert json.loads(document_text(OPERATIONS)) == DOCUMENT
    assert DOCUMENT["servers"][0]["url"] == "/"
    assert "jsonSchemaDialect" not in DOCUMENT


def test_every_operation_is_in_the_document_and_the_reverse() -> None:
    assert set(ENTRIES) == {operation.name for operation in OPERATIONS}
    assert len(ENTRIES) == len(OPERATIONS)


def test_every_rule_of_the_app_is_in_the_document_and_the_reverse() -> None:
    app = Flask(__name__, static_folder=None)
    register(app, None, OPERATIONS)
    rules = {
        (method.lower(), re.sub(r"<(?:[^<>]*:)?([a-z_]+)>", r"{\1}", rule.rule))
        for rule in app.url_map.iter_rules()
        if rule.endpoint not in OUTSIDE
        for method in (rule.methods or set()) - {"HEAD", "OPTIONS"}
    }
    assert rules == {(method, path) for method, path, _ in ENTRIES.values()}


@each_operation
def test_an_operation_is_described(operation: Operation) -> None:
    _method, path, entry = ENTRIES[operation.name]
    assert re.fullmatch("[a-z]+(_[a-z]+)*", entry["operationId"])
    assert entry["summary"]
    assert not entry["summary"].endswith(".")
    assert entry["description"].rstrip().endswith(".")
    assert entry["tags"][0] in {tag["name"] for tag in DOCUMENT["tags"]}
    assert re.findall("{([a-z_]+)}", path) == list(operation.path_ids)
    assert [followed(one)["name"] for one in DOCUMENT["paths"][path].get("parameters", [])] == list(
        operation.path_ids
    )


@each_operation
def test_an_operation_says_its_scope_or_asks_for_no_key(operation: Operation) -> None:
    _, _, entry = ENTRIES[operation.name]
    if operation.scope is None:
        assert entry["security"] == []
        assert not operation.path.startswith("/v1/")
    else:
        assert operation.scope in SCOPES
        assert entry["security"] == [
            {"bearerKey": [operation.scope]},
            {"apiKey": [operation.scope]},
        ]
        assert f"`{operation.scope}`" in entry["description"]


@each_operation
def test_every_refusal_of_an_operation_is_a_described_status(operation: Operation) -> None:
    _, _, entry = ENTRIES[operation.name]
    for problem in {problem_of(kind) for kind in refusals_of(operation)} | {INTERNAL_ERROR}:
        response = followed(entry["responses"][str(problem.status)])
        assert f"urn:burrline:problem:{problem.name}`" in response["description"]
        assert "application/problem+json" in response["content"]
        assert set(problem.header_names) <= set(response["headers"])


@each_operation
def test_every_answer_names_its_headers(operation: Operation) -> None:
    _, _, entry = ENTRIES[operation.name]
    for status, response in entry["responses"].items():
        headers = set(followed(response)["headers"])
        assert "X-Request-Id" in headers
        if status == "201" and operation.location:
            assert "Location" in headers
        if status in ("200", "201") and operation.has_etag:
            assert "ETag" in headers
        if status == "200" and operation.is_list:
            assert "Link" in headers


@each_operation
def test_every_example_fits_its_schema(operation: Operation) -> None:
    _, _, entry = ENTRIES[operation.name]
    contents = list(entry.get("requestBody", {}).get("content", {}).values())
    for response in entry["responses"].values():
        contents += followed(response).get("content", {}).values()
    assert contents
    for content in contents:
        examples = [one["value"] for one in content.get("examples", {}).values()]
        if "example" in content:
            examples.append(content["example"])
        assert examples
        for example in examples:
            if operation.name == "add_runs" and "runs" in example:
                continue  # shows a line that is refused: see the next test
            assert schema_errors(content["schema"], example) == []
    for parameter in entry.get("parameters", []):
        if "example" in parameter:
            assert schema_errors(parameter["schema"], parameter["example"]) == []


@each_operation
def test_an_example_of_a_body_is_taken_by_its_schema(operation: Operation) -> None:
    if operation.takes is not None:
        examples = list(operation.takes_examples.values()) or [operation.takes_example]
        for example in examples:
            operation.takes().load(example)


@each_operation
def test_an_example_answer_is_complete(operation: Operation) -> None:
    """All members, and in the order in which the service writes them."""
    if operation.gives is not None:
        declared = [field.data_key or name for name, field in operation.gives().fields.items()]
        assert list(operation.gives_example) == declared


def test_links_lead_to_operations_and_name_their_parameters() -> None:
    for _, _, entry in ENTRIES.values():
        for response in entry["responses"].values():
            for link in followed(response).get("links", {}).values():
                _, path, _ = ENTRIES[link["operationId"]]
                assert set(link["parameters"]) == set(re.findall("{([a-z_]+)}", path))


def test_what_is_made_can_be_followed() -> None:
    for operation in OPERATIONS:
        if operation.status == 201:
            assert operation.links, operation.name


# --- what validators let pass ---------------------------------------------------------------------


def test_nothing_is_said_in_the_words_of_older_versions() -> None:
    for where, part in walk(DOCUMENT):
        if isinstance(part, dict) and "/example" not in where:
            assert "nullable" not in part, where
            assert not isinstance(part.get("exclusiveMinimum"), bool), where
            assert not ("$ref" in part and "type" in part), where


def properties() -> Iterator[tuple[str, dict[str, Any]]]:
    for name, schema in SCHEMAS.items():
        for member, described in schema.get("properties", {}).items():
            yield f"{name}.{member}", described


def test_every_member_and_schema_is_described() -> None:
    assert [name for name, schema in SCHEMAS.items() if not schema.get("description")] == []
    assert [name for name, member in properties() if not member.get("description")] == []


UNITS = {
    "celsius": "degrees Celsius",
    "fraction": "fraction|0 to 1",
    "grams": "[Gg]rams",
    "joules": "joules",
    "millimetres": "millimetres",
    "seconds": "seconds",
    "watts": "watts",
    "second": "grams per second",
    "rpm": "revolutions per minute",
}


def test_every_number_says_its_unit() -> None:
    for name, member in properties():
        kinds = member.get("type", [])
        unit = UNITS.get(name.rsplit(".", 1)[-1].rsplit("_", 1)[-1])
        if unit is not None and "number" in (kinds if isinstance(kinds, list) else [kinds]):
            assert re.search(unit, member["description"]), f"{name}: {member['description']}"


def test_every_example_of_a_member_fits_it() -> None:
    for name, member in properties():
        for example in member.get("examples", []):
            assert schema_errors(member, example) == [], name


def test_every_text_that_is_sent_is_bounded() -> None:
    taken = {operation.takes.__name__.removesuffix("Schema") for operation in OPERATIONS
             if operation.takes}  # fmt: skip
    seen: set[str] = set()
    waiting = list(taken)
    while waiting:
        name = waiting.pop()
        if name in seen:
            continue
        seen.add(name)
        for _, part in walk(SCHEMAS[name]):
            if isinstance(part, dict) and "$ref" in part:
                waiting.append(part["$ref"].rsplit("/", 1)[-1])
        assert SCHEMAS[name].get("additionalProperties") is False or "oneOf" in SCHEMAS[name]
        for member, described in SCHEMAS[name].get("properties", {}).items():
            kinds = described.get("type", [])
            kinds = kinds if isinstance(kinds, list) else [kinds]
            if "string" in kinds:
                bounds = {"enum", "maxLength", "pattern", "format"} & set(described)
                assert bounds, f"{name}.{member}"
            if "number" in kinds:
                assert "maximum" in described, f"{name}.{member}"
            if "array" in kinds:
                assert "maxItems" in described, f"{name}.{member}"


def test_patterns_are_anchored() -> None:
    for where, part in walk(DOCUMENT):
        if isinstance(part, dict) and isinstance(part.get("pattern"), str):
            pattern = part["pattern"]
            assert pattern.startswith("^"), where
            assert pattern.endswith("$"), where


@pytest.mark.parametrize(
    ("name", "member", "expected"),
    [
        ("RatedDutyInput", "duty_fraction", {"exclusiveMinimum": 0, "maximum": 1.0}),
        ("NewRun", "seconds", {"type": ["number", "null"], "minimum": 0.0, "maximum": 21600.0}),
        ("NewRun", "grams_basis", {"type": "string", "default": "weighed_out"}),
        ("NewRun", "started_at", {"type": ["string", "null"], "format": "date-time"}),
        ("BreakIn", "basis", {"enum": ["measured", "inferred", "expected"]}),
        ("NewKey", "scopes", {"uniqueItems": True, "minItems": 1}),
        ("RunBatch", "runs", {"type": "array", "maxItems": 5000}),
        ("ReadingBatch", "readings", {"type": "array", "maxItems": 5000}),
        ("NewTally", "purpose", {"type": "string", "default": "service"}),
        ("NewCorrection", "grams_factor", {"minimum": 1e-06, "maximum": 1000}),
        ("NewBurrSet", "prior_grams", {"type": ["number", "null"]}),
    ],
)
def test_rules_of_fields_are_in_the_document(
    name: str, member: str, expected: dict[str, Any]
) -> None:
    described = SCHEMAS[name]["properties"][member]
    assert {word: described.get(word) for word in expected} == expected


@pytest.mark.parametrize(
    ("body", "is_taken"),
    [
        ({"grams": 1}, True),
        ({"seconds": 1, "grams": None}, True),
        ({}, False),
        ({"grams": None}, False),
        ({"grams": 1, "started_at": "2026-07-06T08:00:00Z", "age_seconds": 1}, False),
        ({"grams": 1, "started_at": None, "age_seconds": 1}, True),
        ({"grams": 1, "uptime_seconds": 1, "boot_id": "17"}, True),
        ({"grams": 1, "uptime_seconds": 1}, False),
        ({"grams": 1, "uptime_seconds": 1, "boot_id": None}, False),
        ({"grams": 1, "uptime_seconds": 1, "boot_id": "17", "age_seconds": 1}, False),
        ({"grams": 1, "uptime_seconds": None, "age_seconds": 1}, True),
        ({"grams": 1, "boot_id": "17"}, True),
    ],
)
def test_rules_over_several_members_of_a_run_are_in_the_document(
    body: dict[str, Any], is_taken: bool
) -> None:
    whole = {"run_id": "bar-1-000001", "grinder_id": "bar-1", **body}
    assert (schema_errors(SCHEMAS["NewRun"], whole) == []) is is_taken


@pytest.mark.parametrize(
    ("body", "is_taken"),
    [
        ({"geometry": "flat", "prior_grams": None}, True),
        ({"burr_set_id": "a"}, True),
        ({"burr_set_id": "a", "fitted_at": "2026-07-06T08:00:00Z"}, True),
        ({"burr_set_id": "a", "geometry": "flat", "prior_grams": 0}, True),
        ({"burr_set_id": "a", "geometry": "flat"}, False),
        ({"burr_set_id": "a", "serial": "x"}, False),
        ({"fitted_at": "2026-07-06T08:00:00Z"}, False),
        ({}, False),
    ],
)
def test_a_burr_set_to_fit_is_new_or_known_in_code_and_document_alike(
    body: dict[str, Any], is_taken: bool
) -> None:
    (operation,) = (one for one in OPERATIONS if one.name == "fit_burr_set")
    assert operation.takes is not None
    try:
        operation.takes().load(body)
        assert is_taken
    except ValidationError:
        assert not is_taken
    assert (schema_errors(SCHEMAS["BurrSetToFit"], body) == []) is is_taken


READING = {"grinder_id": "bar-1"}
CORRECTION = {"grinder_id": "bar-1", "from": "2026-07-06T08:00:00Z", "reason": "why"}


@pytest.mark.parametrize(
    ("name", "body", "is_taken"),
    [
        ("add_readings", {**READING, "is_running": False}, True),
        ("add_readings", {**READING, "motor_celsius": None, "ambient_celsius": 20}, True),
        ("add_readings", READING, False),
        ("add_readings", {**READING, "motor_celsius": None}, False),
        ("add_readings", {**READING, "motor_celsius": 1, "age_seconds": 1}, True),
        (
            "add_readings",
            {**READING, "motor_celsius": 1, "age_seconds": 1, "at": "2026-07-06T08:00:00Z"},
            False,
        ),
        ("add_readings", {**READING, "motor_celsius": 1, "uptime_seconds": 1}, False),
        (
            "add_readings",
            {**READING, "motor_celsius": 1, "uptime_seconds": 1, "boot_id": "17"},
            True,
        ),
        ("add_readings", {"readings": []}, True),
        ("add_readings", {"readings": [], "motor_celsius": 1}, False),
        ("add_readings", {"readings": [], **READING}, False),
        ("set_period", {"setting": 0}, True),
        ("set_period", {"setting": None, "feed": "hopper"}, True),
        ("add_correction", {**CORRECTION, "grams_offset": 0}, True),
        ("add_correction", {**CORRECTION, "is_void": True}, True),
        ("add_runs", {"runs": [], "watched_from": "2026-07-06T08:00:00Z"}, False),
        ("add_runs", {"runs": [], "watched_grinder_ids": []}, False),
        (
            "add_runs",
            {
                "runs": [],
                "watched_from": "2026-07-06T08:00:00Z",
                "watched_until": "2026-07-06T09:00:00Z",
            },
            True,
        ),
    ],
)
def test_rules_over_several_members_are_the_same_in_code_and_document(
    name: str, body: dict[str, Any], is_taken: bool
) -> None:
    (operation,) = (one for one in OPERATIONS if one.name == name)
    assert operation.takes is not None
    try:
        operation.takes().load(body)
        assert is_taken
    except ValidationError:
        assert not is_taken
    schema = ENTRIES[name][2]["requestBody"]["content"]["application/json"]["schema"]
    assert (schema_errors(schema, body) == []) is is_taken


@pytest.mark.parametrize(
    ("name", "body"),
    [
        ("set_period", {}),
        ("set_period", {"setting": None, "from": "2026-07-06T08:00:00Z"}),
        ("add_correction", CORRECTION),
        ("add_correction", {**CORRECTION, "is_void": False, "grams_offset": None}),
    ],
)
def test_an_entry_that_says_nothing_is_refused_by_the_document_too(
    name: str, body: dict[str, Any]
) -> None:
    schema = ENTRIES[name][2]["requestBody"]["content"]["application/json"]["schema"]
    assert schema_errors(schema, body) != []


def test_the_headers_of_a_devices_clock_are_described_where_they_are_read() -> None:
    for operation in OPERATIONS:
        described = {one["name"] for one in ENTRIES[operation.name][2].get("parameters", [])}
        headers = {"X-Device-Boot", "X-Device-Uptime"}
        expected = headers if operation.name in ("add_run", "add_runs", "add_readings") else set()
        assert described & headers == expected
