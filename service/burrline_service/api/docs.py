"""The page at /docs: our own few lines around a viewer's files, served from here alone.

The viewer's script and style come from the wheel ``flask-swagger-ui`` as installed; nothing is
loaded from another host, and the page's policy would not let it.
"""

from __future__ import annotations

import hashlib
from functools import cache
from importlib.util import find_spec
from pathlib import Path

from flask import Flask, Response, request

from ..core.errors import NotFound
from .operation import Operation
from .reading import matches_none

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; "
    "img-src 'self' data:; connect-src 'self'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)
ASSET_ENDPOINT = "docs_asset"
_ASSETS = {
    "swagger-ui-bundle.js": "text/javascript; charset=utf-8",
    "swagger-ui.css": "text/css; charset=utf-8",
}
_PAGE = b"""<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>burrline API</title>
<link rel="icon" href="data:,">
<link rel="stylesheet" href="docs/swagger-ui.css">
</head>
<body>
<div id="operations"></div>
<script src="docs/swagger-ui-bundle.js"></script>
<script src="docs/start.js"></script>
</body>
</html>
"""
_START = b"""SwaggerUIBundle({
  url: "openapi.json",
  dom_id: "#operations",
  validatorUrl: null,
  deepLinking: true,
  persistAuthorization: false,
});
"""


def install(app: Flask, operations: tuple[Operation, ...]) -> None:
    """Add the rule for the page's own files, if the page itself is served."""
    if any(operation.name == "get_docs" for operation in operations):
        app.add_url_rule("/docs/<name>", ASSET_ENDPOINT, asset, methods=["GET"])


def page() -> Response:
    """The page itself."""
    return cacheable(_PAGE, "text/html; charset=utf-8")


def asset(name: str) -> Response:
    """One of the page's files; anything else is absent."""
    if name == "start.js":
        return cacheable(_START, "text/javascript; charset=utf-8")
    if name not in _ASSETS:
        raise NotFound("file", name)
    return cacheable(_file(name), _ASSETS[name])


def cacheable(body: bytes, content_type: str) -> Response:
    """An answer without anybody's facts in it: kept by caches, asked about each time."""
    tag = f'"{_digest(body)}"'
    headers = {"ETag": tag, "Cache-Control": "no-cache", "Content-Security-Policy": POLICY}
    if matches_none(request, tag):
        return Response(status=304, headers=headers)
    return Response(body, headers=headers, content_type=content_type)


@cache
def _file(name: str) -> bytes:
    spec = find_spec("flask_swagger_ui")
    if spec is None or spec.origin is None:
        raise RuntimeError("the wheel flask-swagger-ui is not installed")
    return (Path(spec.origin).parent / "dist" / name).read_bytes()


@cache
def _digest(body: bytes) -> str:
    return hashlib.sha256(body).hexdigest()[:32]
