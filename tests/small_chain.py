"""An invented café with a few grinders, and runs for them: where store and action tests begin."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, replace
from datetime import UTC, datetime, timedelta
from itertools import count
from typing import Any

from burrline_service.actions import admin, burrs, ingest, places, report
from burrline_service.core.answers import Status
from burrline_service.core.errors import Refusal
from burrline_service.core.records import (
    BurrSet,
    Caller,
    Grinder,
    Run,
    RunOutcome,
    Site,
)
from burrline_service.store.database import Database

OPENED_AT = datetime(2026, 1, 5, 6, 0, tzinfo=UTC)
NOW = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
SECOND, MINUTE, HOUR, DAY = (
    timedelta(seconds=1),
    timedelta(minutes=1),
    timedelta(hours=1),
    timedelta(days=1),
)
_account_nos = count(1)


def new_account(database: Database) -> Caller:
    """The owner of an account nobody has used yet, so that one database serves many examples."""
    account_id = f"chain-{next(_account_nos)}"
    admin.create_account(database, account_id=account_id, name=None, now=OPENED_AT)
    return admin.owner(database, account_id=account_id, now=OPENED_AT)


def new_chain(database: Database, *grinder_ids: str, **plate: Any) -> Caller:
    """A new account with the site ``mill-lane`` and these grinders (``bar-1`` when none)."""
    caller = new_account(database)
    make_site(database, caller)
    for grinder_id in grinder_ids or ("bar-1",):
        make_grinder(database, caller, grinder_id, **plate)
    return caller


def make_site(
    database: Database,
    caller: Caller,
    site_id: str = "mill-lane",
    *,
    time_zone: str = "Europe/Dublin",
) -> Site:
    fields = {"site_id": site_id, "name": site_id.title(), "time_zone": time_zone}
    return places.create_site(database, caller, fields=fields, now=OPENED_AT)


def make_grinder(
    database: Database,
    caller: Caller,
    grinder_id: str = "bar-1",
    *,
    site_id: str = "mill-lane",
    **plate: Any,
) -> Grinder:
    fields = {"grinder_id": grinder_id, "site_id": site_id, "name": grinder_id, **plate}
    return places.create_grinder(database, caller, fields=fields, now=OPENED_AT)


def fit(
    database: Database,
    caller: Caller,
    grinder_id: str,
    burr_set_id: str,
    at: datetime,
    *,
    is_new: bool = True,
    now: datetime = NOW,
    **description: Any,
) -> BurrSet:
    """Fit a new flat set with nothing through it, or a known one."""
    fields: dict[str, Any] = {"burr_set_id": burr_set_id, "fitted_at": at, **description}
    if is_new:
        fields = {"geometry": "flat", "prior_grams": 0.0, **fields}
    return burrs.fit_burr_set(database, caller, grinder_id=grinder_id, fields=fields, now=now)


def a_run(number: int, at: datetime | None = None, **fields: Any) -> Run:
    """Run ``run-<number>`` of ``bar-1``: 18 g in 8 s, unless said otherwise."""
    given = {"grinder_id": "bar-1", "seconds": 8.0, "grams": 18.0, **fields}
    return Run(run_id=f"run-{number:08d}", started_at=at, **given)


def send(
    database: Database, caller: Caller, runs: Sequence[Run], *, now: datetime = NOW
) -> list[str]:
    """Send runs in one batch; the outcome of each, or the name of its refusal."""
    return [_word(outcome) for outcome in ingest.add_runs(database, caller, runs=runs, now=now)]


def _word(outcome: RunOutcome | Refusal) -> str:
    return outcome.outcome if isinstance(outcome, RunOutcome) else type(outcome).__name__


def status(
    database: Database,
    caller: Caller,
    grinder_id: str = "bar-1",
    *,
    as_of: datetime | None = None,
    now: datetime = NOW,
) -> Status:
    return report.get_status(database, caller, grinder_id=grinder_id, as_of=as_of, now=now)


def status_text(found: Status) -> str:
    """A status as text, to be compared to the last byte; its revision counts what was sent."""
    return json.dumps(asdict(replace(found, revision=0)), default=str)
