"""The composition root: settings -> database -> operations and pages -> one Flask app."""

from __future__ import annotations

import atexit
from collections.abc import Callable
from datetime import UTC, datetime

from flask import Flask

from . import api, pages
from .sender import Sender
from .settings import Settings
from .store.database import Database, open_database

PROOF_SECONDS = 6.0  # with half as long for its name: whoever registers it waits for ten


def utc_now() -> datetime:
    now = datetime.now(UTC)
    return now.replace(microsecond=now.microsecond // 1000 * 1000)


def make_app(
    settings: Settings,
    database: Database | None = None,
    *,
    clock: Callable[[], datetime] = utc_now,
    tally_sheet: api.TallySheet | None = None,
) -> Flask:
    """The service as a WSGI application; it connects when first asked and never migrates."""
    app = Flask(__name__, static_folder=None, template_folder=None)
    store = open_database(settings.database_url) if database is None else database
    if database is None:
        atexit.register(store.close)  # a server process that ends leaves no connection open
    sender = Sender(settings.allow_private_webhooks, deadline_seconds=PROOF_SECONDS)
    api.register(
        app, store, api.make_operations(), clock=clock, sender=sender, tally_sheet=tally_sheet
    )
    pages.register(app, store, clock=clock)
    return app
