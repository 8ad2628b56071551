"""Which schema this release works on, and whether a database is there."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, make_url, text
from sqlalchemy.exc import DBAPIError, OperationalError

from ..core.errors import SchemaMismatch, Unavailable
from .database import single_connection_engine

NEEDED_REVISION = "0006"
"""The newest of the migrations, named here so that no server needs the tool that runs them."""


def check_schema(url: str) -> None:
    """Refuse a database that is not at exactly this release's revision."""
    engine = single_connection_engine(url)
    database_path = make_url(url).database
    if engine.dialect.name == "sqlite" and not Path(database_path or "").exists():
        raise SchemaMismatch(None, NEEDED_REVISION)
    try:
        with engine.connect() as connection:
            found = found_revision(connection)
    except DBAPIError as error:
        raise refusal(error) from error
    finally:
        engine.dispose()
    if found != NEEDED_REVISION:
        raise SchemaMismatch(found, NEEDED_REVISION)


def found_revision(connection: Connection) -> str | None:
    """The revision a database is at, None when it is none of ours yet."""
    if not connection.dialect.has_table(connection, "alembic_version"):
        return None
    revision: str | None = connection.execute(
        text("SELECT max(version_num) FROM alembic_version")
    ).scalar_one()
    return revision


def refusal(error: DBAPIError) -> Unavailable:
    """In one line: unreachable, or a database that does not let this role do it."""
    first_line = str(error.orig).strip().splitlines()[0]
    if isinstance(error, OperationalError):
        return Unavailable(f"The database cannot be reached: {first_line}")
    return Unavailable(f"The database refuses: {first_line}")
