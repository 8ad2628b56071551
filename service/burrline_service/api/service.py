"""Operations about the service itself: health, the document, its page. No key is asked for."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from flask import Response, current_app

from ..actions import health
from . import docs
from .operation import Operation
from .refusals import NotReady
from .schemas_keys import LivenessSchema, ReadinessSchema

TAG = "Service"
PASS = "pass"
DOCUMENT_KEY = "burrline.openapi"


def get_livez(database: Any, *, now: datetime) -> dict[str, str]:
    return {"status": PASS}


def get_readyz(database: Any, *, now: datetime) -> dict[str, Any]:
    checks = health.readiness(database)
    troubles = {name: found for name, found in checks.items() if found != PASS}
    if troubles:
        raise NotReady(troubles)
    return {"status": PASS, "checks": checks}


def get_openapi(database: Any, *, now: datetime) -> Response:
    """The document, the same bytes as the committed file."""
    text: bytes = current_app.extensions[DOCUMENT_KEY]
    return docs.cacheable(text, "application/json")


def get_docs(database: Any, *, now: datetime) -> Response:
    return docs.page()


OPERATIONS = (
    Operation(
        name="get_livez",
        method="GET",
        path="/livez",
        tag=TAG,
        summary="Is the process alive",
        description="Answers as long as the process runs; it asks nothing of the database.",
        act=get_livez,
        scope=None,
        gives=LivenessSchema,
        touches_database=False,
        gives_example={"status": "pass"},
    ),
    Operation(
        name="get_readyz",
        method="GET",
        path="/readyz",
        tag=TAG,
        summary="Can it do its work",
        description="Answers 200 when the database is reachable and of this release, else 503.",
        act=get_readyz,
        scope=None,
        gives=ReadinessSchema,
        refuses=(NotReady,),
        gives_example={"status": "pass", "checks": {"database": "pass", "schema": "pass"}},
    ),
    Operation(
        name="get_openapi",
        method="GET",
        path="/openapi.json",
        tag=TAG,
        summary="This document",
        description="The OpenAPI 3.1 document of this service.",
        act=get_openapi,
        scope=None,
        touches_database=False,
        gives_example={"openapi": "3.1.1"},
    ),
    Operation(
        name="get_docs",
        method="GET",
        path="/docs",
        tag=TAG,
        summary="This document as a page",
        description="A page to read and try the operations; it loads nothing from elsewhere.",
        act=get_docs,
        scope=None,
        gives_media="text/html",
        touches_database=False,
        gives_example="<!doctype html>\n<title>burrline API</title>\n",
    ),
)
