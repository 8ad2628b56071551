"""What is published from the code is what the code says now."""

from __future__ import annotations

import subprocess
import sys

from source_tree import ROOT


def test_the_generated_files_are_current() -> None:
    found = subprocess.run(
        [sys.executable, ROOT / "openapi" / "build.py", "--check"],
        capture_output=True,
        text=True,
        cwd=ROOT,
        timeout=120,
    )
    assert found.returncode == 0, found.stdout + found.stderr
