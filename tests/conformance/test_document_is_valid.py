"""The document is OpenAPI 3.1 by an independent validator, and says what a generator needs."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator, Mapping
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from openapi_spec_validator import OpenAPIV31SpecValidator
from referencing import Registry
from referencing.jsonschema import DRAFT202012

from answers import DOCUMENT_NAME, pointer
from source_tree import ROOT

COMMITTED = ROOT / "openapi" / "openapi.json"


def test_the_document_is_valid_openapi_3_1(document: dict[str, Any]) -> None:
    """Against the published JSON Schema of OpenAPI 3.1 and its rules on references."""
    assert document["openapi"].startswith("3.1.")
    assert [str(error) for error in OpenAPIV31SpecValidator(document).iter_errors()] == []


def test_the_committed_file_is_valid_by_the_validators_own_command() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "openapi_spec_validator", str(COMMITTED)],
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_the_validator_finds_a_fault(document: dict[str, Any]) -> None:
    """Else a pass would mean nothing."""
    broken = json.loads(json.dumps(document))
    del broken["paths"]["/v1/sites"]["get"]["responses"]
    broken["paths"]["/v1/fleet"]["get"]["operationId"] = "list_sites"
    assert list(OpenAPIV31SpecValidator(broken).iter_errors())


def _every(value: Any, place: str = "#") -> Iterator[tuple[str, Mapping[str, Any]]]:
    if isinstance(value, dict):
        yield place, value
        for name, inner in value.items():
            if name not in ("example", "examples"):
                yield from _every(inner, f"{place}/{name}")
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from _every(inner, f"{place}/{index}")


def test_nothing_of_openapi_3_0_is_left(document: dict[str, Any]) -> None:
    """The validator lets ``nullable`` and boolean exclusive bounds pass; readers would not."""
    for place, value in _every(document):
        if "properties" in place.rpartition("/")[2]:
            continue  # names of members, not keywords
        assert "nullable" not in value, place
        for word in ("exclusiveMinimum", "exclusiveMaximum"):
            assert not isinstance(value.get(word), bool), place


def test_every_reference_is_used_and_found(document: dict[str, Any]) -> None:
    named = {value["$ref"] for _, value in _every(document) if "$ref" in value}
    there = {
        f"#/components/{kind}/{name}"
        for kind, components in document["components"].items()
        for name in components
        if kind != "securitySchemes"
    }
    assert named - there == set()
    assert there - named == set()


def _examples(document: Mapping[str, Any]) -> Iterator[tuple[str, list[str], Any]]:
    """Every example of a body, with the steps to its schema."""
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            if method == "parameters":
                continue
            bodies = [(["requestBody"], operation.get("requestBody", {}))]
            bodies += [(["responses", s], r) for s, r in operation["responses"].items()]
            for steps, body in bodies:
                for media, content in body.get("content", {}).items():
                    way = ["paths", path, method, *steps, "content", media, "schema"]
                    where = f"{operation['operationId']} {' '.join(steps)}"
                    if "example" in content and media.endswith("json"):
                        yield where, way, content["example"]
                    for name, example in content.get("examples", {}).items():
                        yield f"{where} {name}", way, example["value"]
    for name, response in document["components"]["responses"].items():
        for media, content in response["content"].items():
            way = ["components", "responses", name, "content", media, "schema"]
            yield f"response {name}", way, content["example"]


def test_every_example_is_what_its_schema_says(document: dict[str, Any]) -> None:
    resource = DRAFT202012.create_resource(document)
    registry: Registry[Any] = Registry().with_resource(DOCUMENT_NAME, resource)
    found = list(_examples(document))
    assert len(found) > 30
    for where, way, example in found:
        schema = {"$ref": f"{DOCUMENT_NAME}#{pointer(*way)}"}
        wrong = list(Draft202012Validator(schema, registry=registry).iter_errors(example))
        if where.startswith("add_runs requestBody"):
            assert len(wrong) == 1, "it shows a batch with one bad line"
            continue
        assert [error.message for error in wrong] == [], where


@pytest.mark.parametrize("word", ["description", "operationId", "tags", "summary", "security"])
def test_every_operation_says(document: dict[str, Any], word: str) -> None:
    for path in document["paths"].values():
        for method, operation in path.items():
            assert method == "parameters" or word in operation
