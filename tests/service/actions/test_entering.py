"""Two who enter something under one id at the same time: the second one meets the first."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from burrline_service.actions.entries import add_tallies, add_tally
from burrline_service.actions.places import create_grinder, create_site
from burrline_service.core.errors import AlreadyExists
from burrline_service.core.records import Caller
from burrline_service.store import entries
from burrline_service.store.database import Database

NOW = datetime(2026, 3, 2, 8, tzinfo=UTC)


def tally(grinder_id: str) -> dict[str, Any]:
    day = {"from_at": datetime(2026, 2, 1, tzinfo=UTC), "to_at": datetime(2026, 2, 2, tzinfo=UTC)}
    told = {"grams": 1000.0, "basis": "target"}
    return {"tally_id": "day-2026-02-01", "grinder_id": grinder_id, **day, **told}


# another grinder's row is another lock: only the id is in the way. SQLite has one writer at a time.
@pytest.mark.parametrize("database_kind", ["postgresql"])
@pytest.mark.parametrize("is_of_many", [True, False])
def test_an_id_taken_after_it_was_looked_for_is_in_conflict(
    database: Database, caller: Caller, monkeypatch: pytest.MonkeyPatch, is_of_many: bool
) -> None:
    site = {"site_id": "mill", "name": "Mill", "time_zone": "UTC"}
    create_site(database, caller, fields=site, now=NOW)
    for name in ("bar-1", "bar-2"):
        fields = {"grinder_id": name, "name": name, "site_id": "mill"}
        create_grinder(database, caller, fields=fields, now=NOW)
    looking = "by_ids" if is_of_many else "by_id"
    look = getattr(entries, looking)

    def looked(*arguments: Any) -> Any:
        found = look(*arguments)
        monkeypatch.undo()
        add_tally(database, caller, fields=tally("bar-2"), now=NOW)
        return found

    monkeypatch.setattr(entries, looking, looked)
    if is_of_many:
        (outcome,) = add_tallies(database, caller, sent=[tally("bar-1")], now=NOW)
        assert getattr(outcome, "outcome", None) == "conflict"
    else:
        with pytest.raises(AlreadyExists):
            add_tally(database, caller, fields=tally("bar-1"), now=NOW)
