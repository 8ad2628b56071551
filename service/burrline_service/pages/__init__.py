"""The room that shows: HTML pages for people, read-only, from the same actions as the api.

A browser signs in with HTTP Basic: any user name, the key as password. Nothing is kept in
cookies, nothing can be changed from a page, and all it loads comes from this service.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from flask import Flask

from ..actions import Database
from .fleet import make_blueprint


def register(app: Flask, database: Database, *, clock: Callable[[], datetime]) -> None:
    """Put the pages under ``/``."""
    app.register_blueprint(make_blueprint(database, clock=clock))
