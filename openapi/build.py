"""Write openapi/openapi.json and the SDK's models from the operations; ``--check`` only compares.

python openapi/build.py [--check]
"""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "service"), str(ROOT / "openapi")]

from burrline_service.api import make_operations  # noqa: E402
from burrline_service.api.document import document_text, make_document  # noqa: E402


def wanted() -> dict[Path, str]:
    """Each generated file and what it should hold."""
    operations = make_operations()
    files = {ROOT / "openapi" / "openapi.json": document_text(operations)}
    if (ROOT / "openapi" / "models.py").exists():
        from models import generate_models

        files[ROOT / "sdk" / "burrline" / "models.py"] = generate_models(make_document(operations))
    return files


def main(arguments: list[str]) -> int:
    if arguments not in ([], ["--check"]):
        print(__doc__, file=sys.stderr)
        return 64
    stale = [
        path
        for path, text in wanted().items()
        if not path.exists() or path.read_text(encoding="utf-8") != text
    ]
    if arguments:
        for path in stale:
            print(f"{path.relative_to(ROOT)} is not what the operations say", file=sys.stderr)
        return 1 if stale else 0
    for path, text in wanted().items():
        if path in stale:
            path.write_text(text, encoding="utf-8")
            print(f"wrote {path.relative_to(ROOT)}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
