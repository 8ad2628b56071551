"""Reading JSON strictly: I-JSON (RFC 7493) and nothing that two readers could read differently.

Refused beyond plain syntax (RFC 8259): duplicate member names, ``NaN`` and ``Infinity``, numbers
too large for a double, integers beyond +-(2^53 - 1), more than 32 levels of nesting, lone
surrogates, U+0000, a byte-order mark, bytes that are not UTF-8, anything after the value.
``-0.0`` is read as ``0.0``.
"""

from __future__ import annotations

import json
import re
from typing import Any

from .refusals import NotJson

LARGEST_INTEGER = 2**53 - 1
DEEPEST_LEVEL = 32
_LONGEST_INTEGER_TEXT = len(str(-LARGEST_INTEGER))
_UNSTORABLE = re.compile("[\x00\ud800-\udfff]")


def parse(body: bytes) -> Any:
    """The value of one strict JSON text; raises ``NotJson`` with the reason."""
    if body.startswith((b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")):
        raise NotJson("it begins with a byte-order mark")
    try:
        text = body.decode("utf-8")
    except UnicodeDecodeError as error:
        raise NotJson(f"byte {error.start} is not UTF-8") from None
    if not text.strip(" \t\r\n"):
        raise NotJson("it is empty")
    _check_depth(body)  # first: a deep text can exhaust the decoder's stack
    try:
        value = _DECODER.decode(text)
    except json.JSONDecodeError as error:
        raise NotJson(f"{error.msg} at line {error.lineno}, column {error.colno}") from None
    # Only an escape can make a surrogate or U+0000: the raw ones are no UTF-8, no JSON.
    if "\\u" in text:
        _check_texts_within(value)
    return value


_NOT_BRACKETS = bytes(set(range(256)) - set(b"[]{}"))
_STRING = re.compile(rb'"[^"\\]*(?:\\.[^"\\]*)*"?', re.DOTALL)


def _check_depth(body: bytes) -> None:
    """Refuse what nests too deep, without recursion and before anything is decoded.

    Matching pairs vanish level by level from the brackets alone, in a few fast passes. What is
    left after as many passes as there may be levels is too deep, broken, or has brackets within
    strings: that is counted one by one.
    """
    brackets = body.translate(None, _NOT_BRACKETS)
    for _ in range(DEEPEST_LEVEL):
        if not brackets:
            return
        before = len(brackets)
        brackets = brackets.replace(b"{}", b"").replace(b"[]", b"")
        if len(brackets) == before:
            break
    depth = 0
    for bracket in _STRING.sub(b"", body).translate(None, _NOT_BRACKETS):
        depth += 1 if bracket in b"[{" else -1
        if depth > DEEPEST_LEVEL:
            raise NotJson(f"it nests deeper than {DEEPEST_LEVEL} levels")


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    value = dict(pairs)
    if len(value) != len(pairs):
        raise NotJson("an object names the same member twice")
    return value


def _integer(text: str) -> int:
    if len(text) <= _LONGEST_INTEGER_TEXT:
        value = int(text)
        if -LARGEST_INTEGER <= value <= LARGEST_INTEGER:
            return value
    raise NotJson("an integer lies beyond +-(2^53 - 1)")


def _number(text: str) -> float:
    value = float(text)
    if value - value != 0.0:
        raise NotJson("a number is too large")
    return value + 0.0  # -0.0 + 0.0 is 0.0


def _constant(text: str) -> Any:
    raise NotJson(f"{text} is no JSON number")


_DECODER = json.JSONDecoder(
    object_pairs_hook=_object,
    parse_int=_integer,
    parse_float=_number,
    parse_constant=_constant,
)


def _check_texts_within(value: Any) -> None:
    """Refuse a text, however deep, that no store can hold."""
    if isinstance(value, str):
        if _UNSTORABLE.search(value):
            raise NotJson("a text holds U+0000 or a lone surrogate")
    elif isinstance(value, dict):
        for name, inner in value.items():
            _check_texts_within(name)
            _check_texts_within(inner)
    elif isinstance(value, list):
        for inner in value:
            _check_texts_within(inner)
