"""The whole service in this process; making it anew takes longer than most tests that need it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from functools import cache
from typing import Any

import pytest
from flask import Flask

from answers import CheckedClient
from burrline_service import api
from burrline_service.api import make_operations
from burrline_service.api.document import document_text
from burrline_service.api.tally_sheet import TallySheet
from burrline_service.app import make_app
from burrline_service.sender import dialling, exchange
from burrline_service.settings import Settings
from burrline_service.store.database import Database

# What a test may put into an app that is not its own.
CHANGEABLE = (
    "view_functions",
    "before_request_funcs",
    "after_request_funcs",
    "teardown_request_funcs",
    "teardown_appcontext_funcs",
    "error_handler_spec",
    "extensions",
    "config",
)

tls_context = cache(dialling.tls_context)  # reads all certificates of the system


@cache
def written_document() -> str:
    """The text of this release's document."""
    return document_text(make_operations())


def quick_app(
    settings: Settings, database: Database, *, clock: Callable[[], datetime], **more: Any
) -> Flask:
    """An app of one's own, whose document and certificates were read before."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(api, "document_text", lambda operations: written_document())
        patch.setattr(exchange, "tls_context", tls_context)
        made = make_app(settings, database, clock=clock, **more)
    made.test_client_class = CheckedClient
    return made


class Stand:
    """Stands in an app for what the test in turn brings."""

    brought: Any = None

    def __getattr__(self, name: str) -> Any:
        return getattr(self.brought, name)

    def __call__(self) -> Any:
        return self.brought()


class LentApp:
    """One app, lent to one test after the other, and put right in between."""

    def __init__(self, settings: Settings) -> None:
        self.database, self.clock, self.sheet = Stand(), Stand(), Stand()
        database: Any = self.database
        self.app = quick_app(settings, database, clock=self.clock, tally_sheet=self.sheet)
        self._rules = [*self.app.url_map.iter_rules()]
        self._as_made = {name: _copied(getattr(self.app, name)) for name in CHANGEABLE}

    @contextmanager
    def lent(self, database: Database, clock: Callable[[], datetime]) -> Iterator[Flask]:
        """The app on this test's database, its requests counted from none."""
        assert self.database.brought is None, "it is lent already"
        self.database.brought, self.clock.brought = database, clock
        self.sheet.brought = TallySheet()
        yield self.app
        for stand in (self.database, self.clock, self.sheet):
            stand.brought = None
        for name, value in self._as_made.items():
            setattr(self.app, name, _copied(value))
        self.app._got_first_request = False
        assert [*self.app.url_map.iter_rules()] == self._rules, "a rule is there for good"


def _copied(value: Any) -> Any:
    """Dictionaries and lists copied as deep as they go, all else as it is."""
    if isinstance(value, dict):
        made = value.copy()
        made.update((name, _copied(inner)) for name, inner in value.items())
        return made
    return [_copied(inner) for inner in value] if isinstance(value, list) else value
