"""A public core function says what it computes, from what, in which units, and who says so."""

from __future__ import annotations

import ast
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from every_case import try_each
from source_tree import SERVICE, functions, module_name, parameters, parsed, project_files

SECTIONS = ("Parameters", "Returns", "Raises", "Valid", "Source", "Examples")

# Records, refusals, rules about them and words compute nothing. This list may only shrink.
NOT_NUMERIC = frozenset(
    {
        "__init__",
        "alert_records",
        "records",
        "webhook_records",
        "run_columns",
        "answers",
        "entered",
        "errors",
        "grind_answers",
        "calibration_answers",
        "nameplate",
        "particles_records",
        "plausible",
        "burrs",
        "sentences",
        "motor_answers",
        "motor_words",
    }
)

Function = ast.FunctionDef | ast.AsyncFunctionDef
CORE_MODULES = project_files(SERVICE / "core", "*.py")
PUBLIC = [
    (f"{module_name(path)}.{name}", function)
    for path in CORE_MODULES
    if path.stem not in NOT_NUMERIC
    for name, function in functions(parsed(path))
    if not any(part.startswith("_") for part in name.split("."))
]


def sections(docstring: str) -> dict[str, str]:
    """The underlined sections of a docstring, in order, with their text."""
    found = re.split(r"^(\w+)\n-{3,}\n", docstring, flags=re.MULTILINE)
    return {"": found[0], **dict(zip(found[1::2], found[2::2], strict=True))}


def docstring_of(function: Function) -> str:
    docstring = ast.get_docstring(function)
    assert docstring is not None, "no docstring"
    return docstring


def test_every_module_that_computes_is_looked_at() -> None:
    assert {path.stem for path in CORE_MODULES} >= NOT_NUMERIC
    looked_at = {name.split(".")[2] for name, _ in PUBLIC}
    assert looked_at == {path.stem for path in CORE_MODULES} - NOT_NUMERIC


def a_docstring_begins_with_one_sentence_and_an_equation(function: Function) -> None:
    head = sections(docstring_of(function))[""].strip()
    sentence, _, rest = head.partition("\n\n")
    assert sentence.endswith("."), "the first paragraph is no sentence"
    assert "\n" not in sentence, "the first sentence is longer than its line"
    assert re.search(r"``.+``", rest, re.DOTALL), "no equation or rule in ``...`` after it"
    assert rest.isascii(), "the equation is not plain ASCII"


def a_docstrings_sections_are_complete_and_in_order(function: Function) -> None:
    found = [name for name in sections(docstring_of(function)) if name]
    needed = {"Returns", "Source", "Examples"}
    if parameters(function):
        needed.add("Parameters")
    if any(isinstance(node, ast.Raise) for node in ast.walk(function)):
        needed.add("Raises")
    assert needed <= set(found)
    assert found == [name for name in SECTIONS if name in found]


def the_signature_is_what_the_parameters_section_names(function: Function) -> None:
    described: list[str] = []
    for line in sections(docstring_of(function)).get("Parameters", "").splitlines():
        if line and not line[0].isspace():
            names, colon, kind = line.partition(" : ")
            assert colon, f"{line!r} names no type"
            assert kind.strip(), f"{line!r} names no type"
            described += [name.strip() for name in names.split(",")]
    assert described == [argument.arg for argument in parameters(function)]


def the_source_is_a_document_or_says_that_there_is_none(function: Function) -> None:
    source = sections(docstring_of(function))["Source"].strip()
    document = (
        r"\b(IEC|ISO|RFC|ASTM|NIST|IANA|IEEE|POSIX|tz database|Standard Webhooks|CloudEvents"
        r"|OpenMetrics)\b"
    )
    own = r"(?i:derived here|made here|defined here|our choice|definition|convention)"
    unsourced = r"(?i:common practice, no source|from memory)"
    another_function = r"\A``\w+``"
    assert re.search(f"{document}|{own}|{unsourced}|{another_function}", source), source


def the_examples_run(function: Function) -> None:
    assert re.search(r"^>>> .+\n(?!>>>)\S", sections(docstring_of(function))["Examples"], re.M), (
        "no example with an answer"
    )


@pytest.mark.parametrize(
    "holds",
    [
        a_docstring_begins_with_one_sentence_and_an_equation,
        a_docstrings_sections_are_complete_and_in_order,
        the_signature_is_what_the_parameters_section_names,
        the_source_is_a_document_or_says_that_there_is_none,
        the_examples_run,
    ],
)
def test_of_every_public_function(holds: Callable[[Function], None]) -> None:
    try_each(PUBLIC, lambda named: holds(named[1]), name=lambda named: named[0])


def test_no_function_of_the_core_prints_reads_the_clock_or_opens_anything() -> None:
    forbidden_calls = {"print", "open", "input", "now", "utcnow", "today", "getenv", "getLogger"}
    found: list[tuple[Path, int, str]] = []
    for path in CORE_MODULES:
        for node in ast.walk(parsed(path)):
            if isinstance(node, ast.Call):
                called = node.func
                name = (
                    called.attr if isinstance(called, ast.Attribute) else getattr(called, "id", "")
                )
                if name in forbidden_calls:
                    found.append((path, node.lineno, name))
    assert found == []
