"""Imports point left, and a room reaches only the outside packages that are its own business.

Which room may know which is written in pyproject.toml and checked by import-linter; here stands
what it cannot say: a room's whole list of outside packages, and what is loaded at run time.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from every_case import try_each
from source_tree import ROOT, SDK, SERVICE, imports, project_files, relative

OUTSIDE_PACKAGES = {
    "core": {"numpy"},
    "store": {"alembic", "numpy", "psycopg", "sqlalchemy"},
    "sender": set(),
    "actions": set(),
    "api": {"apispec", "flask", "flask_swagger_ui", "marshmallow", "werkzeug"},
    "pages": {"flask", "jinja2", "markupsafe", "werkzeug"},
    "demo": {"burrline", "requests"},
    "settings": {"sqlalchemy"},  # it reads database URLs
    "journal": set(),
    "app": {"flask"},
    "worker": set(),
    "work_health": set(),
    "server": {"flask", "gunicorn"},
    "commands": set(),
    "__main__": set(),
}
OWN_ROOMS = {
    "core": {"core"},
    "store": {"store", "core"},
    "sender": {"sender", "core"},
    "actions": {"actions", "store", "sender", "core"},
    "api": {
        "api",
        "actions",
        "core.alert_records",
        "core.alert_settings",
        "core.records",
        "core.run_columns",
        "core.answers",
        "core.motor_answers",
        "core.entered",
        "core.errors",
        "core.particles_records",
        "core.cloud_events",
        "core.open_metrics",
        "core.webhook_records",
    },
    "pages": {"pages", "actions", "core.records", "core.answers", "core.errors"},
    "demo": {"demo"},
    "settings": {"settings", "core.public_addresses"},
    "app": {"app", "api", "pages", "actions", "store", "sender", "core", "settings"},
    "journal": {"journal"},
    "worker": {"worker", "actions", "store", "sender", "core", "settings"},
    "server": {"server"},
    "work_health": {"work_health"},
    "commands": {
        "commands",
        "app",
        "worker",
        "work_health",
        "server",
        "journal",
        "api",
        "actions",
        "store",
        "core",
        "settings",
        "demo",
    },
    "__main__": {"__main__", "commands", "core.errors", "core.records", "settings"},
}
CLOCKS_FILES_AND_DICE = {
    "asyncio", "io", "logging", "os", "pathlib", "random", "secrets", "shutil", "socket",
    "sqlite3", "subprocess", "tempfile", "threading", "time", "uuid",
}  # fmt: skip

SERVICE_FILES = [path for path in project_files(SERVICE, "*.py") if path != SERVICE / "__init__.py"]


def room_of(path: Path) -> str:
    first = path.relative_to(SERVICE).parts[0]
    return first.removesuffix(".py")


def test_every_room_has_its_rules() -> None:
    assert {room_of(path) for path in project_files(SERVICE, "*.py")} - {"__init__"} == set(
        OUTSIDE_PACKAGES
    )
    assert set(OWN_ROOMS) == set(OUTSIDE_PACKAGES)


def test_a_room_imports_only_what_is_its_own_business() -> None:
    try_each(SERVICE_FILES, check_imports, name=relative)


def check_imports(path: Path) -> None:
    room = room_of(path)
    wrong = []
    for name, line in imports(path):
        package, _, rest = name.partition(".")
        if package == "burrline_service":
            reached = rest in {"", "__version__"} or any(
                f"{rest}.".startswith(f"{own}.") for own in OWN_ROOMS[room]
            )
        elif package in sys.stdlib_module_names:
            reached = room != "core" or package not in CLOCKS_FILES_AND_DICE
        else:
            reached = package in OUTSIDE_PACKAGES[room]
        if not reached:
            wrong.append(f"line {line}: {name}")
    assert wrong == []


# What an extra of the SDK brings, and the only module that may need it.
OF_EXTRAS = {"mqtt.py": {"paho"}}


def test_the_sdk_imports_the_standard_library_and_requests() -> None:
    try_each(project_files(SDK, "*.py"), check_imports_of_the_sdk, name=relative)


def check_imports_of_the_sdk(path: Path) -> None:
    packages = {name.partition(".")[0] for name, _ in imports(path)}
    allowed = {"burrline", "requests", *OF_EXTRAS.get(path.name, ())}
    assert packages - sys.stdlib_module_names - allowed == set()


def test_the_sdk_and_its_command_line_load_nothing_of_an_extra() -> None:
    found = run_python("import sys, burrline.cli; assert 'paho' not in sys.modules")
    assert found.returncode == 0, found.stderr


def test_the_contracts_of_import_linter_are_kept() -> None:
    found = run_python("from importlinter.cli import lint_imports_command as run; run()")
    assert found.returncode == 0, found.stdout + found.stderr


@pytest.mark.parametrize(
    ("module", "unwanted"),
    [
        (
            "burrline_service.app",
            {"alembic", "numpy", "scipy", "requests", "burrline", "pytest", "hypothesis"},
        ),
        ("burrline_service.worker", {"scipy", "requests", "burrline", "marshmallow"}),
        ("burrline_service.actions", {"flask", "marshmallow", "apispec", "scipy"}),
        ("burrline_service.sender", {"sqlalchemy", "flask", "requests", "urllib3", "numpy"}),
        ("burrline_service.store", {"flask", "marshmallow", "apispec", "scipy"}),
        ("burrline_service.core", {"sqlalchemy", "flask", "marshmallow", "scipy", "sqlite3"}),
        ("burrline_service.demo", {"sqlalchemy", "flask", "marshmallow", "numpy", "scipy"}),
        ("burrline", {"burrline_service", "sqlalchemy", "flask", "marshmallow", "numpy"}),
    ],
)
def test_importing_a_room_with_all_its_modules_loads_nothing_foreign(
    module: str, unwanted: set[str]
) -> None:
    everything = (
        f"import importlib, pkgutil, sys, {module} as room\n"
        "for found in pkgutil.walk_packages(getattr(room, '__path__', []), room.__name__ + '.'):\n"
        "    if not found.name.endswith('__main__') and '.migrations' not in found.name:\n"
        "        importlib.import_module(found.name)\n"
        "print(*sorted({name.partition('.')[0] for name in sys.modules}))\n"
    )
    found = run_python(everything)
    assert found.returncode == 0, found.stderr
    assert unwanted & set(found.stdout.split()) == set()


def run_python(text: str) -> subprocess.CompletedProcess[str]:
    """Run a few lines in a fresh interpreter, at the project's top."""
    return subprocess.run(
        [sys.executable, "-c", text],
        capture_output=True,
        text=True,
        cwd=ROOT,
        env=dict(os.environ),
        timeout=120,
    )
