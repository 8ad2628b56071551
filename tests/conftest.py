"""What a test may ask for: databases, the app, a client that checks answers, a live service."""

from __future__ import annotations

import gc
import signal
import threading
from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import IO, Any

import pytest
from _pytest.doctest import DoctestModule
from flask import Flask

import databases
from answers import AnswerCheck, CheckedClient
from apps import LentApp
from burrline_service.actions import access, admin
from burrline_service.api import make_operations
from burrline_service.api.document import make_document
from burrline_service.core.records import Caller
from burrline_service.settings import Settings, read_settings
from burrline_service.store.database import Database
from databases import MadeDatabase, Server
from services import LiveService, start_live_service
from stock import Stock

SESSION_FOLDER = pytest.StashKey[Path]()
SESSION_LOCK = pytest.StashKey[IO[bytes]]()
DATABASE_KINDS = ("sqlite", "postgresql")


# --- one PostgreSQL per session: made by the first who asks, ended by the process that began -----


def pytest_configure(config: pytest.Config) -> None:
    worker_input: dict[str, str] | None = getattr(config, "workerinput", None)
    if worker_input is None:
        folder, config.stash[SESSION_LOCK] = databases.begin_session()
        if threading.current_thread() is threading.main_thread():
            signal.signal(signal.SIGTERM, signal.default_int_handler)  # end in order, as by Ctrl-C
    else:
        folder = Path(worker_input["session_folder"])
    config.stash[SESSION_FOLDER] = folder


@pytest.hookimpl(optionalhook=True)
def pytest_configure_node(node: Any) -> None:
    node.workerinput["session_folder"] = str(node.config.stash[SESSION_FOLDER])


def pytest_unconfigure(config: pytest.Config) -> None:
    if not hasattr(config, "workerinput") and SESSION_FOLDER in config.stash:
        databases.end_session(config.stash[SESSION_FOLDER])
        config.stash[SESSION_LOCK].close()


@pytest.hookimpl(wrapper=True)
def pytest_collect_file() -> Generator[None, list[pytest.Collector], list[pytest.Collector]]:
    """No examples in docstrings here: looking for some would import each file a second time."""
    collectors = yield
    return [one for one in collectors if not isinstance(one, DoctestModule)]


def pytest_collection_finish() -> None:
    """Thousands of collected tests need not be walked through by every collection of garbage."""
    gc.collect()
    gc.freeze()


@pytest.fixture(scope="session")
def session_folder(pytestconfig: pytest.Config) -> Path:
    """One folder for all workers of this session."""
    return pytestconfig.stash[SESSION_FOLDER]


@pytest.fixture(scope="session")
def postgresql_server(session_folder: Path) -> Server:
    """The session's PostgreSQL, with the roles of deploy/roles.sql."""
    return databases.shared_server(session_folder)


# --- a fresh database per test ------------------------------------------------------------------


@pytest.fixture
def sqlite_database(session_folder: Path, tmp_path: Path) -> MadeDatabase:
    """A migrated SQLite file of this test's own."""
    return databases.make_sqlite_database(databases.make_sqlite_template(session_folder), tmp_path)


@pytest.fixture(scope="session")
def postgresql_stock(postgresql_server: Server, session_folder: Path) -> Iterator[Stock]:
    """The PostgreSQL databases of this process."""
    stock = Stock(postgresql_server, databases.template_name(session_folder))
    yield stock
    stock.close()


@pytest.fixture
def postgresql_database(postgresql_stock: Stock) -> Iterator[MadeDatabase]:
    """A migrated PostgreSQL database of this test's own, entered without superuser's rights."""
    made = postgresql_stock.take()
    yield made
    postgresql_stock.give_back(made)


@pytest.fixture(params=DATABASE_KINDS)
def database_kind(request: pytest.FixtureRequest) -> str:
    """Both kinds in turn; a test parametrises this one to name a single kind."""
    kind: str = request.param
    return kind


@pytest.fixture
def made_database(database_kind: str, request: pytest.FixtureRequest) -> MadeDatabase:
    """A fresh database of the kind in turn."""
    made: MadeDatabase = request.getfixturevalue(f"{database_kind}_database")
    return made


@pytest.fixture
def database_url(made_database: MadeDatabase) -> str:
    """The URL the service is given."""
    return made_database.url


@pytest.fixture
def database(database_url: str) -> Iterator[Database]:
    """The store, open on a fresh database."""
    opened = databases.open_in_haste(database_url)
    yield opened
    opened.close()


# --- accounts and keys --------------------------------------------------------------------------


@dataclass
class Clock:
    """The time the app sees: stands still until a test moves it."""

    at: datetime = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.at

    def pass_by(self, **amount: float) -> datetime:
        """Move on by so many ``seconds=``, ``hours=``, ``days=``; gives the new instant."""
        self.at += timedelta(**amount)
        return self.at


@pytest.fixture
def clock() -> Clock:
    return Clock()


def _account(database: Database, account_id: str, now: datetime) -> Caller:
    admin.create_account(database, account_id=account_id, name=None, now=now)
    return admin.owner(database, account_id=account_id, now=now)


@pytest.fixture
def caller(database: Database, clock: Clock) -> Caller:
    """The owner of a fresh account, with all scopes."""
    return _account(database, "lantern", clock())


@pytest.fixture
def other_caller(database: Database, clock: Clock) -> Caller:
    """The owner of another account in the same database."""
    return _account(database, "harbour", clock())


@pytest.fixture
def make_key(database: Database, caller: Caller, clock: Clock) -> Callable[..., str]:
    """``make_key(scopes=[...], site_ids=[...], of=other_caller, ...)`` gives a key's secret."""

    def make(*, of: Caller = caller, **fields: Any) -> str:
        _, secret = access.create_key(
            database, of, **{"name": "test", "scopes": None, **fields}, now=clock()
        )
        return secret

    return make


@pytest.fixture
def key(make_key: Callable[..., str]) -> str:
    """The secret of a key with all scopes."""
    return make_key()


@pytest.fixture
def other_key(make_key: Callable[..., str], other_caller: Caller) -> str:
    """The secret of a key with all scopes in the other account."""
    return make_key(of=other_caller)


# --- the app and a client that holds every answer to the document -------------------------------


@pytest.fixture
def settings(made_database: MadeDatabase, tmp_path: Path) -> Settings:
    return read_settings(
        {
            "BURRLINE_DATA_DIR": str(tmp_path),
            "BURRLINE_DATABASE_URL": made_database.url,
            "BURRLINE_MIGRATION_DATABASE_URL": made_database.migration_url,
            "BURRLINE_ALLOW_PRIVATE_WEBHOOKS": "127.0.0.0/8",
        }
    )


@pytest.fixture(scope="session")
def lent_apps() -> dict[Any, LentApp]:
    """The app that tests take in turn, for each setting that one is made with."""
    return {}


@pytest.fixture
def app(
    settings: Settings, database: Database, clock: Clock, lent_apps: dict[Any, LentApp]
) -> Iterator[Flask]:
    """The whole service in this process, with a clock that stands still."""
    made_with = settings.allow_private_webhooks
    if made_with not in lent_apps:
        lent_apps[made_with] = LentApp(settings)
    with lent_apps[made_with].lent(database, clock) as app:
        yield app


@pytest.fixture(scope="session")
def document() -> dict[str, Any]:
    """The OpenAPI document of this release."""
    made: dict[str, Any] = make_document(make_operations())
    return made


@pytest.fixture(scope="session")
def answer_check(document: dict[str, Any]) -> AnswerCheck:
    return AnswerCheck(document)


@pytest.fixture
def make_http(app: Flask, answer_check: AnswerCheck) -> Callable[[str | None], CheckedClient]:
    """``make_http(key)`` gives a client that sends the key and checks every answer."""

    def make(key: str | None) -> CheckedClient:
        client = app.test_client()
        assert isinstance(client, CheckedClient)
        client.answer_check = answer_check
        client.key = key
        return client

    return make


@pytest.fixture
def http(make_http: Callable[[str | None], CheckedClient], key: str) -> CheckedClient:
    """A client with all scopes; every answer is held to the document."""
    return make_http(key)


# --- a live service -----------------------------------------------------------------------------


def _start(folder: Path, made: MadeDatabase, *arguments: str) -> LiveService:
    addresses = {
        "BURRLINE_DATABASE_URL": made.url,
        "BURRLINE_MIGRATION_DATABASE_URL": made.migration_url,
        "BURRLINE_ALLOW_PRIVATE_WEBHOOKS": "127.0.0.0/8",
    }
    return start_live_service(folder, addresses, *arguments)


@pytest.fixture(scope="module")
def live_service(
    session_folder: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[LiveService]:
    """One service on SQLite for all tests of a module: take ids of your own."""
    folder = tmp_path_factory.mktemp("live")
    template = databases.make_sqlite_template(session_folder)
    service = _start(folder, databases.make_sqlite_database(template, folder))
    yield service
    service.stop()


@pytest.fixture
def start_service(
    made_database: MadeDatabase, tmp_path: Path
) -> Iterator[Callable[..., LiveService]]:
    """``start_service(*arguments)`` starts a service of this test's own, on the kind in turn."""
    started: list[LiveService] = []

    def start(*arguments: str) -> LiveService:
        started.append(_start(tmp_path, made_database, *arguments))
        return started[-1]

    yield start
    for service in started:
        service.stop()
