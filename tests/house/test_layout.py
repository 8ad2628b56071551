"""The house stays as it is drawn: few things at the top, short modules, nothing of one machine."""

from __future__ import annotations

import re

import pytest

from source_tree import ROOT, SDK, SERVICE, is_made, project_files, relative

TOP = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "service", "sdk", "tests", "deploy", "openapi",
}  # fmt: skip
LONGEST_MODULE_LINES = 300
GENERATED = '"""GENERATED'
# This list may only shrink.
LONG_MODULES = frozenset({"openapi/models.py"})

# Written in pieces, so that this file does not contain what it looks for.
FORBIDDEN = {
    "a path of one machine": r"/(?:work|farm|root|home/[a-z]+)/|/tmp/[a-z0-9]+/",
    "the host of a package registry": "|".join(
        [r"pypi\." + "org", "python" + "hosted", r"npmjs\." + "com", r"crates\." + "io",
         r"(?:docker|ghcr|quay)\." + "io", r"proxy\." + "golang"]
    ),
    "the story of the work": r"\bseed " + r"document\b|\btran" + r"script\b",
    "a mark that something is left undone": r"\b(?:TO" + r"DO|FIX" + r"ME|XX" + r"X)\b",
}  # fmt: skip


def texts() -> list[tuple[str, str]]:
    found = []
    for path in project_files():
        try:
            found.append((relative(path), path.read_text(encoding="utf-8")))
        except UnicodeDecodeError:
            continue
    return found


def test_the_top_of_the_project_is_the_fixed_list() -> None:
    found = {
        path.name for path in ROOT.iterdir() if not path.name.startswith(".") and not is_made(path)
    }
    assert found == TOP


def test_modules_stay_short() -> None:
    long = set()
    for path in [
        *project_files(SERVICE, "*.py"),
        *project_files(SDK, "*.py"),
        *project_files(ROOT / "openapi", "*.py"),
    ]:
        text = path.read_text(encoding="utf-8")
        if text.count("\n") > LONGEST_MODULE_LINES and not text.startswith(GENERATED):
            long.add(relative(path))
    assert long == LONG_MODULES


@pytest.mark.parametrize("what", FORBIDDEN)
def test_no_file_contains(what: str) -> None:
    pattern = re.compile(FORBIDDEN[what], re.IGNORECASE if "host" in what else 0)
    found = [
        f"{name}:{number}: {line.strip()[:80]}"
        for name, text in texts()
        for number, line in enumerate(text.splitlines(), 1)
        if pattern.search(line)
    ]
    assert found == []
