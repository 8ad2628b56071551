"""The whole of an account as lines, for another database or for keeping.

Whatever was acknowledged before the export began is in it; what is recorded while it runs may or
may not be. Pages are read in short transactions of their own, so an export holds nobody up.
Keys and the answers kept for repeated requests are not exported: a key's secret is known to its
holder alone, and belongs to one service. Nor is the feed of alerts, whose cursors are of one
service too; the ledger is, so that nobody is called a second time.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime
from functools import partial
from typing import Any, TypeVar

from ..core.records import Caller
from ..store import outgoing, sums
from ..store.database import Database
from ..store.outgoing import ArchivedHours, Places
from ..store.run_rows import run_id_of
from ..store.sums import Sums
from ..store.tables import HOUR_MS
from . import reach
from .export_lines import STREAM_NAMES, Names, Thing, instant_text, purpose_text
from .sealing import sealed

FORMAT_NAME = "burrline-account"
FORMAT_VERSION = 1
PAGE_COUNT = 1000
EARLIEST_HOUR = -1_000_000  # before any run
Item = TypeVar("Item")


def export_account(database: Database, caller: Caller, *, now: datetime) -> Iterator[bytes]:
    """The account as sealed lines; refused at once for a key that does not see all of it."""
    reach.require_unbound(caller, "export the account")
    found = database.read(
        caller.account_no, lambda connection: outgoing.places(connection, caller.account_no)
    )
    return sealed(things(database, caller.account_no, found, now=now))


def things(
    database: Database, account_no: int, places: Places, *, now: datetime
) -> Iterator[Thing]:
    """Everything of an account but its keys, in the order in which it can be put back."""
    names = Names.of(places)
    yield {
        "kind": "header",
        "format": FORMAT_NAME,
        "version": FORMAT_VERSION,
        "exported_at": instant_text(now),
        "left_out": [
            "keys",
            "replies kept for repeated requests",
            "the feed of alerts",
            "webhooks and deliveries",
        ],
    }
    yield from _places(places, names)

    def pages(
        page_of: Callable[..., list[Item]], thing_of: Callable[[Item], Thing | None], key_of: Any
    ) -> Iterator[Thing]:
        after = None
        while True:
            page = database.read(
                account_no,
                partial(page_of, account_no=account_no, after=after, limit=PAGE_COUNT),
            )
            for item in page:
                thing = thing_of(item)
                if thing is not None:  # else of a grinder or device that came after the places
                    yield thing
            if len(page) < PAGE_COUNT:
                return
            after = key_of(page[-1])

    yield from pages(outgoing.entry_rows, names.entry, lambda row: (row.kind, row.entry_id))
    yield from pages(outgoing.alert_rows, names.alert, lambda row: row.entry.alert_id)
    yield from pages(outgoing.watched_rows, names.watched, lambda row: row)
    yield from pages(outgoing.reading_rows, names.reading, lambda row: row.reading_key)
    yield from pages(outgoing.run_rows, names.run, lambda row: row.run_key)
    for grinder_no, grinder_id in names.grinders.items():
        yield from _archived(database, account_no, grinder_no, grinder_id, names)
    yield from pages(outgoing.seen_rows, _seen, lambda row: row[0])


def _places(places: Places, names: Names) -> Iterator[Thing]:
    account = places.account
    yield {
        "kind": "account",
        "account_id": account.account_id,
        "name": account.name,
        "created_at": instant_text(account.created_at),
        "last_no": account.last_no,
    }
    for site in places.sites:
        yield {
            "kind": "site",
            "site_id": site.site_id,
            "created_at": instant_text(site.created_at),
            "revision": site.revision,
            "facts": [
                {"effective_at": instant_text(fact.effective_at), "patch": fact.patch}
                for fact in places.site_facts[site.site_no]
            ],
        }
    for grinder in places.grinders:
        yield {
            "kind": "grinder",
            "grinder_id": grinder.grinder_id,
            "created_at": instant_text(grinder.created_at),
            "revision": grinder.revision,
            "facts": [
                {
                    "effective_at": instant_text(fact.effective_at),
                    "site_id": None if fact.site_no is None else names.sites[fact.site_no],
                    "patch": fact.patch,
                }
                for fact in places.grinder_facts[grinder.grinder_no]
            ],
            "state": names.state(places.states.get(grinder.grinder_no)),
        }
    for burr_set in places.burr_sets:
        yield {
            "kind": "burr_set",
            "burr_set_id": burr_set.burr_set_id,
            "created_at": instant_text(burr_set.created_at),
            "revision": burr_set.revision,
            "description": burr_set.description,
            "fittings": [
                {
                    "grinder_id": names.grinders[fitting.grinder_no],
                    "fitted_at": instant_text(fitting.fitted_at),
                    "removed_at": instant_text(fitting.removed_at),
                }
                for fitting in places.fittings[burr_set.burr_set_no]
            ],
            "voided_at": instant_text(burr_set.voided_at),
        }
    for name in places.sources.values():
        yield {"kind": "source", "name": name}
    for setting in places.alert_settings:
        yield names.alert_setting(setting)


def _archived(
    database: Database, account_no: int, grinder_no: int, grinder_id: str, names: Names
) -> Iterator[Thing]:
    """Sums of runs that retention moved: what the hours hold beyond the runs still there."""
    from_hour = EARLIEST_HOUR
    while True:
        page = database.read(
            account_no,
            partial(
                outgoing.archived_hours,
                account_no=account_no,
                grinder_no=grinder_no,
                from_hour=from_hour,
                limit=PAGE_COUNT,
            ),
        )
        if page is None:
            return
        yield _hours(page, grinder_id, names)
        if page.is_last:
            return
        from_hour = page.to_hour


def _hours(page: ArchivedHours, grinder_id: str, names: Names) -> Thing:
    beyond = dict(page.sums)
    for row in page.kept:
        key = (row.started_ms // HOUR_MS, row.purpose)
        beyond[key] = beyond.get(key, Sums()).plus(sums.of_run(row), -1)
    return {
        "kind": "archived_hours",
        "grinder_id": grinder_id,
        "archived_before": instant_text(page.archived_before),
        "from_hour": page.from_hour,
        "to_hour": page.to_hour,
        "names": list(Sums._fields),
        "sums": [
            [hour, purpose_text(purpose), *counted]
            for (hour, purpose), counted in sorted(beyond.items())
            if counted != Sums()
        ],
        "stream_names": list(STREAM_NAMES),
        "stream": names.stream(page.cells),
        "kept_runs": sorted([run_id_of(row), row.part] for row in page.kept),
    }


def _seen(row: tuple[bytes, bytes]) -> Thing:
    return {"kind": "archived_run", "run_key": row[0].hex(), "fingerprint": row[1].hex()}
