"""Bringing a database to this release's schema, under a lock."""

from __future__ import annotations

import fcntl
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import make_url, text
from sqlalchemy.exc import DBAPIError

from ..core.errors import SchemaMismatch
from .database import single_connection_engine
from .schema import NEEDED_REVISION, found_revision, refusal

ADVISORY_LOCK_NO = 846_000_001
_process_lock = threading.Lock()  # flock does not hold between threads that share a descriptor


def configuration() -> Config:
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    return config


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
                    before = found_revision(connection)
                    if before is not None and before > NEEDED_REVISION:
                        raise SchemaMismatch(before, NEEDED_REVISION)
                    config = configuration()
                    config.attributes["connection"] = connection
                    command.upgrade(config, "head")
                    connection.commit()
                    after = found_revision(connection)
                finally:
                    connection.rollback()
                    if is_postgresql:
                        connection.execute(text(f"SELECT pg_advisory_unlock({ADVISORY_LOCK_NO})"))
                        connection.commit()
            engine.dispose()
    except DBAPIError as error:
        raise refusal(error) from error
    assert after is not None
    return before, after


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
