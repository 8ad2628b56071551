"""Merge patches by the book.

Source: RFC 7396 (JSON Merge Patch, October 2014), Appendix A, all fifteen example test cases in
the order of its table. Our function merges objects alone, so a case whose patch or target is none
is put into both as a member: section 2 treats members as it treats the whole, but that a null
takes the member away.
"""

from __future__ import annotations

import copy
from typing import Any

import pytest

from burrline_service.core.nameplate import merged

GONE: Any = object()
APPENDIX_A: list[tuple[Any, Any, Any]] = [
    ({"a": "b"}, {"a": "c"}, {"a": "c"}),
    ({"a": "b"}, {"b": "c"}, {"a": "b", "b": "c"}),
    ({"a": "b"}, {"a": None}, {}),
    ({"a": "b", "b": "c"}, {"a": None}, {"b": "c"}),
    ({"a": ["b"]}, {"a": "c"}, {"a": "c"}),
    ({"a": "c"}, {"a": ["b"]}, {"a": ["b"]}),
    ({"a": {"b": "c"}}, {"a": {"b": "d", "c": None}}, {"a": {"b": "d"}}),
    ({"a": [{"b": "c"}]}, {"a": [1]}, {"a": [1]}),
    (["a", "b"], ["c", "d"], ["c", "d"]),
    ({"a": "b"}, ["c"], ["c"]),
    ({"a": "foo"}, None, GONE),
    ({"a": "foo"}, "bar", "bar"),
    ({"e": None}, {"a": 1}, {"e": None, "a": 1}),
    ([1, 2], {"a": "b", "c": None}, {"a": "b"}),
    ({}, {"a": {"bb": {"ccc": None}}}, {"a": {"bb": {}}}),
]


@pytest.mark.parametrize(("target", "patch", "result"), APPENDIX_A)
def test_appendix_a_holds_within_an_object(target: Any, patch: Any, result: Any) -> None:
    expected = {} if result is GONE else {"member": result}
    assert merged({"member": target}, {"member": patch}) == expected


@pytest.mark.parametrize(
    ("target", "patch", "result"),
    [case for case in APPENDIX_A if isinstance(case[0], dict) and isinstance(case[1], dict)],
)
def test_appendix_a_holds_for_whole_objects(target: Any, patch: Any, result: Any) -> None:
    before = copy.deepcopy((target, patch))
    assert merged(target, patch) == result
    assert (target, patch) == before
