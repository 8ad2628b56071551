"""Bringing a database to this release's schema, under a lock, and checking that it is there."""

from __future__ import annotations

import fcntl
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, make_url, text
from sqlalchemy.exc import DBAPIError, OperationalError

from ..core.errors import SchemaMismatch, Unavailable
from .database import single_connection_engine

ADVISORY_LOCK_NO = 846_000_001
_process_lock = threading.Lock()  # flock does not hold between threads that share a descriptor


def _configuration() -> Config:
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    return config


def needed_revision() -> str:
    """The schema revision this release works on."""
    head = ScriptDirectory.from_config(_configuration()).get_current_head()
    assert head is not None
    return head


def migrate(url: str) -> tuple[str | None, str]:
    """Upgrade the database at ``url``; returns the revisions before and after.

    Several starts at once are safe: one migrates, the others wait and find nothing to do.
    """
    try:
        with _process_lock, _file_lock(url):
            engine = single_connection_engine(url)
            with engine.connect() as connection:
                is_postgresql = connection.dialect.name == "postgresql"
                if is_postgresql:  # however long the one before takes
                    connection.execute(text("SET LOCAL lock_timeout = 0"))
                    connection.execute(text(f"SELECT pg_advisory_lock({ADVISORY_LOCK_NO})"))
                    connection.commit()
                try:
                    before = _found_revision(connection)
                    if before is not None and before > needed_revision():
                        raise SchemaMismatch(before, needed_revision())
                    config = _configuration()
                    config.attributes["connection"] = connection
                    command.upgrade(config, "head")
                    connection.commit()
                    after = _found_revision(connection)
                finally:
                    connection.rollback()
                    if is_postgresql:
                        connection.execute(text(f"SELECT pg_advisory_unlock({ADVISORY_LOCK_NO})"))
                        connection.commit()
            engine.dispose()
    except DBAPIError as error:
        raise _refusal(error) from error
    assert after is not None
    return before, after


def check_schema(url: str) -> None:
    """Refuse a database that is not at exactly this release's revision."""
    engine = single_connection_engine(url)
    database_path = make_url(url).database
    if engine.dialect.name == "sqlite" and not Path(database_path or "").exists():
        raise SchemaMismatch(None, needed_revision())
    try:
        with engine.connect() as connection:
            found = _found_revision(connection)
    except DBAPIError as error:
        raise _refusal(error) from error
    finally:
        engine.dispose()
    if found != needed_revision():
        raise SchemaMismatch(found, needed_revision())


def _found_revision(connection: Connection) -> str | None:
    return MigrationContext.configure(connection).get_current_revision()


def _refusal(error: DBAPIError) -> Unavailable:
    """In one line: unreachable, or a database that does not let this role do it."""
    first_line = str(error.orig).strip().splitlines()[0]
    if isinstance(error, OperationalError):
        return Unavailable(f"The database cannot be reached: {first_line}")
    return Unavailable(f"The database refuses: {first_line}")


@contextmanager
def _file_lock(url: str) -> Iterator[None]:
    parsed = make_url(url)
    if parsed.get_backend_name() != "sqlite" or not parsed.database:
        yield
        return
    path = Path(parsed.database)
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    with open(path.with_name(path.name + ".migrate-lock"), "w") as handle:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
