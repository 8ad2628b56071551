"""The check that holds answers to the document finds what it is there to find."""

from __future__ import annotations

import json
from typing import Any

import pytest

from answers import AnswerCheck, AnswerWrong

PROBLEM_CONTENT = {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}}
DOCUMENT: dict[str, Any] = {
    "openapi": "3.1.1",
    "paths": {
        "/v1/cups/{cup_id}": {
            "get": {
                "responses": {
                    "200": {
                        "headers": {"ETag": {"required": True, "schema": {"type": "string"}}},
                        "content": {
                            "application/json": {"schema": {"$ref": "#/components/schemas/Cup"}}
                        },
                    },
                    "304": {},
                    "404": {"$ref": "#/components/responses/Refused"},
                }
            }
        },
        "/v1/cups/newest": {"get": {"responses": {"204": {}}}},
    },
    "components": {
        "responses": {"Refused": {"content": PROBLEM_CONTENT}},
        "schemas": {
            "Cup": {
                "type": "object",
                "required": ["filled_at"],
                "properties": {
                    "filled_at": {"type": "string", "format": "date-time"},
                    "grams": {"type": ["number", "null"]},
                },
                "additionalProperties": False,
            },
            "Problem": {
                "type": "object",
                "required": ["type", "title", "status"],
                "properties": {"status": {"type": "integer"}},
            },
        },
    },
}
JSON = {"Content-Type": "application/json", "X-Request-Id": "abcdefgh", "ETag": '"r1"'}
PROBLEM = {"Content-Type": "application/problem+json", "X-Request-Id": "abcdefgh"}
CUP = {"filled_at": "2026-03-02T08:00:00Z", "grams": 18.2}
REFUSED = {"type": "about:blank", "title": "Not Found", "status": 404}


def check(path: str, status: int, headers: dict[str, str], content: Any) -> None:
    body = b"" if content is None else json.dumps(content).encode()
    AnswerCheck(DOCUMENT).check("GET", path, status, headers, body)


@pytest.mark.parametrize(
    ("path", "status", "headers", "content"),
    [
        ("/v1/cups/a", 200, JSON, CUP),
        ("/v1/cups/a", 404, PROBLEM, REFUSED),
        ("/v1/cups/a", 304, {"X-Request-Id": "abcdefgh"}, None),
        ("/v1/cups/newest", 204, {"X-Request-Id": "abcdefgh"}, None),
        ("/nowhere", 404, PROBLEM, REFUSED),
        ("/", 200, {**JSON, "Content-Type": "text/html; charset=utf-8"}, "page"),
    ],
)
def test_a_described_answer_passes(
    path: str, status: int, headers: dict[str, str], content: Any
) -> None:
    check(path, status, headers, content)


@pytest.mark.parametrize(
    ("path", "status", "headers", "content", "complaint"),
    [
        ("/v1/cups/a", 201, JSON, CUP, "the document names"),
        ("/v1/cups/a", 200, {**JSON, "Content-Type": "text/html"}, CUP, "text/html"),
        ("/v1/cups/a", 200, {"Content-Type": "application/json"}, CUP, "X-Request-Id"),
        ("/v1/cups/a", 200, PROBLEM | {"Content-Type": "application/json"}, CUP, "no ETag"),
        ("/v1/cups/a", 200, JSON, {"grams": 1}, "filled_at"),
        ("/v1/cups/a", 200, JSON, {**CUP, "grams": "18"}, "grams"),
        ("/v1/cups/a", 200, JSON, {**CUP, "secret": 1}, "secret"),
        ("/v1/cups/a", 200, JSON, {"filled_at": "yesterday"}, "date-time"),
        ("/v1/cups/a", 200, JSON, {"filled_at": "2026-03-02T08:00:00"}, "date-time"),
        ("/v1/cups/a", 200, JSON, {**CUP, "grams": float("nan")}, "NaN"),
        ("/v1/cups/a", 404, JSON, REFUSED, "application/problem"),
        ("/nowhere", 404, JSON, REFUSED, "instead of application/problem"),
        ("/v1/cups/a", 404, PROBLEM, {**REFUSED, "status": 400}, "status 400"),
        ("/v1/cups/newest", 204, {"X-Request-Id": "abcdefgh"}, CUP, "a body"),
        ("/nowhere", 200, JSON, CUP, "does not name"),
        ("/nowhere", 404, PROBLEM, {"status": 404}, "title"),
    ],
)
def test_an_answer_the_document_does_not_describe_is_found(
    path: str, status: int, headers: dict[str, str], content: Any, complaint: str
) -> None:
    with pytest.raises(AnswerWrong, match=complaint):
        check(path, status, headers, content)
