"""The generator of the models, on a small document of a lighthouse keeper's log."""

from __future__ import annotations

import copy
import importlib.util
import json
import subprocess
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from source_tree import ROOT


def _load(name: str, path: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


generate_models = _load("generator_of_models", ROOT / "openapi" / "models.py").generate_models

LAMP: dict[str, Any] = {
    "type": "object",
    "description": 'A lamp. Its "colour" is what ships see; a path such as C:\\lamps is kept.',
    "required": [
        "lamp_id",
        "colour",
        "from",
        "hours",
        "lit_at",
        "is_lit",
        "keeper",
        "parts",
        "weather",
    ],
    "properties": {
        "lamp_id": {"type": "string", "description": "Its id."},
        "colour": {"type": "string", "enum": ["white", "red", "green"]},
        "spare_colour": {"type": ["string", "null"], "enum": ["white", "red", None]},
        "from": {"type": "string", "description": "Where it came from."},
        "hours": {"type": "number", "description": "How long it burned. " + "Long text. " * 12},
        "winding_count": {"type": ["integer", "null"]},
        "lit_at": {"type": ["string", "null"], "format": "date-time"},
        "is_lit": {"type": "boolean"},
        "keeper": {"anyOf": [{"$ref": "#/components/schemas/Keeper"}, {"type": "null"}]},
        "deputy": {"$ref": "#/components/schemas/Keeper", "description": 'Says """aye""".'},
        "parts": {"type": "array", "items": {"type": ["number", "null"]}},
        "keepers": {"type": "array", "items": {"$ref": "#/components/schemas/Keeper"}},
        "notes": {"type": "object", "additionalProperties": {"type": "string"}},
        "loose": {"type": "object"},
        "anything": {},
        "mirror": {"type": "object", "properties": {"silver_grams": {"type": "number"}}},
        "weather": {
            "type": "string",
            "enum": ["calm", "breeze", "gale", "storm", "hurricane", "fog", "rain", "snow", "hail"],
        },
        "swell": {
            "type": ["string", "null"],
            "enum": [
                "none",
                "low",
                "moderate",
                "heavy",
                "very heavy",
                "confused",
                "breaking",
                None,
            ],
        },
    },
}
DOCUMENT: dict[str, Any] = {
    "openapi": "3.1.1",
    "paths": {
        "/lamps": {
            "get": {
                "operationId": "list_lamps",
                "responses": {
                    "200": {
                        "content": {
                            "application/json": {
                                "schema": {"$ref": "#/components/schemas/LampPage"}
                            }
                        }
                    },
                    "404": {
                        "content": {
                            "application/json": {"schema": {"$ref": "#/components/schemas/Problem"}}
                        }
                    },
                },
            },
            "post": {
                "operationId": "create_keeper",
                "requestBody": {
                    "content": {
                        "application/json": {"schema": {"$ref": "#/components/schemas/NewKeeper"}}
                    }
                },
                "responses": {"201": {"$ref": "#/components/responses/Made"}},
            },
        }
    },
    "components": {
        "responses": {
            "Made": {
                "headers": {"ETag": {"schema": {"type": "string"}}},
                "content": {
                    "application/json": {"schema": {"$ref": "#/components/schemas/Keeper"}}
                },
            }
        },
        "schemas": {
            "Lamp": LAMP,
            "Keeper": {
                "type": "object",
                "required": ["name"],
                "properties": {"name": {"type": "string"}},
            },
            "NewKeeper": {"type": "object", "properties": {"name": {"type": "string"}}},
            "Problem": {"type": "object", "properties": {"title": {"type": "string"}}},
            "LampPage": {
                "type": "object",
                "properties": {
                    "items": {"type": "array", "items": {"$ref": "#/components/schemas/Lamp"}},
                    "next_cursor": {"type": ["string", "null"]},
                },
            },
        },
    },
}
ANSWER: dict[str, Any] = {
    "lamp_id": "north",
    "colour": "red",
    "spare_colour": None,
    "from": "Ostrand",
    "hours": 7,
    "winding_count": 3,
    "lit_at": "2026-03-01T08:30:00.000Z",
    "is_lit": True,
    "keeper": {"name": "Ida", "boots": 2},
    "deputy": {"name": "Per"},
    "parts": [1.5, None],
    "keepers": [{"name": "Ida"}, {"name": "Per"}],
    "notes": {"monday": "fog"},
    "loose": {"a": [1]},
    "anything": [1, "two"],
    "mirror": {"silver_grams": 12.5},
    "swell": None,
    "weather": "gale",
    "horn": "loud",
}


def changed(**properties: Any) -> dict[str, Any]:
    document = copy.deepcopy(DOCUMENT)
    document["components"]["schemas"]["Lamp"]["properties"].update(properties)
    return document


@pytest.fixture
def made(tmp_path: Path) -> ModuleType:
    path = tmp_path / "lamp_models.py"
    path.write_text(generate_models(DOCUMENT))
    return _load("lamp_models", path)


def test_what_is_answered_becomes_a_class_and_nothing_else_does(made: ModuleType) -> None:
    assert made.__all__ == ["Keeper", "Lamp", "LampMirror"]


def test_an_answer_is_read_into_nested_typed_models(made: ModuleType) -> None:
    lamp = made.Lamp.from_json(ANSWER)
    assert lamp.from_ == "Ostrand"
    assert lamp.hours == 7.0
    assert isinstance(lamp.hours, float)
    assert lamp.lit_at.isoformat() == "2026-03-01T08:30:00+00:00"
    assert lamp.keeper == made.Keeper(name="Ida", extra={"boots": 2})
    assert lamp.parts == (1.5, None)
    assert lamp.keepers == (made.Keeper(name="Ida"), made.Keeper(name="Per"))
    assert lamp.mirror.silver_grams == 12.5
    assert lamp.extra == {"horn": "loud"}
    assert json.loads(json.dumps(lamp.to_json())) == ANSWER


def test_what_may_be_absent_or_null_is_none(made: ModuleType) -> None:
    needed = {
        name: value
        for name, value in ANSWER.items()
        if name in LAMP["required"] and name not in ("lit_at", "keeper")
    }
    lamp = made.Lamp.from_json(needed)
    assert (lamp.lit_at, lamp.keeper, lamp.deputy, lamp.mirror) == (None, None, None, None)
    for name in needed:
        with pytest.raises(ValueError, match=rf"Lamp\.{name} is missing"):
            made.Lamp.from_json({key: value for key, value in needed.items() if key != name})


def test_only_what_is_answered_with_an_etag_holds_one(made: ModuleType) -> None:
    assert made.Keeper.from_json({"name": "Ida"}, etag='"r1"').etag == '"r1"'
    assert "etag" not in made.Lamp.__slots__


def test_descriptions_become_docstrings_that_cannot_end_early(made: ModuleType) -> None:
    assert made.Lamp.__doc__ == LAMP["description"]
    assert "'''aye'''" in generate_models(DOCUMENT)


def test_the_same_document_gives_the_same_text_in_any_process() -> None:
    assert generate_models(copy.deepcopy(DOCUMENT)) == generate_models(DOCUMENT)
    script = (
        "import json, sys; sys.path.insert(0, sys.argv[1]); from models import generate_models; "
        "sys.stdout.write(generate_models(json.load(sys.stdin)))"
    )
    texts = {
        subprocess.run(
            [sys.executable, "-c", script, str(ROOT / "openapi")],
            input=json.dumps(DOCUMENT),
            capture_output=True,
            text=True,
            check=True,
            env={"PYTHONHASHSEED": seed},
        ).stdout
        for seed in ("1", "2")
    }
    assert texts == {generate_models(DOCUMENT)}


def test_the_text_is_marked_typed_formatted_and_without_lint(tmp_path: Path) -> None:
    path = tmp_path / "lamp_models.py"
    path.write_text(generate_models(DOCUMENT))
    assert path.read_text().startswith('"""GENERATED ')
    for command in (
        ["mypy", "--strict", "--no-incremental", "--config-file=", str(path)],
        ["ruff", "check", "--isolated", "--line-length=100", "--select=E,F,I,UP,B,RUF", str(path)],
        ["ruff", "format", "--isolated", "--line-length=100", "--check", str(path)],
    ):
        found = subprocess.run(
            [sys.executable, "-m", *command],
            capture_output=True,
            text=True,
            cwd=tmp_path,
            env={"MYPYPATH": str(ROOT / "sdk"), "PATH": "/usr/bin:/bin"},
        )
        assert found.returncode == 0, found.stdout + found.stderr


@pytest.mark.parametrize(
    ("properties", "says"),
    [
        ({"x": {"oneOf": [{"type": "string"}, {"type": "number"}]}}, "may be several things"),
        ({"x": {"type": ["string", "number"]}}, "has no single type"),
        ({"x": {"type": "tuple"}}, "unknown type"),
        ({"x": {"$ref": "#/components/schemas/Nowhere"}}, "no schema 'Nowhere'"),
        ({"x": {"$ref": "other.json#/Lamp"}}, "not a schema of this document"),
        ({"x y": {"type": "string"}}, "cannot be the name of an attribute"),
        ({"extra": {"type": "string"}}, "cannot be the name of an attribute"),
        ({"field": {"type": "string"}}, "cannot be the name of an attribute"),
    ],
)
def test_what_cannot_be_rendered_is_refused_not_guessed(
    properties: dict[str, Any], says: str
) -> None:
    with pytest.raises(ValueError, match=says):
        generate_models(changed(**properties))


def test_a_required_member_that_is_not_described_is_refused() -> None:
    document = copy.deepcopy(DOCUMENT)
    document["components"]["schemas"]["Keeper"]["required"] = ["name", "rank"]
    with pytest.raises(ValueError, match=r"Keeper requires \['rank'\]"):
        generate_models(document)
