"""Columns as PostgreSQL arrays written out: many rows as a few parameters of one statement.

Written here rather than by the driver, which looks at every element by itself.
"""

from __future__ import annotations

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
    """The parameters for ``unnested``."""
    return [
        _WRITERS[type(table.c[name].type)](column)
        for name, column in zip(names, columns, strict=True)
    ]


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


_WRITERS: dict[type[Any], Any] = {
    LargeBinary: bytes_of,
    Text: texts,
    Integer: integers,
    BigInteger: integers,
    SmallInteger: integers,
}
