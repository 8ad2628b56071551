"""Two accounts in one database, with the same and with different ids; and all its rows.

Account *lantern* has ``own`` objects and ``bey`` ones (beyond what its bound keys see). Account
*harbour* has objects of the same ids as lantern's ``own`` (twins), and ``far`` ones that only it
has. Nobody has ``nil``.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import cached_property, partial
from itertools import count
from typing import Any

import psycopg
from flask import Flask

from answers import AnswerCheck, CheckedClient
from apps import quick_app
from burrline_service.actions import access, admin, entries
from burrline_service.actions.alert_events import alert_event
from burrline_service.api.operation import Operation
from burrline_service.core.alert_records import ALERT_CLOSED, ALERT_OPENED
from burrline_service.core.ledger import Entry
from burrline_service.core.records import Caller
from burrline_service.settings import read_settings
from burrline_service.store import alerts, events, grinders
from burrline_service.store.alerts import AlertRow
from burrline_service.store.database import Connection, Database
from burrline_service.store.tables import MEMO_TABLES, metadata
from burrline_service.store.types import to_milliseconds
from databases import MadeDatabase
from doors.valid_requests import NOW, RECEIVER, Ids, instant, new_checkpoint, request_of, url_of
from told import a_webhook, an_event, tell

OWN, BEYOND, FAR, ABSENT = (Ids.named(word) for word in ("own", "bey", "far", "nil"))
# What is voided once is not voided again: each kind of key gets its own set to void.
SPARE_SETS = ("account", "site", "grinder")
Rows = Mapping[str, list[tuple[Any, ...]]]


@dataclass
class _Seen:
    """What the last look at the rows found; it holds until something moves."""

    moved: Any = None
    marks: Any = None
    rows: Rows | None = None


@dataclass
class Scene:
    """The app, its two accounts, their keys; and a look at every row behind it."""

    app: Flask
    database: Database
    answer_check: AnswerCheck
    all_rows_url: str
    serials: Any = field(default_factory=lambda: count(1))
    secrets: list[str] = field(default_factory=list)
    _made_once: dict[str, str] = field(default_factory=dict)
    _seen: _Seen = field(default_factory=_Seen)

    def __post_init__(self) -> None:
        if self.database.is_sqlite:
            path = self.all_rows_url.removeprefix("sqlite:///")
            self._looking: Any = sqlite3.connect(path, isolation_level=None)
        else:
            self._looking = psycopg.connect(self.all_rows_url, autocommit=True)
        self.lantern = self._account("lantern")
        self.harbour = self._account("harbour")
        self._everything = self._statements()
        self._of_harbour = self._statements(f"WHERE account_no = {self.harbour.account_no}")
        self.key, self.other_key = self.make_key(), self.make_key(self.harbour)
        for account, key in ((self.lantern, self.key), (self.harbour, self.other_key)):
            client = self.client(key)
            for ids in (OWN, BEYOND if account is self.lantern else FAR):
                self._furnish(client, account, ids)
        self.site_key = self.make_key(site_ids=[OWN.site_id])
        self.grinder_key = self.make_key(grinder_ids=[OWN.grinder_id])
        # keys to be revoked, one within each bound and one beyond both, and in the other account
        self.spare_key_ids = {
            "account": access.key_id_of(self.make_key()),
            "site": access.key_id_of(self.make_key(site_ids=[OWN.site_id])),
            "grinder": access.key_id_of(self.make_key(grinder_ids=[OWN.grinder_id])),
            "beyond": access.key_id_of(self.make_key(site_ids=[BEYOND.site_id])),
            "far": access.key_id_of(self.make_key(self.harbour)),
        }

    def _account(self, account_id: str) -> Caller:
        admin.create_account(self.database, account_id=account_id, name=None, now=NOW)
        return admin.owner(self.database, account_id=account_id, now=NOW)

    def _furnish(self, client: CheckedClient, account: Caller, ids: Ids) -> None:
        """One of each kind, and two of what a grinder has several of; also of its alerts."""
        bodies: list[tuple[str, dict[str, Any]]] = [
            ("/v1/sites", {"site_id": ids.site_id, "name": "Quay", "time_zone": "Europe/Lisbon"}),
            (
                "/v1/grinders",
                {"grinder_id": ids.grinder_id, "site_id": ids.site_id, "name": "Bar left"},
            ),
        ]
        for burr_set_id, days in (
            (ids.burr_set_id, 40),
            (f"{ids.burr_set_id}-2", 30),
            (ids.spare_burr_set_id, 39),
            *((f"{ids.spare_burr_set_id}-{key}", 38 - n) for n, key in enumerate(SPARE_SETS)),
        ):
            bodies.append(
                (
                    f"/v1/grinders/{ids.grinder_id}/burr-sets",
                    {
                        "burr_set_id": burr_set_id,
                        "geometry": "flat",
                        "prior_grams": 0,
                        "fitted_at": instant(NOW - timedelta(days=days)),
                    },
                )
            )
        for run_id, minutes, seconds in (
            (ids.run_id, 90, 8),
            (f"{ids.run_id}-2", 60, 8),
            (f"{ids.run_id}-3", 300, 700),  # past ten minutes: an alert each
            (f"{ids.run_id}-4", 240, 700),
        ):
            bodies.append(
                (
                    "/v1/runs",
                    {
                        "run_id": run_id,
                        "grinder_id": ids.grinder_id,
                        "started_at": instant(NOW - timedelta(minutes=minutes)),
                        "seconds": seconds,
                        "grams": 18.5,
                    },
                )
            )
        ages = (("", timedelta(days=3)), ("-2", timedelta(days=2)))
        for more, age in ages:
            bodies += self._entries(ids, more, instant(NOW - age))
        for path, body in bodies:
            made = client.post(path, json=body)
            assert made.status_code == (200 if path == "/v1/readings" else 201), made.text
        for more, age in ages:
            self._enter_with_made_ids(account, ids, more, NOW - age)
        self.database.write(account.account_no, partial(self._notice, account=account, ids=ids))
        self._add_webhooks(account, ids)

    @staticmethod
    def _notice(connection: Connection, *, account: Caller, ids: Ids) -> None:
        """The first of the two long runs was told of, under an id of ours."""
        found = grinders.by_id(connection, account.account_no, ids.grinder_id, as_of=NOW)
        assert found is not None
        began_ms = to_milliseconds(NOW - timedelta(minutes=300))
        entry = Entry(ids.alert_id, "long_run", "caution", began_ms + 600_000, began_ms + 700_000)
        alerts.add(connection, account.account_no, [AlertRow(entry, found.grinder_no, NOW)])
        told = alert_event(
            ALERT_OPENED,
            entry,
            found,
            noticed_at=NOW,
            is_late=False,
            is_held=False,
            reason=None,
            event_id=ids.alert_id,
        )
        events.add(connection, account.account_no, [told], now=NOW)

    def _add_webhooks(self, account: Caller, ids: Ids) -> None:
        """Two webhooks with a delivery each, and those that are there to be deleted."""
        spares = [ids.spare_webhook_id, *(f"{ids.spare_webhook_id}-{key}" for key in SPARE_SETS)]
        for number, webhook_id in enumerate([ids.webhook_id, f"{ids.webhook_id}-2", *spares]):
            a_webhook(
                self.database,
                account,
                NOW,
                url=RECEIVER,
                webhook_id=webhook_id,
                grinder_ids=[ids.grinder_id],
                types=[ALERT_OPENED if number < 2 else ALERT_CLOSED],
            )
        events = [
            an_event(number, NOW, event_id=f"{ids.event_id}{more}", grinder_id=ids.grinder_id)
            for number, more in ((1, ""), (2, "-2"))
        ]
        tell(self.database, account, *events, now=NOW)

    @staticmethod
    def _entries(ids: Ids, more: str, at: str) -> list[tuple[str, dict[str, Any]]]:
        """A reading and what people enter under ids they choose, at an instant."""
        return [
            (
                "/v1/readings",
                {
                    "reading_id": ids.reading_id + more,
                    "grinder_id": ids.grinder_id,
                    "at": at,
                    "motor_celsius": 41.5,
                },
            ),
            (
                "/v1/tallies",
                {
                    "tally_id": ids.tally_id + more,
                    "grinder_id": ids.grinder_id,
                    "from": at,
                    "to": instant(NOW - timedelta(days=1)),
                    "grams": 900,
                    "basis": "estimated",
                },
            ),
            (
                f"/v1/grinders/{ids.grinder_id}/care",
                {"care_id": ids.care_id + more, "at": at, "task": "cleaning"},
            ),
            (
                f"/v1/grinders/{ids.grinder_id}/checkpoints",
                {
                    **new_checkpoint(ids, 0),
                    "checkpoint_id": ids.checkpoint_id + more,
                    "ground_at": at,
                },
            ),
        ]

    def _enter_with_made_ids(self, account: Caller, ids: Ids, more: str, at: datetime) -> None:
        """What gets its id from the service, under ids of ours all the same."""
        begin = {"from_at": at, "to_at": None}
        entries.set_period(
            self.database,
            account,
            grinder_id=ids.grinder_id,
            fields={**begin, "period_id": ids.period_id + more, "setting": 4.8},
            now=NOW,
        )
        entries.add_correction(
            self.database,
            account,
            fields={
                **begin,
                "correction_id": ids.correction_id + more,
                "grinder_id": ids.grinder_id,
                "grams_factor": 1.04,
                "reason": "the scale weighs light",
            },
            now=NOW,
        )

    def make_key(self, of: Caller | None = None, **fields: Any) -> str:
        """The secret of a new key of lantern (or another account's owner)."""
        _, secret = access.create_key(
            self.database,
            of or self.lantern,
            **{"name": "matrix", "scopes": None, **fields},
            now=NOW,
        )
        self.secrets.append(secret)
        return secret

    def once(self, name: str, make: Callable[[Scene], str]) -> str:
        """The secret of a key that is made when it is first asked for by this name."""
        if name not in self._made_once:
            self._made_once[name] = make(self)
        return self._made_once[name]

    def client(self, key: str | None) -> CheckedClient:
        """A client that sends the key; every answer is held to the document."""
        client = self.app.test_client()
        assert isinstance(client, CheckedClient)
        client.answer_check, client.key = self.answer_check, key
        return client

    def send(self, key: str | None, operation: Operation, ids: Ids, **changes: Any) -> Any:
        """A valid request with this key about these ids, or one changed in its parts."""
        query = changes.pop("query", None)
        request = request_of(operation, ids, next(self.serials), **changes)
        return self.client(key).open(url_of(operation, ids, query), **request)

    def ids(self, base: Ids, *, key: str) -> Ids:
        """The ids with a key's id that exists: within ``account``, ``site``, ``grinder`` ..."""
        spare = base.spare_burr_set_id + (f"-{key}" if key in SPARE_SETS else "")
        webhook = base.spare_webhook_id + (f"-{key}" if key in SPARE_SETS else "")
        return replace(
            base,
            key_id=self.spare_key_ids[key],
            spare_burr_set_id=spare,
            spare_webhook_id=webhook,
        )

    def rows(self) -> Rows:
        """Every row of every table but memos; when a key was last used is left out, too."""
        self.marks()
        if self._seen.rows is None:
            self._seen.rows = self._rows(self._everything)
        return self._seen.rows

    def marks(self) -> Any:
        """What differs whenever ``rows`` does, told by the database where that is quicker."""
        moved = self._looking.execute(self._what_moves).fetchone()
        if moved != self._seen.moved:
            self._seen.moved = moved
            if self.database.is_sqlite:
                marks: Any = self._rows(self._everything)
            else:
                marks = self._looking.execute(self._digests).fetchall()
            if marks != self._seen.marks:
                self._seen.marks = marks
                self._seen.rows = marks if self.database.is_sqlite else None
        return self._seen.marks

    @property
    def _what_moves(self) -> str:
        """Another value as soon as anybody else has committed a change.

        On SQLite (its manual, "pragma data_version") in this file, on PostgreSQL (its manual,
        "pg_current_snapshot") in any database of the server.
        """
        if self.database.is_sqlite:
            return "PRAGMA data_version"
        return "SELECT pg_current_snapshot()::text"

    def rows_of_other_account(self) -> Rows:
        """The rows of harbour alone."""
        return self._rows(self._of_harbour)

    def _rows(self, statements: Mapping[str, str]) -> Rows:
        cursor = self._looking.cursor()
        found = {name: cursor.execute(text).fetchall() for name, text in statements.items()}
        cursor.close()
        return found

    @cached_property
    def _digests(self) -> str:
        """How many rows each table has, and a sum of 64 bits over what is in them (PostgreSQL)."""
        return " UNION ALL ".join(
            f"SELECT '{name}', count(*), sum(hashtextextended(of_table::text, 0))"
            f" FROM ({text}) AS of_table"
            for name, text in self._everything.items()
        )

    def _statements(self, where: str = "") -> dict[str, str]:
        found = {}
        for table in metadata.sorted_tables:
            if table in MEMO_TABLES:  # what any answer may leave behind
                continue
            kept = ", ".join(column.name for column in table.c if column.name != "last_used_at")
            order = ", ".join(column.name for column in table.primary_key)
            found[table.name] = f"SELECT {kept} FROM {table.name} {where} ORDER BY {order}"
        return found

    def close(self) -> None:
        self._looking.close()


def make_scene(
    made: MadeDatabase,
    all_rows_url: str,
    folder: str,
    database: Database,
    answer_check: AnswerCheck,
) -> Scene:
    """The scene on a fresh database, its clock standing still at ``NOW``."""
    settings = read_settings(
        {
            "BURRLINE_DATA_DIR": folder,
            "BURRLINE_DATABASE_URL": made.url,
            "BURRLINE_ALLOW_PRIVATE_WEBHOOKS": "127.0.0.0/8",
        }
    )
    app = quick_app(settings, database, clock=lambda: NOW)
    return Scene(app, database, answer_check, all_rows_url)
