"""Columns as PostgreSQL arrays written out: many rows as a few parameters of one statement.

Written here rather than by the driver, which looks at every element by itself.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Sequence
from functools import cache
from typing import Any

from sqlalchemy import BigInteger, Integer, LargeBinary, SmallInteger, Table, Text

_TYPES: dict[type[Any], str] = {
    LargeBinary: "bytea",
    Text: "text",
    Integer: "int4",
    BigInteger: "int8",
    SmallInteger: "int2",
}


@cache
def unnested(table: Table, names: tuple[str, ...]) -> str:
    """``unnest(...)`` of one array parameter for each of the table's columns."""
    arrays = (f"%s::{_TYPES[type(table.c[name].type)]}[]" for name in names)
    return f"unnest({', '.join(arrays)})"


def written(table: Table, names: Iterable[str], columns: Iterable[Sequence[Any]]) -> list[Any]:
    """The parameters for ``unnested``; short ones as text, which takes less to prepare."""
    parameters = []
    for name, column in zip(names, columns, strict=True):
        kind = _TYPES[type(table.c[name].type)]
        parameters.append(
            _AS_TEXT[kind](column) if len(column) < PACKED_FROM else packed(kind, column)
        )
    return parameters


def integers(column: Iterable[int | None]) -> str:
    """
    >>> integers([1, None, -3])
    '{1, NULL, -3}'
    """
    return "{" + str(list(column))[1:-1].replace("None", "NULL") + "}"


def bytes_of(column: Iterable[bytes]) -> str:
    r"""
    >>> print(bytes_of([b"\x01\xff", b""]))
    {"\\x01ff","\\x"}
    """
    return "{" + ",".join(f'"\\\\x{value.hex()}"' for value in column) + "}"


def texts(column: Iterable[str | None]) -> str:
    r"""
    >>> print(texts(["bar-1", None, "NULL", 'a "b", \\ {c}']))
    {"bar-1",NULL,"NULL","a \"b\", \\ {c}"}
    """
    return "{" + ",".join(map(_quoted, column)) + "}"


def _quoted(text: str | None) -> str:
    if text is None:
        return "NULL"
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


_AS_TEXT: dict[str, Any] = {
    "bytea": bytes_of,
    "text": texts,
    "int4": integers,
    "int8": integers,
    "int2": integers,
}


class Packed:
    """An array in PostgreSQL's binary form; what of, the statement says."""

    __slots__ = ("buffer",)

    def __init__(self, buffer: bytes) -> None:
        self.buffer = buffer


def packed(kind: str, column: Sequence[Any]) -> Packed:
    """A column as ``array_recv`` reads it: one head, then each element behind its length.

    The form is that of PostgreSQL's own ``src/backend/utils/adt/arrayfuncs.c``: number of
    dimensions, whether there are NULLs, the element's type; count and lower bound; then the
    elements, NULL as length -1 with nothing behind it.
    """
    type_number, size_bytes = _NUMBERS[kind]
    has_null = None in column
    head = struct.pack(">iiiii", 1, has_null, type_number, len(column), 1)
    if size_bytes:
        return Packed(head + _packed_integers(column, size_bytes, has_null=has_null))
    octets = column
    if kind == "text":
        octets = [None if value is None else value.encode() for value in column]
    if has_null:
        pieces = [_NULL if value is None else _with_length(value) for value in octets]
    else:
        pieces = list(map(_with_length, octets))
    return Packed(head + b"".join(pieces))


def _with_length(value: bytes) -> bytes:
    return len(value).to_bytes(4, "big") + value


def _packed_integers(column: Sequence[int | None], size_bytes: int, *, has_null: bool) -> bytes:
    there = [value is not None for value in column] if has_null else None
    import numpy as np  # loaded when first there are many rows: it takes longer than all else

    elements = np.empty(len(column), dtype=[("length", ">i4"), ("value", f">i{size_bytes}")])
    elements["length"] = size_bytes
    if there is None:
        elements["value"] = column
        return elements.tobytes()
    elements["value"] = [value or 0 for value in column]
    elements["length"][np.logical_not(there)] = -1
    octets = elements.view(np.uint8).reshape(len(column), -1)
    kept = np.ones(octets.shape, dtype=bool)
    kept[:, 4:] = np.array(there)[:, np.newaxis]
    return octets[kept].tobytes()


PACKED_FROM = 16
_NULL = (-1).to_bytes(4, "big", signed=True)
_NUMBERS = {"bytea": (17, 0), "text": (25, 0), "int4": (23, 4), "int8": (20, 8), "int2": (21, 2)}
"""Type numbers of ``pg_type.dat``, and the size of what has one."""
