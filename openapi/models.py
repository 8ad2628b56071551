"""The SDK's models, rendered from the OpenAPI document.

``generate_models(document)`` gives the text of ``burrline/models.py``: one frozen dataclass per
object that an operation answers, and for the one object that devices build themselves, the run
they send. A list's page is no model (the SDK walks pages by itself), nor is a problem.

One module, though a long one: it is one walk over the document, and build.py has one thing to
import. What it cannot render it refuses with ``ValueError`` naming the place; it never guesses.
"""

from __future__ import annotations

import json
import keyword
import re
import textwrap
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

SENT_BY_DEVICES = ("add_run", "add_readings")
"""Operations whose request body, or the first of its forms, is a model too."""

SUCCESS_MEDIA = ("application/json", "application/health+json")
PAGE_MEMBERS = {"items", "next_cursor"}
INSTANTS = {"from": "from_at", "to": "to_at"}
"""Members whose attribute tells that it is an instant."""
OWN_NAMES = {"extra", "etag", "from_json", "to_json", "field", "datetime"}
WIDTH = 100
REF = "#/components/schemas/"

Schema = Mapping[str, Any]

HEADER = '''\
"""GENERATED from the OpenAPI document by openapi/build.py: do not edit.

What the service answers, as frozen dataclasses. Instants are aware and UTC. Fields this release
does not know are kept in ``extra``; ``etag``, where there is one, is for the next change.
"""

'''


@dataclass(frozen=True)
class Shape:
    """How a schema looks in Python: its annotation and the reader that takes it from JSON."""

    annotation: str
    reader: str
    is_nullable: bool = False


def generate_models(document: Mapping[str, Any]) -> str:
    """The text of the SDK's ``models.py`` for an OpenAPI 3.1 document."""
    return _Generator(document).render()


class _Generator:
    def __init__(self, document: Mapping[str, Any]) -> None:
        self._schemas: Mapping[str, Schema] = document.get("components", {}).get("schemas", {})
        self._document = document
        self._classes: dict[str, str] = {}
        self._waiting: list[tuple[str, Schema]] = []
        self._readers: set[str] = set()
        self._with_etag: set[str] = set()
        self._uses_datetime = self._uses_literal = False

    def render(self) -> str:
        for name, has_etag in self._roots():
            if has_etag:
                self._with_etag.add(name)
            self._want(name, self._component(name))
        while self._waiting:
            name, schema = self._waiting.pop()
            self._classes[name] = self._class(name, schema)
        names = sorted(self._classes)
        parts = [HEADER + self._imports()]
        parts.append("__all__ = [\n" + "".join(f'    "{name}",\n' for name in names) + "]\n")
        text = "\n".join(parts)
        for name in names:
            text += "\n\n" + self._classes[name]
        return text

    def _imports(self) -> str:
        lines = [
            "from __future__ import annotations",
            "",
            "from collections.abc import Mapping",
            "from dataclasses import dataclass, field",
        ]
        if self._uses_datetime:
            lines.append("from datetime import datetime")
        lines.append(f"from typing import Any{', Literal' if self._uses_literal else ''}")
        lines += ["", "from burrline._convert import ("]
        wanted = sorted({"Fields", "Model", *self._readers}, key=lambda one: (one.islower(), one))
        lines += [f"    {name}," for name in wanted]
        return "\n".join([*lines, ")", ""])

    # --- which schemas ---------------------------------------------------------------------

    def _roots(self) -> Iterator[tuple[str, bool]]:
        """Names of the components answered or sent, and whether they come with an ETag."""
        for operation in _operations(self._document):
            for status, response in operation.get("responses", {}).items():
                response = self._resolve_response(response)
                if not str(status).startswith("2"):
                    continue
                has_etag = any(name.lower() == "etag" for name in response.get("headers", {}))
                for media in SUCCESS_MEDIA:
                    schema = response.get("content", {}).get(media, {}).get("schema")
                    if schema is not None:
                        for name in self._names_in(schema):
                            yield name, has_etag
            if operation.get("operationId") in SENT_BY_DEVICES:
                content = operation.get("requestBody", {}).get("content", {})
                sent = content.get("application/json", {}).get("schema", {})
                for name in [*self._names_in(sent)][:1]:
                    yield name, False

    def _names_in(self, schema: Schema) -> Iterator[str]:
        """The components a top schema stands for; a page stands for its items."""
        if "$ref" in schema:
            target = self._component(_ref_name(schema["$ref"]))
            if _is_page(target):
                yield from self._names_in(target["properties"]["items"].get("items", {}))
            elif "properties" in target:
                yield _ref_name(schema["$ref"])
            else:
                yield from self._names_in(target)
        elif _is_page(schema):
            yield from self._names_in(schema["properties"]["items"].get("items", {}))
        elif "properties" in schema:
            raise ValueError(f"an object answered has no name of its own: {json.dumps(schema)}")
        else:
            for one in (*schema.get("anyOf", ()), *schema.get("oneOf", ())):
                yield from self._names_in(one)

    def _component(self, name: str) -> Schema:
        if name not in self._schemas:
            raise ValueError(f"the document has no schema {name!r}")
        return self._schemas[name]

    def _resolve_response(self, response: Schema) -> Schema:
        if "$ref" not in response:
            return response
        name = str(response["$ref"]).removeprefix("#/components/responses/")
        found: Schema = self._document["components"]["responses"][name]
        return found

    def _want(self, name: str, schema: Schema) -> None:
        if name not in self._classes:
            if not name.isidentifier() or keyword.iskeyword(name):
                raise ValueError(f"{name!r} cannot be the name of a class")
            self._classes[name] = ""
            self._waiting.append((name, schema))

    # --- one class -------------------------------------------------------------------------

    def _class(self, name: str, schema: Schema) -> str:
        required = set(schema.get("required", ()))
        missing = required - set(schema["properties"])
        if missing:
            raise ValueError(f"{name} requires {sorted(missing)}, which it does not describe")
        with_etag = name in self._with_etag
        fields: list[str] = []
        reads: list[str] = []
        for member, member_schema in schema["properties"].items():
            is_instant = member_schema.get("format") == "date-time"
            attribute = _attribute(name, INSTANTS.get(member, member) if is_instant else member)
            shape = self._shape(member_schema, f"{name}.{member}")
            is_certain = member in required and not shape.is_nullable
            fields += self._field(attribute, member, shape, member_schema, is_certain)
            verb = "need" if is_certain else "maybe"
            reads += _read(f"{attribute}=fields.{verb}", f'"{member}", {shape.reader}')
        fields.append("extra: Mapping[str, Any] = field(default_factory=dict, repr=False)")
        reads.append("extra=fields.rest(),")
        signature = f'cls, answer: object, where: str = "{name}"'
        if with_etag:
            fields.append("etag: str | None = field(default=None, compare=False, repr=False)")
            reads.append("etag=etag,")
            signature += ", *, etag: str | None = None"
        lines = [
            "@dataclass(frozen=True, slots=True, kw_only=True)",
            f"class {name}(Model):",
            *_indented(_docstring(schema.get("description") or f"{name} as answered.", 4)),
            "",
            *_indented(fields),
            "",
            "    @classmethod",
            *_signature(signature, name),
            '        """Read an answer\'s JSON object; ``ValueError`` names what does not fit."""',
            "        fields = Fields(answer, where)",
            "        return cls(",
            *(f"            {one}" for one in reads),
            "        )",
        ]
        return "\n".join(lines) + "\n"

    def _field(
        self, attribute: str, member: str, shape: Shape, schema: Schema, is_certain: bool
    ) -> list[str]:
        annotation = shape.annotation
        if not is_certain and annotation != "Any":
            annotation = f"{annotation} | None"
        settings = [] if is_certain else ["default=None"]
        if attribute != member:
            settings.append(f'metadata={{"json": "{member}"}}')
        if settings == ["default=None"]:
            value = " = None"
        else:
            value = f" = field({', '.join(settings)})" if settings else ""
        lines = _declaration(attribute, annotation, value)
        description = schema.get("description")
        return lines + (_docstring(description, 4) if description else [])

    # --- types -----------------------------------------------------------------------------

    def _shape(self, schema: Schema, where: str) -> Shape:
        if "$ref" in schema:
            name = _ref_name(schema["$ref"])
            target = self._component(name)
            if "properties" not in target:
                return self._shape(target, where)
            self._want(name, target)
            return Shape(name, f"{name}.from_json", _allows_null(target))
        for union in ("anyOf", "oneOf", "allOf"):
            if union in schema:
                return self._union(schema[union], where)
        if "const" in schema:
            return self._literal([schema["const"]])
        if "enum" in schema:
            return self._literal(schema["enum"])
        kinds = schema.get("type")
        kinds = [kinds] if isinstance(kinds, str) else list(kinds or ())
        is_nullable = "null" in kinds
        kinds = [kind for kind in kinds if kind != "null"]
        if not kinds and not is_nullable and not set(schema) - {"description", "title", "examples"}:
            return self._plain("Any", "anything", False)
        if len(kinds) != 1:
            raise ValueError(f"{where} has no single type: {json.dumps(schema)}")
        return self._typed(kinds[0], schema, where, is_nullable)

    def _typed(self, kind: str, schema: Schema, where: str, is_nullable: bool) -> Shape:
        if kind == "string" and schema.get("format") == "date-time":
            self._uses_datetime = True
            return self._plain("datetime", "instant", is_nullable)
        simple = {
            "string": ("str", "text"),
            "number": ("float", "number"),
            "integer": ("int", "integer"),
            "boolean": ("bool", "flag"),
        }
        if kind in simple:
            return self._plain(*simple[kind], is_nullable)
        if kind == "array":
            item = self._shape(schema.get("items", {}), f"{where}[]")
            annotation, reader = item.annotation, item.reader
            if item.is_nullable:
                annotation, reader = f"{annotation} | None", self._use("nullable", reader)
            return Shape(f"tuple[{annotation}, ...]", self._use("listed", reader), is_nullable)
        if kind != "object":
            raise ValueError(f"{where} has the unknown type {kind!r}")
        if "properties" in schema:
            name = _nested_name(where)
            self._want(name, schema)
            return Shape(name, f"{name}.from_json", is_nullable)
        values = schema.get("additionalProperties", True)
        inner = (
            self._shape(values, f"{where}{{}}")
            if isinstance(values, Mapping)
            else self._plain("Any", "anything", False)
        )
        annotation, reader = inner.annotation, inner.reader
        if inner.is_nullable:
            annotation, reader = f"{annotation} | None", self._use("nullable", reader)
        return Shape(f"Mapping[str, {annotation}]", self._use("mapped", reader), is_nullable)

    def _union(self, members: list[Schema], where: str) -> Shape:
        real = [one for one in members if one.get("type") != "null"]
        if len(real) != 1:
            raise ValueError(f"{where} may be several things: {json.dumps(members)}")
        shape = self._shape(real[0], where)
        is_nullable = shape.is_nullable or len(real) < len(members)
        return Shape(shape.annotation, shape.reader, is_nullable)

    def _literal(self, values: list[Any]) -> Shape:
        self._uses_literal = True
        self._readers.add("choice")
        real = [one for one in values if one is not None]
        inner = ", ".join(json.dumps(one, ensure_ascii=False) for one in real)
        return Shape(f"Literal[{inner}]", "choice", len(real) < len(values))

    def _plain(self, annotation: str, reader: str, is_nullable: bool) -> Shape:
        self._readers.add(reader)
        return Shape(annotation, reader, is_nullable)

    def _use(self, wrapper: str, reader: str) -> str:
        self._readers.add(wrapper)
        return f"{wrapper}({reader})"


def _operations(document: Mapping[str, Any]) -> Iterator[Schema]:
    for path in document.get("paths", {}).values():
        for verb in ("get", "put", "post", "delete", "patch"):
            if verb in path:
                yield path[verb]


def _ref_name(reference: str) -> str:
    if not reference.startswith(REF):
        raise ValueError(f"{reference} is not a schema of this document")
    return reference.removeprefix(REF)


def _is_page(schema: Schema) -> bool:
    return set(schema.get("properties", {})) == PAGE_MEMBERS


def _allows_null(schema: Schema) -> bool:
    kinds = schema.get("type")
    return isinstance(kinds, list) and "null" in kinds


def _attribute(owner: str, member: str) -> str:
    attribute = f"{member}_" if keyword.iskeyword(member) else member
    if not attribute.isidentifier() or attribute in OWN_NAMES or attribute.startswith("_"):
        raise ValueError(f"{owner}.{member} cannot be the name of an attribute")
    return attribute


def _nested_name(where: str) -> str:
    """``Grinder.rated_duty`` -> ``GrinderRatedDuty``."""
    parts = re.split(r"[^A-Za-z0-9]+", where)
    return "".join(part[:1].upper() + part[1:] for part in parts)


def _declaration(attribute: str, annotation: str, value: str) -> list[str]:
    """The field's line, or its lines, broken as the formatter breaks them, where it is long."""
    one_line = f"{attribute}: {annotation}{value}"
    if _fits([one_line]):
        return [one_line]
    bare = annotation.removesuffix(" | None")
    outer, _, inner = bare.removesuffix("]").partition("[")
    split = [f"{outer}[", *(f"    {one}," for one in inner.split(", ")), "]"]
    if value:
        tries = [
            [annotation],
            [*split, *(["| None"] if bare != annotation else [])],
        ]
        forms = [[f"{attribute}: (", *_indented(lines), f"){value}"] for lines in tries]
    else:
        forms = [
            [f"{attribute}: {outer}[", f"    {inner}", "]"],
            [f"{attribute}: {split[0]}", *split[1:]],
        ]
    for lines in forms:
        if _fits(lines):
            return lines
    raise ValueError(f"the type of {attribute} is too long: {annotation}")


def _fits(lines: list[str]) -> bool:
    return all(len(line) + 4 <= WIDTH for line in lines)


def _read(call: str, arguments: str) -> list[str]:
    """How one member is read, on one line where it fits behind its twelve spaces."""
    one_line = f"{call}({arguments}),"
    if len(one_line) + 12 <= WIDTH:
        return [one_line]
    return [f"{call}(", f"    {arguments}", "),"]


def _signature(parameters: str, answers: str) -> list[str]:
    one_line = f"    def from_json({parameters}) -> {answers}:"
    if len(one_line) <= WIDTH:
        return [one_line]
    return ["    def from_json(", f"        {parameters}", f"    ) -> {answers}:"]


def _docstring(text: str, indent: int) -> list[str]:
    """A docstring that cannot end early: back-slashes and quotes in the text are made safe."""
    safe = " ".join(text.split()).replace("\\", "\\\\").replace('"""', "'''")
    if safe.endswith('"'):
        safe = safe[:-1] + "'"
    if len(safe) + 6 + indent <= WIDTH:
        return [f'"""{safe}"""']
    first, *rest = textwrap.wrap(
        safe, WIDTH - indent, initial_indent='"""', break_long_words=False, break_on_hyphens=False
    )
    return [first, *rest, '"""']


def _indented(lines: list[str]) -> list[str]:
    return [f"    {line}" if line else "" for line in lines]
