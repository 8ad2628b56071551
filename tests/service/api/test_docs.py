"""The page at /docs works from its own host alone, under a policy that allows nothing else."""

from __future__ import annotations

import re

import pytest
from flask import Flask
from flask.testing import FlaskClient

from burrline_service.api import make_operations, register
from burrline_service.api.document import document_text


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    app = Flask(__name__, static_folder=None)
    register(app, None, make_operations())
    return app.test_client()


def test_the_document_is_served_as_it_is_committed(client: FlaskClient) -> None:
    answer = client.get("/openapi.json")
    assert answer.content_type == "application/json"
    assert answer.text == document_text(make_operations())


@pytest.mark.parametrize("path", ["/docs", "/openapi.json", "/docs/swagger-ui-bundle.js"])
def test_what_does_not_change_is_not_sent_twice(client: FlaskClient, path: str) -> None:
    first = client.get(path)
    assert first.headers["Cache-Control"] == "no-cache"
    again = client.get(path, headers={"If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.get_data()) == (304, b"")
    assert again.headers["ETag"] == first.headers["ETag"]


def test_every_file_the_page_names_is_served_from_here(client: FlaskClient) -> None:
    page = client.get("/docs")
    assert page.content_type == "text/html; charset=utf-8"
    names = re.findall('(?:src|href)="([^"]+)"', page.text)
    files = [name for name in names if not name.startswith("data:")]
    assert len(files) == 3
    for name in files:
        assert not re.match("[a-z]+:|/", name), "relative, so that a prefix in front does no harm"
        answer = client.get("/" + name)
        assert answer.status_code == 200
        kind = "text/css" if name.endswith(".css") else "text/javascript"
        assert answer.content_type == f"{kind}; charset=utf-8"
        assert answer.headers["X-Content-Type-Options"] == "nosniff"


def test_the_page_can_load_nothing_from_elsewhere(client: FlaskClient) -> None:
    page = client.get("/docs")
    policy = dict(
        part.strip().partition(" ")[::2]
        for part in page.headers["Content-Security-Policy"].split(";")
    )
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == policy["connect-src"] == "'self'"
    assert not re.search("<script>|<style| on[a-z]+=", page.text), "no inline script"
    assert "validatorUrl: null" in client.get("/docs/start.js").text


@pytest.mark.parametrize(
    "name", ["nope", "index.html", "swagger-ui.js", "..%2Fopenapi.json", "%2E%2E", "LICENSE"]
)
def test_no_other_file_is_served(client: FlaskClient, name: str) -> None:
    answer = client.get(f"/docs/{name}")
    assert answer.status_code == 404
    assert answer.content_type == "application/problem+json"
