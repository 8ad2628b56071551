"""The JSON reader takes exactly I-JSON (RFC 8259, RFC 7493), within 32 levels."""

from __future__ import annotations

import contextlib
import json
import math
import sys
import threading
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline_service.api.refusals import NotJson
from burrline_service.api.strict_json import DEEPEST_LEVEL, LARGEST_INTEGER, parse

TEXTS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=8)
SCALARS = (
    st.none()
    | st.booleans()
    | st.integers(-LARGEST_INTEGER, LARGEST_INTEGER)
    | st.floats(allow_nan=False, allow_infinity=False)
    | TEXTS
)
VALUES = st.recursive(
    SCALARS, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXTS, inner, max_size=4)
)


@given(VALUES, st.booleans(), st.sampled_from([None, 2]))
def test_what_json_writes_is_read_as_the_standard_library_reads_it(
    value: Any, is_escaped: bool, indent: int | None
) -> None:
    body = json.dumps(value, ensure_ascii=is_escaped, indent=indent).encode()
    found = parse(body)
    assert found == json.loads(body)
    assert json.dumps(found).replace("-0.0", "0.0") == json.dumps(value).replace("-0.0", "0.0")


@pytest.mark.parametrize(
    ("body", "value"),
    [
        (b"0", 0),
        (b"-0", 0),
        (b"1E2", 100.0),
        (b"1e-400", 0.0),
        (b"9007199254740991", 2**53 - 1),
        (b"-9007199254740991", -(2**53) + 1),
        (b"9007199254740993.0", 9007199254740992.0),
        (b' \t\r\n{"a" : [ ] }\n', {"a": []}),
        (rb'"\ud83d\ude00"', "\U0001f600"),
        (rb'"\\u0000"', "\\u0000"),
        (b'"\xe2\x80\xa8"', "\u2028"),
    ],
)
def test_these_are_json(body: bytes, value: Any) -> None:
    found = parse(body)
    assert (found, type(found)) == (value, type(value))


@pytest.mark.parametrize("body", [b"-0.0", b"-0e5", b"[-0.0]", b"-1e-999"])
def test_minus_zero_is_zero(body: bytes) -> None:
    found = parse(body)
    assert math.copysign(1.0, found[0] if isinstance(found, list) else found) == 1.0


# RFC 8259: 2 grammar, 6 numbers (no NaN, no leading zero), 7 strings, 8.1 UTF-8 without BOM.
# RFC 7493: 2.1 no surrogates, 2.2 integers within +-(2^53 - 1), 2.3 no member twice.
REFUSED = [
    b"",
    b"  \n",
    b"{",
    b'{"a":1,}',
    b"[1,]",
    b"{'a':1}",
    b'{"a":1}x',
    b'{"a":1}{"a":1}',
    b"1 2",
    b"01",
    b"+1",
    b".5",
    b"5.",
    b"0x10",
    b"1_0",
    b"True",
    b"NaN",
    b"[Infinity]",
    b"-Infinity",
    b"1e400",
    b"-1e400",
    b"9007199254740992",
    b"-9007199254740992",
    b"9" * 5000,
    b"-" + b"9" * 5000,
    b'{"a":1,"a":1}',
    b'[{"b":{"a":1,"\\u0061":2}}]',
    b'"\x00"',
    b'"\t"',
    rb'"\u0000"',
    rb'{"\u0000":1}',
    rb'"\ud800"',
    rb'["x","\udc00\ud800"]',
    rb'{"\ud800":1}',
    rb'"\x41"',
    b"\xef\xbb\xbf{}",
    b"\xff\xfe{\x00}\x00",
    b"\x00{\x00}",
    b'"\xff"',
    b'"\xed\xa0\x80"',  # a surrogate written as if it were UTF-8
    b'"\xc0\xaf"',  # overlong
    b"// no\n1",
    b"\xa0 1",
    "\u0661".encode(),
]


@pytest.mark.parametrize("body", REFUSED, ids=lambda body: repr(body[:24]))
def test_these_are_refused(body: bytes) -> None:
    with pytest.raises(NotJson):
        parse(body)


@pytest.mark.parametrize(("opening", "closing"), [(b"[", b"]"), (b'{"a":', b"}")])
def test_nesting_goes_so_deep_and_no_deeper(opening: bytes, closing: bytes) -> None:
    parse(opening * DEEPEST_LEVEL + b"1" + closing * DEEPEST_LEVEL)
    for depth in (DEEPEST_LEVEL + 1, 500, 20_000, 300_000):
        with pytest.raises(NotJson, match="32 levels"):
            parse(opening * depth + b"1" + closing * depth)


def test_depth_is_not_hidden_by_brackets_in_texts_nor_breadth_taken_for_depth() -> None:
    assert parse(b'["' + b"[" * 1000 + b'"]') == ["[" * 1000]
    parse(b"[" + b"[]," * 1000 + b"[]]")
    with pytest.raises(NotJson, match="32 levels"):
        parse(b'["]]]]]]]]]]]",' * 40 + b"1" + b"]" * 40)


def test_deep_nesting_is_refused_on_a_small_stack_too() -> None:
    found: list[BaseException] = []

    def read() -> None:
        try:
            parse(b"[" * 200_000)
        except NotJson as refusal:
            found.append(refusal)

    before = threading.stack_size(256 * 1024)
    try:
        thread = threading.Thread(target=read)
        thread.start()
        thread.join()
    finally:
        threading.stack_size(before)
    assert len(found) == 1
    assert sys.getrecursionlimit() >= 1000


@given(st.binary(max_size=60))
def test_any_bytes_are_read_or_refused(body: bytes) -> None:
    with contextlib.suppress(NotJson):
        json.dumps(parse(body), ensure_ascii=False, allow_nan=False).encode()
