"""The OpenAPI 3.1 document, made from the operations alone: no database, no app."""

from __future__ import annotations

import inspect
import json
from typing import Any

from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin
from marshmallow import Schema, fields

from .. import __version__
from .batches import LARGEST_BATCH_COUNT, Lines
from .document_parts import (
    DESCRIPTION,
    HEADERS,
    SECURITY_SCHEMES,
    TAGS,
    header_parameters,
    header_references,
    path_parameters,
    problem_responses,
    reference,
)
from .document_webhooks import document_webhooks
from .field_rules import FIELD_RULES
from .operation import JSON, NDJSON, Operation, refusals_of
from .problems import INTERNAL_ERROR, problem_of
from .schemas_common import ProblemSchema


def make_document(operations: tuple[Operation, ...]) -> dict[str, Any]:
    """The document of these operations, as JSON values."""
    return _Writer(operations).document()


def document_text(operations: tuple[Operation, ...]) -> str:
    """The document as it is committed and served."""
    return json.dumps(make_document(operations), indent=2, ensure_ascii=False) + "\n"


def _component_name(schema: Any) -> str:
    kind = schema if isinstance(schema, type) else type(schema)
    return kind.__name__.removesuffix("Schema")


def _lines(converter: Any, field: fields.Field[Any], ret: dict[str, Any]) -> dict[str, Any]:
    if isinstance(field, Lines):
        items = converter.resolve_nested_schema(field.line)
        return {"type": "array", "items": items, "maxItems": LARGEST_BATCH_COUNT}
    return {}


class _Writer:
    def __init__(self, operations: tuple[Operation, ...]) -> None:
        self.operations = operations
        self.plugin = MarshmallowPlugin(schema_name_resolver=_component_name)
        self.spec = APISpec(
            title="burrline",
            version=__version__,
            openapi_version="3.1.1",
            plugins=[self.plugin],
            info={
                "summary": "Runs of coffee grinders in, their state out.",
                "description": DESCRIPTION,
            },
            servers=[{"url": "/", "description": "The service that served this document."}],
            tags=[{"name": name, "description": text} for name, text in TAGS.items()],
        )
        converter: Any = self.plugin.converter
        self.converter = converter
        for rule in (*FIELD_RULES, _lines):
            self.converter.add_attribute_function(rule)
        self.responses: dict[str, Any] = {}

    def document(self) -> dict[str, Any]:
        self._schema(ProblemSchema)
        paths: dict[str, dict[str, Any]] = {}
        for operation in self.operations:
            entry = paths.setdefault(operation.open_api_path, {})
            if operation.path_ids and not entry:
                entry["parameters"] = [reference("parameters", name) for name in operation.path_ids]
            entry[operation.method.lower()] = self._operation(operation)
        self._complete_schemas()
        written = self.spec.to_dict()
        components = written["components"]
        components["responses"] = dict(sorted(self.responses.items()))
        components["parameters"] = path_parameters()
        components["headers"] = HEADERS
        components["securitySchemes"] = SECURITY_SCHEMES
        components["schemas"] = dict(sorted(components["schemas"].items()))
        written["paths"] = paths
        written["webhooks"] = document_webhooks()
        order = ("openapi", "info", "servers", "tags", "paths", "webhooks", "components")
        document = {name: written[name] for name in order}
        # Through text once: what is served, committed and compared is made of the same values.
        plain: dict[str, Any] = json.loads(json.dumps(document))
        return plain

    def _operation(self, operation: Operation) -> dict[str, Any]:
        entry: dict[str, Any] = {
            "operationId": operation.name,
            "tags": [operation.tag],
            "summary": operation.summary,
            "description": operation.description,
        }
        if operation.scope is None:
            entry["security"] = []
        else:
            entry["description"] += f"\n\nNeeds the scope `{operation.scope}`."
            entry["security"] = [{name: [operation.scope]} for name in SECURITY_SCHEMES]
        parameters = self._query(operation) + header_parameters(operation)
        if parameters:
            entry["parameters"] = parameters
        if operation.takes is not None:
            entry["requestBody"] = self._request_body(operation)
        entry["responses"] = self._responses(operation)
        return entry

    def _query(self, operation: Operation) -> list[dict[str, Any]]:
        if operation.query is None:
            return []
        parameters = []
        for name, field in operation.query().fields.items():
            schema = self.converter.field2property(field)
            parameter: dict[str, Any] = {"name": field.data_key or name, "in": "query"}
            parameter["required"] = field.required
            parameter["description"] = schema.pop("description")
            examples = schema.pop("examples", None)
            if examples:
                parameter["example"] = examples[0]
            parameters.append({**parameter, "schema": schema})
        return parameters

    def _request_body(self, operation: Operation) -> dict[str, Any]:
        assert operation.takes is not None
        content: dict[str, Any] = {"schema": self._schema(operation.takes)}
        if operation.takes_examples:
            content["examples"] = {
                name: {"value": value} for name, value in operation.takes_examples.items()
            }
        else:
            content["example"] = operation.takes_example
        return {
            "required": True,
            # one media type per body, the first: client generators stumble over two
            "content": {operation.takes_media[0]: dict(content)},
        }

    def _responses(self, operation: Operation) -> dict[str, Any]:
        found: dict[str, Any] = {}
        statuses = operation.statuses or {operation.status: self._meaning(operation)}
        for status, meaning in statuses.items():
            found[str(status)] = self._success(operation, status, meaning)
        is_cacheable = operation.has_etag or (_is_fixed(operation) and operation.method == "GET")
        if is_cacheable and operation.method == "GET":
            found["304"] = {
                "description": "Not changed since the revision named by If-None-Match.",
                "headers": header_references("ETag", "X-Request-Id"),
            }
        problems = {problem_of(kind) for kind in refusals_of(operation)} | {INTERNAL_ERROR}
        for status, name, response in problem_responses(problems):
            self.responses[name] = response
            found[str(status)] = reference("responses", name)
        return dict(sorted(found.items()))

    def _meaning(self, operation: Operation) -> str:
        if operation.gives is None:
            return operation.summary + "."
        return _first_paragraph(operation.gives)

    def _success(self, operation: Operation, status: int, meaning: str) -> dict[str, Any]:
        names = ["X-Request-Id"]
        if operation.has_etag or _is_fixed(operation):
            names.append("ETag")
        if operation.is_list:
            names.append("Link")
        if operation.location is not None and status == 201:
            names.append("Location")
        if operation.is_replayable:
            names.append("Idempotency-Replayed")
        response: dict[str, Any] = {
            "description": meaning,
            "headers": header_references(*sorted(names)),
            "content": self._content(operation, status),
        }
        if operation.may_ask_to_wait:
            response["headers"]["Retry-After"] = reference("headers", "Come-Again")
        if operation.links and status < 300:
            response["links"] = {
                link.operation: {
                    "operationId": link.operation,
                    "parameters": dict(link.parameters),
                }
                for link in operation.links
            }
        return response

    def _content(self, operation: Operation, status: int) -> dict[str, Any]:
        if operation.gives_lines is None or operation.gives is not None:
            content = {operation.gives_media: self._whole(operation, status)}
        else:
            content = {}
        for media, example in operation.lines_examples.items():
            schema: dict[str, Any] = {"type": "string"}
            if media == NDJSON:  # OpenAPI 3.1 can describe its lines as an array only
                assert operation.gives_lines is not None
                schema = {"type": "array", "items": self._schema(operation.gives_lines)}
            content[media] = {"schema": schema, "example": example}
        return content

    def _whole(self, operation: Operation, status: int) -> dict[str, Any]:
        schema: dict[str, Any] = (
            self._schema(operation.gives)
            if operation.gives is not None
            else {"type": "object" if operation.gives_media == JSON else "string"}
        )
        example = operation.gives_example
        if status == 200 and 201 in operation.statuses and "outcome" in example:
            example = {**example, "outcome": "duplicate"}
        return {"schema": schema, "example": example}

    def _schema(self, schema: type[Schema]) -> dict[str, Any]:
        found: dict[str, Any] = self.converter.resolve_nested_schema(schema)
        return found

    def _complete_schemas(self) -> None:
        """Add what apispec does not know: descriptions, and rules over several members."""
        done: set[str] = set()
        while len(done) < len(self.converter.refs):  # completing one may add others
            for key, name in list(self.converter.refs.items()):
                if name in done:
                    continue
                done.add(name)
                component = self.spec.components.schemas[name]
                extra = dict(getattr(key[0], "document", {}))
                choices = extra.pop("one_of", None)
                if choices is not None:
                    component.clear()
                    component["oneOf"] = [self._schema(choice) for choice in choices]
                component["description"] = _first_paragraph(key[0])
                component.update(extra)


def _is_fixed(operation: Operation) -> bool:
    """Whether the answer is the same until the next release."""
    return operation.is_open and operation.gives is None and operation.gives_lines is None


def _first_paragraph(kind: type) -> str:
    return " ".join(inspect.cleandoc(kind.__doc__ or "").split("\n\n")[0].split())
