"""What schemathesis checks of every answer beyond its own checks, and how it sends a request."""

from __future__ import annotations

import re
import uuid
from typing import Any

import schemathesis

PROBLEM_MEMBERS = {"type", "title", "status", "detail", "instance"}
SPARE_KEY_ID = "Qm3xT9Lk"  # the one of the document's examples
SOME_KEY = re.compile(r'"?[A-Za-z0-9._:\-]{8,128}"?')


@schemathesis.hook
def before_call(context: Any, case: Any, kwargs: Any) -> None:
    """A fresh Idempotency-Key where a good one was made up: one used before asks for its answer.

    And chains find the key they use in the list and would revoke it: another goes instead.
    """
    headers = case.headers or {}
    own_key = str(headers.get("Authorization", "")).removeprefix("Bearer burrline_")
    key_id = (case.path_parameters or {}).get("key_id")
    if key_id and own_key.startswith(str(key_id)):
        case.path_parameters["key_id"] = SPARE_KEY_ID
    made_up = headers.get("Idempotency-Key")
    if isinstance(made_up, str) and SOME_KEY.fullmatch(made_up):
        headers["Idempotency-Key"] = str(uuid.uuid4())


@schemathesis.check
def problem_document(context: Any, response: Any, case: Any) -> None:
    """Every refusal is a problem document (RFC 9457); every answer names its request."""
    (request_id,) = response.headers["x-request-id"]
    if response.status_code < 400 or case.method == "HEAD":
        return
    assert "most recent call last" not in response.text
    (media_type,) = response.headers["content-type"]
    assert media_type == "application/problem+json"
    problem = response.json()
    assert set(problem) >= PROBLEM_MEMBERS
    assert problem["status"] == response.status_code
    assert problem["instance"] == f"urn:request:{request_id}"


@schemathesis.check
def kept_from_caches(context: Any, response: Any, case: Any) -> None:
    """No cache keeps anybody's facts; no browser guesses a type or frames a page."""
    (policy,) = response.headers["cache-control"]
    assert policy in ("no-store", "no-cache")
    assert response.headers["x-content-type-options"] == ["nosniff"]
