"""Whether the service can do its work right now."""

from __future__ import annotations

from ..core.errors import Refusal
from ..store import accounts
from ..store.database import Database
from ..store.schema import check_schema

PASS = "pass"


def readiness(database: Database) -> dict[str, str]:
    """Each check by name: ``pass``, or in a sentence what is wrong."""
    checks: dict[str, str] = {}
    try:
        database.read(None, accounts.all_of_them)
        checks["database"] = PASS
    except Refusal as refusal:
        checks["database"] = str(refusal)
    try:
        check_schema(database.url)
        checks["schema"] = PASS
    except Refusal as refusal:
        checks["schema"] = str(refusal)
    return checks
