"""The fixtures give what they promise, on both databases."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from flask import Flask

from answers import AnswerWrong, CheckedClient
from databases import MadeDatabase
from services import LiveService

SITE = {"site_id": "mill-lane", "name": "Mill Lane", "time_zone": "Europe/Dublin"}


def test_a_client_sends_its_key_and_lets_documented_answers_pass(http: CheckedClient) -> None:
    made = http.post("/v1/sites", json=SITE)
    assert made.status_code == 201
    assert http.get(made.headers["Location"]).get_json()["name"] == "Mill Lane"
    assert http.answer_check.checked_count >= 2


def test_a_client_without_a_key_is_refused(
    make_http: Callable[[str | None], CheckedClient],
) -> None:
    assert make_http(None).get("/v1/sites").status_code == 401


def test_a_client_complains_about_an_answer_that_is_not_documented(
    app: Flask, http: CheckedClient
) -> None:
    endpoint = next(rule.endpoint for rule in app.url_map.iter_rules() if rule.rule == "/livez")

    def wrong(**_: Any) -> dict[str, str]:
        return {"livez": "perhaps"}

    app.view_functions[endpoint] = wrong
    with pytest.raises(AnswerWrong):
        http.get("/livez")


def test_two_accounts_are_two(
    make_http: Callable[[str | None], CheckedClient], http: CheckedClient, other_key: str
) -> None:
    http.post("/v1/sites", json=SITE)
    assert make_http(other_key).get("/v1/sites/mill-lane").status_code == 404


def test_a_live_service_answers_over_the_network(
    start_service: Callable[..., LiveService], made_database: MadeDatabase
) -> None:
    service = start_service()
    listed = service.run("keys", "list")
    assert listed.returncode == 0, listed.stderr
    assert "tests" in listed.stdout
    assert service.settings["BURRLINE_DATABASE_URL"] == made_database.url
