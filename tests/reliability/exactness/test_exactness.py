"""Every answer is a function of the set of facts, on both databases."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from functools import partial
from typing import Any

import pytest
from flask import Flask
from hypothesis import settings
from hypothesis.stateful import run_state_machine_as_test

from answers import AnswerCheck, CheckedClient
from burrline_service.actions import access
from burrline_service.core.records import Caller
from burrline_service.store.database import Database

from .budget import BUDGET
from .machine import machine_on
from .over_http import HttpService


def test_answers_are_those_of_the_naive_model_and_of_the_same_facts_in_another_order(
    database: Database,
) -> None:
    run_state_machine_as_test(machine_on(database), settings=BUDGET)


@pytest.mark.parametrize("database_kind", ["sqlite"], indirect=True)
def test_so_are_answers_over_http(
    database: Database, app: Flask, clock: Any, answer_check: AnswerCheck
) -> None:
    def make_http(caller: Caller) -> CheckedClient:
        _, secret = access.create_key(database, caller, name="exactness", scopes=None, now=clock())
        client = app.test_client()
        assert isinstance(client, CheckedClient)
        client.answer_check, client.key = answer_check, secret
        return client

    def set_clock(at: datetime) -> None:
        clock.at = at

    make: Callable[..., Any] = partial(HttpService, make_http=make_http, set_clock=set_clock)
    run_state_machine_as_test(
        machine_on(database, make_service=staticmethod(make)),
        settings=settings(BUDGET, max_examples=max(6, BUDGET.max_examples // 5)),
    )
