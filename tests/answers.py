"""Every answer is held to the OpenAPI document: status, headers, media type and body.

``AnswerCheck(document).check(...)`` raises ``AnswerWrong`` with what is wrong. ``CheckedClient``
does it for each answer of a Flask test client; a live service's answers go the same way.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from functools import partial
from typing import Any

import jsonschema_rs
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator, FormatChecker
from referencing import Registry
from referencing.jsonschema import DRAFT202012

DOCUMENT_NAME = "urn:burrline:document"
FORMATS = ("date", "date-time", "uuid")
PROBLEM = "application/problem+json"
BODILESS_STATUSES = (204, 304)
# what web servers hand out beside the API and the document therefore does not describe
PAGE_TYPES = (
    "text/html",
    "text/css",
    "text/javascript",
    "image/svg+xml",
    "image/png",
    "text/plain",
)


class AnswerWrong(AssertionError):
    """An answer the document does not describe."""


def pointer(*steps: str) -> str:
    """A JSON pointer (RFC 6901) as a URI fragment's text."""
    escaped = (step.replace("~", "~0").replace("/", "~1") for step in steps)
    return "/" + "/".join(_percent_encoded(step) for step in escaped)


def _percent_encoded(step: str) -> str:
    return step.replace("%", "%25").replace("{", "%7B").replace("}", "%7D").replace(" ", "%20")


class AnswerCheck:
    """The document, made ready to hold answers to it."""

    def __init__(self, document: Mapping[str, Any]) -> None:
        self.document = document
        resource = DRAFT202012.create_resource(dict(document))
        self.registry: Registry[Any] = Registry().with_resource(DOCUMENT_NAME, resource)
        self.formats = FormatChecker(FORMATS)
        self.quick_registry = jsonschema_rs.Registry([(DOCUMENT_NAME, dict(document))])
        self.quick: dict[tuple[str, ...], jsonschema_rs.Draft202012Validator] = {}
        self.paths = sorted(
            ((_path_pattern(path), path) for path in document["paths"]),
            key=lambda pair: pair[1].count("{"),  # a literal segment wins over a parameter
        )
        self.checked_count = 0

    def operation(self, method: str, path: str) -> tuple[str, dict[str, Any]] | None:
        """The path template and operation that answer a request; None when there is none."""
        for pattern, template in self.paths:
            if pattern.fullmatch(path):
                found = self.document["paths"][template].get(method.lower())
                if found is None and method == "HEAD":
                    found = self.document["paths"][template].get("get")
                return None if found is None else (template, found)
        return None

    def check(
        self, method: str, path: str, status: int, headers: Mapping[str, str], body: bytes
    ) -> None:
        """Raise ``AnswerWrong`` unless the document describes this answer."""
        self.checked_count += 1
        where = f"{method} {path} -> {status}"
        fields = {name.lower(): value for name, value in headers.items()}
        media_type = fields.get("content-type", "").partition(";")[0].strip().lower()
        if "x-request-id" not in fields:
            raise AnswerWrong(f"{where}: no X-Request-Id")
        found = self.operation(method, path)
        if found is None:
            self._check_outside(where, status, media_type, body, method)
            return
        template, operation = found
        method_name = (
            method.lower() if method.lower() in self.document["paths"][template] else "get"
        )
        steps = ["paths", template, method_name, "responses"]
        name = _response_name(operation["responses"], status)
        if name is None:
            raise AnswerWrong(f"{where}: the document names {sorted(operation['responses'])}")
        steps.append(name)
        described = operation["responses"][name]
        if "$ref" in described:
            steps = described["$ref"].removeprefix("#/").split("/")
            described = self._at(steps)
        for header, description in described.get("headers", {}).items():
            description = self._followed(description)
            if description.get("required") and header.lower() not in fields:
                raise AnswerWrong(f"{where}: no {header}")
        content = described.get("content", {})
        if method == "HEAD" or status in BODILESS_STATUSES:
            if body:
                raise AnswerWrong(f"{where}: a body of {len(body)} bytes where none may be")
            return
        if not content:
            if body:
                raise AnswerWrong(f"{where}: a body the document does not describe")
            return
        if media_type not in content:
            raise AnswerWrong(f"{where}: {media_type!r}; the document names {sorted(content)}")
        if "schema" in content[media_type] and media_type.endswith(("/json", "+json")):
            self._check_body(
                where, [*steps, "content", media_type, "schema"], body, status, media_type
            )

    def _check_outside(
        self, where: str, status: int, media_type: str, body: bytes, method: str
    ) -> None:
        """An answer of no described operation: a page, a redirect to one, or a problem."""
        if status == 401 and media_type == "text/html":  # a page that asks to sign in
            return
        if status >= 400:
            if media_type != PROBLEM:
                raise AnswerWrong(f"{where}: {media_type or 'no media type'} instead of {PROBLEM}")
            if method != "HEAD":
                self._check_body(
                    where, ["components", "schemas", "Problem"], body, status, media_type
                )
        elif media_type not in PAGE_TYPES and status not in BODILESS_STATUSES:
            raise AnswerWrong(f"{where}: {media_type!r} from a path the document does not name")

    def _check_body(
        self, where: str, steps: list[str], body: bytes, status: int, media_type: str
    ) -> None:
        try:
            content = json.loads(body, parse_constant=_refuse_constant)
        except ValueError as error:
            raise AnswerWrong(f"{where}: not JSON ({error}): {body[:200]!r}") from None
        if not self._quickly(steps).is_valid(content):
            lines = "\n".join(self._complaints(steps, content)[:10])
            raise AnswerWrong(f"{where}: the body is not what the document says\n{lines}")
        if media_type == PROBLEM and content.get("status") != status:
            raise AnswerWrong(f"{where}: the problem says status {content.get('status')!r}")

    def _quickly(self, steps: list[str]) -> jsonschema_rs.Draft202012Validator:
        """A compiled validator, which takes a hundredth of the other one's time."""
        made = self.quick.get(tuple(steps))
        if made is None:
            made = jsonschema_rs.Draft202012Validator(
                {"$ref": f"{DOCUMENT_NAME}#{pointer(*steps)}"},
                registry=self.quick_registry,
                validate_formats=True,
                formats={name: partial(self.formats.conforms, format=name) for name in FORMATS},
            )
            self.quick[tuple(steps)] = made
        return made

    def _complaints(self, steps: list[str], content: Any) -> list[str]:
        """What is wrong, in the words of the validator that says it best."""
        validator = Draft202012Validator(
            {"$ref": f"{DOCUMENT_NAME}#{pointer(*steps)}"},
            registry=self.registry,
            format_checker=self.formats,
        )
        wrong = sorted(validator.iter_errors(content), key=lambda error: error.json_path)
        if wrong:
            return [f"  {error.json_path}: {error.message}" for error in wrong]
        return [f"  {error}" for error in self._quickly(steps).iter_errors(content)]

    def _at(self, steps: list[str]) -> dict[str, Any]:
        here: Any = self.document
        for step in steps:
            here = here[step]
        found: dict[str, Any] = here
        return found

    def _followed(self, described: dict[str, Any]) -> dict[str, Any]:
        if "$ref" in described:
            return self._at(described["$ref"].removeprefix("#/").split("/"))
        return described


def _refuse_constant(name: str) -> None:
    raise ValueError(f"{name} is not JSON (RFC 8259)")


def _path_pattern(template: str) -> re.Pattern[str]:
    parts = re.split(r"\{[^}]*\}", template)
    return re.compile("[^/]+".join(re.escape(part) for part in parts))


def _response_name(responses: Mapping[str, Any], status: int) -> str | None:
    for name in (str(status), f"{status // 100}XX", "default"):
        if name in responses:
            return name
    return None


class CheckedClient(FlaskClient):
    """A test client whose every answer is held to the document."""

    answer_check: AnswerCheck
    key: str | None = None  # sent as a bearer when the test sends no Authorization itself

    def open(self, *args: Any, **kwargs: Any) -> Any:
        if self.key is not None and args and isinstance(args[0], str):
            headers = dict(kwargs.pop("headers", None) or {})
            names = {name.lower() for name in headers}
            if not names & {"authorization", "x-api-key"}:
                headers["Authorization"] = f"Bearer {self.key}"
            kwargs["headers"] = headers
        answer = super().open(*args, **kwargs)
        self.answer_check.check(
            answer.request.method,
            answer.request.path,
            answer.status_code,
            dict(answer.headers),
            answer.get_data(),
        )
        return answer
