"""Requests made up from the document by schemathesis, answered by the whole service in process.

Examples, coverage of every constraint, random requests and short chains of linked operations; all
checks of schemathesis and ours. The seed is fixed and the number small: one run belongs to every
change. ``CONTRACT_EXAMPLE_COUNT=2000`` makes a long one (for the night), each time another.
"""

from __future__ import annotations

import os
import secrets
import threading
import tomllib
import unittest
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, settings
from schemathesis.checks import load_all_checks
from schemathesis.config import SchemathesisConfig
from schemathesis.core.control import SkipTest
from schemathesis.generation.feedback import FeedbackSources
from schemathesis.generation.hypothesis.reporting import ignore_hypothesis_output
from schemathesis.pytest._test_builder import build_operation_test
from schemathesis.python._constants.orchestrator import make_constants_value_source
from schemathesis.specs.openapi.checks import ignored_auth

import databases
from burrline_service.actions import access, admin, burrs, entries, ingest, places, readings
from burrline_service.api import alerts as api_alerts
from burrline_service.api import make_operations
from burrline_service.api.document import make_document
from burrline_service.api.operation import PATH_IDS
from burrline_service.api.webhooks import SENDER_KEY
from burrline_service.app import make_app
from burrline_service.core.entered import Reading
from burrline_service.core.records import Run
from burrline_service.core.webhook_target import target_of
from burrline_service.settings import read_settings
from burrline_service.store.database import Database
from conformance.checks import SPARE_KEY_ID  # and with it the checks themselves
from told import Receivers, a_webhook, an_event, tell

CONFIG_FILE = Path(__file__).with_name("schemathesis.toml")
LONG_COUNT = int(os.environ.get("CONTRACT_EXAMPLE_COUNT", "0"))
STEP_COUNT = 40 if LONG_COUNT else 8


NOW = datetime(2027, 1, 1, tzinfo=UTC)  # every instant of the document's examples has come


class LateApp:
    """A WSGI application that is made when the tests run, not when they are collected."""

    app: Any = None

    def __call__(self, environ: Any, start_response: Any) -> Any:
        return self.app(environ, start_response)


LATE_APP = LateApp()
KEY = access.new_secret()


class Nobody(Receivers):
    """Made-up URLs are judged, and then nobody is called."""

    def check(self, url: str) -> bool:
        return target_of(url) is not None


def made_config() -> SchemathesisConfig:
    chosen = tomllib.loads(CONFIG_FILE.read_text())
    chosen["auth"]["openapi"]["bearerKey"]["bearer"] = KEY
    if LONG_COUNT:
        chosen["generation"]["max-examples"] = LONG_COUNT
        chosen["seed"] = secrets.randbelow(2**32)
    return SchemathesisConfig.from_dict(chosen)


def once_each(find: Callable[..., Any]) -> Callable[..., Any]:
    """Settings of an operation are put together once, not anew for every answer."""
    kept: dict[Any, Any] = {}

    def found(*, operation: Any = None, **more: Any) -> Any:
        key = (None if operation is None else operation.label, *sorted(more.items()))
        if key not in kept:
            kept[key] = find(operation=operation, **more)
        return kept[key]

    return found


SCHEMA = schemathesis.openapi.from_dict(make_document(make_operations()), config=made_config())
for name in ("phases_for", "checks_config_for"):
    setattr(SCHEMA.config, name, once_each(getattr(SCHEMA.config, name)))
SCHEMA.app = LATE_APP
SCHEMA.location = "/openapi.json"
DESCRIBED = [result.ok() for result in SCHEMA.get_all_operations()]
FEEDBACK = FeedbackSources(constants_value_source=make_constants_value_source(SCHEMA))


load_all_checks()


def furnish(database: Database) -> None:
    """The objects that the document's examples are about, and the key of these tests."""
    admin.create_account(database, account_id="main", name=None, now=NOW)
    owner = admin.owner(database, account_id="main", now=NOW)
    examples = {operation.name: operation.takes_example for operation in make_operations()}
    began = NOW - timedelta(days=300)
    places.create_site(database, owner, fields=examples["create_site"], now=began)
    places.create_grinder(database, owner, fields=examples["create_grinder"], now=began)
    burrs.fit_burr_set(
        database,
        owner,
        grinder_id="bar-1",
        fields={"burr_set_id": "flat-64-a", "geometry": "flat", "prior_grams": 0},
        now=began,
    )
    places.create_grinder(
        database,
        owner,
        fields={**examples["create_grinder"], "grinder_id": "bar-2"},
        now=began,
    )
    run = Run(run_id="bar-1-0007-000123", grinder_id="bar-1", seconds=7.4, grams=18.2)
    ingest.add_run(database, owner, run=run, now=NOW - timedelta(days=1))
    day = {"grinder_id": "bar-1", "from_at": began, "to_at": NOW - timedelta(days=1)}
    tally = {**day, "tally_id": "notebook-2026-06-30", "grams": 100.0, "basis": "estimated"}
    entries.add_tally(database, owner, fields=tally, now=NOW)
    period = {"period_id": "period-000412", "from_at": began, "setting": 4.8}
    entries.set_period(database, owner, grinder_id="bar-1", fields=period, now=NOW)
    correction = {"correction_id": "correction-000413", "grams_factor": 1.04, "reason": "why"}
    entries.add_correction(database, owner, fields={**day, **correction}, now=NOW)
    care = {"care_id": "care-000414", "task": "cleaning", "at": began}
    entries.record_care(database, owner, grinder_id="bar-1", fields=care, now=NOW)
    reading = Reading("bar-1", "bar-1-t-0007-004512", at=began, motor_celsius=47.5)
    readings.add_readings(database, owner, sent=[reading], now=NOW)
    for webhook_id in ("webhook-000431", "webhook-spare"):  # the second may be deleted
        a_webhook(database, owner, NOW, webhook_id=webhook_id)
    tell(database, owner, an_event(1, NOW, event_id=PATH_IDS["event_id"].example), now=NOW)
    for secret in (KEY, f"burrline_{SPARE_KEY_ID}" + "x" * 39):  # the second may be revoked
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(access, "new_secret", lambda secret=secret: secret)
            access.create_key(database, owner, name="made up", now=NOW)


@pytest.fixture(scope="module", autouse=True)
def service(session_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """The whole service in this process, on SQLite."""
    folder = tmp_path_factory.mktemp("made-up")
    made = databases.make_sqlite_database(databases.make_sqlite_template(session_folder), folder)
    database = databases.open_in_haste(made.url)
    furnish(database)
    read = read_settings({"BURRLINE_DATA_DIR": str(folder), "BURRLINE_DATABASE_URL": made.url})
    LATE_APP.app = make_app(read, database, clock=lambda: NOW)
    LATE_APP.app.extensions[SENDER_KEY] = Nobody()
    with pytest.MonkeyPatch.context() as patch:  # no long poll waits: all that may wait already do
        patch.setattr(api_alerts, "_waiting", threading.Semaphore(0))
        yield
    LATE_APP.app = None
    database.close()


SETTINGS = settings(
    max_examples=SCHEMA.config.generation.max_examples,
    deadline=None,
    derandomize=not LONG_COUNT,
    database=None,
    phases=(Phase.explicit, Phase.generate, Phase.shrink),
    suppress_health_check=list(HealthCheck),
)


REFUSING: set[str] = set()
"""Operations that were seen to refuse a request without a key, or with a bad one."""


@SETTINGS
def check(case: schemathesis.Case) -> None:
    """Whether an operation asks for a key is tried with the first request that it takes."""
    is_known = case.operation.label in REFUSING and not LONG_COUNT
    answer = case.call_and_validate(excluded_checks=[ignored_auth] if is_known else [])
    if 200 <= answer.status_code < 300:
        REFUSING.add(case.operation.label)


@pytest.mark.contract
@pytest.mark.parametrize("operation", DESCRIBED, ids=lambda operation: operation.label)
def test_an_operation_answers_as_the_document_says(operation: Any) -> None:
    """What is sent is made up here, not while tests are collected, which every process does."""
    made_up = build_operation_test(
        config=SCHEMA.config,
        operation=operation,
        test_func=check,
        given_kwargs={},
        feedback=FEEDBACK,
    )
    try:
        with ignore_hypothesis_output():
            made_up()
    except (SkipTest, unittest.SkipTest) as skipped:  # no request could be made up
        pytest.fail(f"nothing was sent: {skipped!r}")


StateMachine = SCHEMA.as_state_machine()
TestChains = StateMachine.TestCase
TestChains.settings = settings(
    SETTINGS, max_examples=LONG_COUNT or 10, stateful_step_count=STEP_COUNT
)
TestChains = pytest.mark.contract(TestChains)
