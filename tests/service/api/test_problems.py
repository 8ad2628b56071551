"""Everything refused has one form (RFC 9457), and says what is needed to do better."""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import Any

import pytest
from flask import Flask, g
from marshmallow import ValidationError
from werkzeug.exceptions import ImATeapot

from burrline_service.api import problems
from burrline_service.api.refusals import MethodNotAllowed, UnsupportedMediaType
from burrline_service.core import errors
from burrline_service.core.errors import Fault, Refusal


def answer_to(raised: Callable[[], Any], path: str = "/there") -> Any:
    app = Flask(__name__)
    problems.install(app)

    @app.before_request
    def name_it() -> None:
        g.request_id = "req-12345"

    @app.get("/there")
    def view() -> str:
        raise raised()

    return app.test_client().get(path)


def test_a_problem_has_the_members_of_rfc_9457() -> None:
    answer = answer_to(lambda: errors.AlreadyExists("site", "mill-lane"))
    assert answer.status_code == 409
    assert answer.content_type == "application/problem+json"
    assert answer.json == {
        "type": "urn:burrline:problem:already-exists",
        "title": "The id is taken",
        "status": 409,
        "detail": "A site named 'mill-lane' exists already.",
        "instance": "urn:request:req-12345",
    }


# RFC 6901, 5 and 6: the member names of the example document, as URI fragments.
@pytest.mark.parametrize(
    ("member", "fragment"),
    [
        ("foo", "#/foo"),
        ("", "#/"),
        ("a/b", "#/a~1b"),
        ("c%d", "#/c%25d"),
        ("e^f", "#/e%5Ef"),
        ("g|h", "#/g%7Ch"),
        ("i\\j", "#/i%5Cj"),
        ('k"l', "#/k%22l"),
        (" ", "#/%20"),
        ("m~n", "#/m~0n"),
    ],
)
def test_pointers_are_written_as_rfc_6901_shows(member: str, fragment: str) -> None:
    (fault,) = problems.faults_of(ValidationError({member: ["is not a known member"]}))
    assert problems.fault_body(fault) == {"detail": "is not a known member", "pointer": fragment}


def test_pointers_lead_into_arrays_and_to_whole_objects() -> None:
    error = ValidationError(
        {"runs": {3: {"grams": ["a", "b"], "_schema": ["c"]}}, "_schema": ["d"]}
    )
    found = [(fault.pointer, fault.detail) for fault in problems.faults_of(error, "/x")]
    assert found == [
        ("/x/runs/3/grams", "a"),
        ("/x/runs/3/grams", "b"),
        ("/x/runs/3", "c"),
        ("/x", "d"),
    ]


def test_parameters_are_named_with_their_place() -> None:
    answer = answer_to(lambda: errors.FutureInstant("2030", "2026"))
    assert answer.status_code == 422
    assert answer.json["errors"] == [
        {"detail": "lies in the future", "parameter": "as_of", "in": "query"}
    ]


def test_the_list_of_faults_and_their_pointers_are_bounded() -> None:
    faults = [Fault("is not a known member", pointer="/" + "x" * 10_000) for _ in range(1000)]
    answer = answer_to(lambda: errors.Invalid(*faults))
    assert len(answer.json["errors"]) == problems.MOST_FAULTS
    assert len(answer.get_data()) < 10_000


@pytest.mark.parametrize(
    ("raised", "status", "headers"),
    [
        # RFC 6750, 3: without credentials no error code; RFC 9110, 15.5.2: always a challenge.
        (errors.Unauthenticated("No key."), 401, {"WWW-Authenticate": 'Bearer realm="burrline"'}),
        (
            errors.Unauthenticated("Bad key.", error="invalid_token"),
            401,
            {"WWW-Authenticate": 'Bearer realm="burrline", error="invalid_token"'},
        ),
        (
            errors.ScopeMissing("manage"),
            403,
            {
                "WWW-Authenticate": 'Bearer realm="burrline", error="insufficient_scope", '
                'scope="manage"'
            },
        ),
        (errors.Unavailable(), 503, {"Retry-After": "5"}),
        (MethodNotAllowed(("GET", "HEAD")), 405, {"Allow": "GET, HEAD"}),
        (
            UnsupportedMediaType("no", header="Accept", accepted=("application/json",)),
            415,
            {"Accept": "application/json"},
        ),
    ],
)
def test_headers_go_with_the_status(raised: Refusal, status: int, headers: dict[str, str]) -> None:
    answer = answer_to(lambda: raised)
    assert answer.status_code == status
    assert {name: answer.headers[name] for name in headers} == headers


def test_a_refusal_takes_the_row_of_its_nearest_ancestor() -> None:
    class NoSuchCup(errors.NotFound):
        pass

    assert problems.problem_of(NoSuchCup) is problems.PROBLEMS[errors.NotFound]
    assert problems.problem_of(Refusal) is problems.INTERNAL_ERROR


def test_an_error_of_ours_is_logged_and_tells_nothing(caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.ERROR):
        answer = answer_to(lambda: ZeroDivisionError("the secret is pelican"))
    assert answer.status_code == 500
    assert answer.json["type"] == "urn:burrline:problem:internal-error"
    assert "pelican" not in answer.text
    assert "ZeroDivisionError" not in answer.text
    (record,) = caplog.records
    assert "req-12345" in record.getMessage()
    assert record.exc_info is not None


def test_what_the_framework_refuses_has_the_same_form() -> None:
    answer = answer_to(ImATeapot)
    assert answer.status_code == 418
    assert answer.json["type"] == "urn:burrline:problem:im-a-teapot"
    missing = answer_to(ImATeapot, "/elsewhere")
    assert (missing.status_code, missing.json["status"]) == (404, 404)
    assert missing.json["type"] == "urn:burrline:problem:not-found"
