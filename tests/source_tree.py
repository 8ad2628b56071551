"""The project's own files, parsed: what the house tests look at."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parent.parent
SERVICE = ROOT / "service" / "burrline_service"
SDK = ROOT / "sdk" / "burrline"
MADE_FOLDERS = frozenset({".git", ".venv", ".burrline", "build", "dist", "__pycache__"})


def is_made(path: Path) -> bool:
    """Whether a path was made by a tool and is not part of the project."""
    return any(
        part in MADE_FOLDERS or part.endswith((".egg-info", "_cache")) or part == ".hypothesis"
        for part in path.relative_to(ROOT).parts
    )


def project_files(folder: Path = ROOT, pattern: str = "*") -> list[Path]:
    """Every file of the project below a folder."""
    return sorted(path for path in folder.rglob(pattern) if path.is_file() and not is_made(path))


def relative(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


@cache
def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"), filename=str(path))


def module_name(path: Path) -> str:
    """The dotted name a file is imported by, ``burrline_service.core.duty``."""
    top = SERVICE.parent if path.is_relative_to(SERVICE) else SDK.parent
    parts = list(path.relative_to(top).with_suffix("").parts)
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def functions(
    tree: ast.AST, owner: str = ""
) -> Iterator[tuple[str, ast.FunctionDef | ast.AsyncFunctionDef]]:
    """Every function and method of a module, with its qualified name."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield f"{owner}{node.name}", node
            yield from functions(node, f"{owner}{node.name}.")
        elif isinstance(node, ast.ClassDef):
            yield from functions(node, f"{owner}{node.name}.")
        else:
            yield from functions(node, owner)


def classes(tree: ast.AST) -> Iterator[ast.ClassDef]:
    for node in ast.walk(tree):
        if isinstance(node, ast.ClassDef):
            yield node


def parameters(function: ast.FunctionDef | ast.AsyncFunctionDef) -> list[ast.arg]:
    """The parameters a caller passes, in order; no ``self``, no ``*rest``."""
    arguments = function.args
    every = [*arguments.posonlyargs, *arguments.args, *arguments.kwonlyargs]
    return [argument for argument in every if argument.arg not in {"self", "cls"}]


def imports(path: Path) -> Iterator[tuple[str, int]]:
    """The absolute name of every module a file imports from, with its line."""
    package = module_name(path).split(".")
    if path.name != "__init__.py":
        package = package[:-1]
    for node in ast.walk(parsed(path)):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name, node.lineno
        elif isinstance(node, ast.ImportFrom):
            start = package[: len(package) - node.level + 1] if node.level else []
            base = ".".join([*start, *([node.module] if node.module else [])])
            for alias in node.names:
                yield f"{base}.{alias.name}", node.lineno
