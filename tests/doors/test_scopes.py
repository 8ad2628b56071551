"""Every operation with every scope: the right one opens the door, every other leaves it shut.

The risk is API5 broken function level authorization of the OWASP API Security Top 10 (2023); the
challenge is that of RFC 6750, section 3.1.
"""

from __future__ import annotations

import re

import pytest

from burrline_service.api.operation import Operation
from burrline_service.core.records import SCOPES
from doors.scene import OWN, Scene
from doors.valid_requests import BY_NAME, OPERATIONS, WITH_KEY
from every_case import try_each

OPEN = frozenset({"get_livez", "get_readyz", "get_openapi", "get_docs"})
# Rules of the app that are no operations: the page for people, and files it or /docs load.
BESIDE_OPERATIONS = frozenset({"/", "/static/<filename>", "/docs/<name>"})


def test_no_operation_is_open_but_the_few_that_hold_nobodys_facts() -> None:
    assert {operation.name for operation in OPERATIONS if operation.is_open} == OPEN
    assert {operation.scope for operation in WITH_KEY} <= set(SCOPES)


def test_every_rule_of_the_app_is_an_operation_or_a_known_page(scene: Scene) -> None:
    rules = {
        (re.sub(r"<(?:[^<>]*:)?([a-z_]+)>", r"<\1>", rule.rule), method)
        for rule in scene.app.url_map.iter_rules()
        for method in (rule.methods or set()) - {"HEAD", "OPTIONS"}
    }
    described = {(operation.path, operation.method) for operation in OPERATIONS}
    assert described <= rules
    assert {path for path, _ in rules - described} == BESIDE_OPERATIONS
    assert {method for _, method in rules - described} == {"GET"}


def key_with(scene: Scene, *scopes: str) -> str:
    """One key of these scopes serves the whole matrix."""
    return scene.once(" ".join(scopes), lambda scene: scene.make_key(scopes=[*scopes]))


@pytest.mark.parametrize("operation", WITH_KEY, ids=lambda operation: operation.name)
def test_a_scope_opens_its_own_operations_alone(scene: Scene, operation: Operation) -> None:
    def check(scope: str) -> None:
        key = key_with(scene, scope)
        before = scene.marks()
        answer = scene.send(key, operation, scene.ids(OWN, key="account"))
        if scope == operation.scope:
            assert answer.status_code == operation.status, answer.text
            return
        assert answer.status_code == 403
        assert answer.get_json()["type"] == "urn:burrline:problem:scope-missing"
        assert answer.headers["WWW-Authenticate"] == (
            f'Bearer realm="burrline", error="insufficient_scope", scope="{operation.scope}"'
        )
        assert scene.marks() == before

    try_each(SCOPES, check)


@pytest.mark.parametrize("operation", WITH_KEY, ids=lambda operation: operation.name)
def test_all_scopes_but_the_right_one_do_not_open(scene: Scene, operation: Operation) -> None:
    key = key_with(scene, *(scope for scope in SCOPES if scope != operation.scope))
    before = scene.marks()
    assert scene.send(key, operation, scene.ids(OWN, key="account")).status_code == 403
    assert scene.marks() == before


@pytest.mark.parametrize("scope", [scope for scope in SCOPES if scope != "keys"])
def test_a_key_gives_no_scope_it_lacks(scene: Scene, scope: str) -> None:
    key = scene.make_key(scopes=["keys"])
    before = scene.rows()
    body = {"name": "more", "scopes": ["keys", scope]}
    answer = scene.send(key, BY_NAME["create_key"], OWN, body=body)
    assert answer.status_code == 403
    assert f'scope="{scope}"' in answer.headers["WWW-Authenticate"]
    assert scene.rows() == before


def test_a_key_made_without_scopes_gets_its_makers_and_no_more(scene: Scene) -> None:
    key = scene.make_key(scopes=["read", "keys"])
    made = scene.send(key, BY_NAME["create_key"], OWN, body={"name": "the same"}).get_json()
    assert made["scopes"] == ["read", "keys"]


def test_the_page_needs_the_scope_read(scene: Scene) -> None:
    for scope in SCOPES:
        answer = scene.client(None).get("/", auth=("anyone", scene.make_key(scopes=[scope])))
        assert answer.status_code == (200 if scope == "read" else 401)
        if scope != "read":
            assert "own-bar" not in answer.text
