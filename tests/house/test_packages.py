"""What is installed is what was tested, and a wheel holds all that runs."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tomllib
import zipfile
from importlib.metadata import distribution
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

from source_tree import ROOT, SDK, SERVICE, project_files

CONSTRAINTS = ROOT / "deploy" / "constraints.txt"
OURS = {"burrline", "burrline-service"}


def pins() -> dict[str, str]:
    found = {}
    for line in CONSTRAINTS.read_text().splitlines():
        if line and not line.startswith("#"):
            name, equals, version = line.partition("==")
            assert equals, f"{line!r} is no pin"
            found[canonicalize_name(name)] = version
    return found


def declared(extras: set[str]) -> list[Requirement]:
    service = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    sdk = tomllib.loads((ROOT / "sdk" / "pyproject.toml").read_text())["project"]
    texts = [*service["dependencies"], *sdk["dependencies"]]
    for extra in sorted(extras):
        texts += service["optional-dependencies"][extra]
    return [Requirement(text) for text in texts]


def closure() -> dict[str, str]:
    """Every package our requirements bring, with its installed version."""
    found: dict[str, str] = {}
    seen: set[tuple[str, str]] = set()
    waiting = [(requirement, "") for requirement in declared({"test", "demo"})]
    while waiting:
        requirement, extra = waiting.pop()
        name = canonicalize_name(requirement.name)
        if requirement.marker and not requirement.marker.evaluate({"extra": extra}):
            continue
        if name in OURS:
            continue
        for wanted in ["", *requirement.extras]:
            if (name, wanted) not in seen:
                seen.add((name, wanted))
                installed = distribution(name)
                found[name] = installed.version
                waiting += [(Requirement(text), wanted) for text in installed.requires or []]
    return found


def test_every_package_that_is_used_is_pinned_to_the_release_installed_here() -> None:
    assert {name: pins().get(name) for name in closure()} == closure()


def test_no_pin_is_left_of_a_package_nobody_needs() -> None:
    assert set(pins()) - set(closure()) == set()


@pytest.mark.parametrize("requirement", declared({"test", "demo"}), ids=str)
def test_a_declared_range_holds_the_pinned_release(requirement: Requirement) -> None:
    name = canonicalize_name(requirement.name)
    if name in OURS:
        assert not requirement.specifier, "our own SDK comes from beside, in the same command"
    else:
        assert Version(pins()[name]) in requirement.specifier
        assert any(part.operator == ">=" for part in requirement.specifier)


@pytest.mark.parametrize(
    ("project", "package"),
    [(ROOT, SERVICE), (ROOT / "sdk", SDK)],
    ids=["burrline-service", "burrline"],
)
def test_the_wheel_holds_every_file_of_the_package(
    project: Path, package: Path, tmp_path: Path
) -> None:
    copy = tmp_path / "project"
    copy.mkdir()
    for name in ("pyproject.toml", "README.md"):
        shutil.copy(project / name, copy)
    inside = package.relative_to(project)
    shutil.copytree(package, copy / inside, ignore=shutil.ignore_patterns("__pycache__"))
    built = subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "--no-deps", "--no-build-isolation", "--no-index",
         "--wheel-dir", tmp_path, copy],
        capture_output=True,
        text=True,
    )  # fmt: skip
    assert built.returncode == 0, built.stdout + built.stderr
    (wheel,) = tmp_path.glob("*.whl")
    with zipfile.ZipFile(wheel) as opened:
        held = {name for name in opened.namelist() if ".dist-info/" not in name}
    assert held == {path.relative_to(package.parent).as_posix() for path in project_files(package)}
