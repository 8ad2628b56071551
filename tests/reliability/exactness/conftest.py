"""Databases for thousands of short histories: what is lost in a power cut is no matter here."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from sqlalchemy import event

from burrline_service.store.database import Database, open_database


@pytest.fixture
def database(database_url: str) -> Iterator[Database]:
    """The store, open on a fresh database; SQLite does not wait for the disk."""
    opened = open_database(database_url)
    if opened.is_sqlite:

        @event.listens_for(opened._writer, "connect")
        def on_connect(connection: Any, _: Any) -> None:
            connection.execute("PRAGMA synchronous=OFF").close()

    yield opened
    opened.close()
