"""Runs the tests of the spool under several Pythons: those named, else those found on the path.

    python tests/reliability/spool/pythons.py [PYTHON ...]

Each needs requests, responses and pytest; nothing of the service. Says what each one did; fails if
one of them does, or if there is none.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).parent
TESTS = HERE.parents[1]
FILES = (
    TESTS / "fake_time.py",
    TESTS / "spool_scene.py",
    TESTS / "sdk" / "conftest.py",
    TESTS / "sdk" / "test_spool.py",
    TESTS / "sdk" / "test_spool_hard_cases.py",
)
NEEDED = "import sys, pytest, requests, responses; print(sys.version.split()[0])"


def found() -> list[str]:
    """The Pythons on the path that have what is needed."""
    names = (shutil.which(f"python3.{minor}") for minor in range(10, 20))
    return [name for name in names if name is not None and version(name) is not None]


def version(python: str) -> str | None:
    done = subprocess.run([python, "-c", NEEDED], capture_output=True, text=True)
    return done.stdout.strip() if done.returncode == 0 else None


def run(python: str, *arguments: str, folder: Path) -> subprocess.CompletedProcess[str]:
    paths = os.pathsep.join((str(TESTS.parent / "sdk"), str(folder)))
    return subprocess.run(
        [python, *arguments],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": paths, "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
    )


def main() -> int:
    pythons = sys.argv[1:] or found()
    failed = not pythons
    for python in pythons:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            for file in FILES:
                shutil.copy(file, folder)
            tested = run(
                *(python, "-W", "error", "-m", "pytest", "-q", "-W", "error"),
                *("-p", "no:cacheprovider", "--rootdir", str(folder), str(folder)),
                folder=folder,
            )
            points = run(python, "-W", "error", str(HERE / "crash_points.py"), folder=folder)
        told = (tested.stdout.strip().splitlines() or ["?"])[-1]
        told = f"{told}; {points.stdout.strip() or points.stderr.strip()[-300:]}"
        print(f"Python {version(python)}: {told}", flush=True)
        if tested.returncode or points.returncode:
            failed = True
            print(f"{tested.stdout[-6000:]}{tested.stderr[-2000:]}{points.stderr[-2000:]}")
    return int(failed)


if __name__ == "__main__":
    raise SystemExit(main())
