"""Asking about many things in one statement: rows of numbers as a table to join with."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import ColumnElement, Connection, text

from . import arrays


class Many:
    """A statement joined with rows of integers that are given when it is asked.

    ``sql`` (one for both databases, or see ``for_each``) names them as ``{asked}``, or as
    ``{name}`` for each of several.
    """

    def __init__(
        self,
        sql: str | Mapping[str, str],
        columns: Sequence[ColumnElement[Any]] = (),
        **asked: Sequence[str],
    ) -> None:
        self._asked = asked
        self._statements = {
            dialect: text(
                (sql if isinstance(sql, str) else sql[dialect]).format(
                    **{name: write(name, asked[name]) for name in asked}
                )
            )
            for dialect, write in (("postgresql", _arrays), ("sqlite", _json))
        }
        self._typed = {
            dialect: statement.columns(*columns) if columns else statement
            for dialect, statement in self._statements.items()
        }

    def rows(
        self, connection: Connection, *asked: Sequence[Sequence[int]], **also: int
    ) -> Sequence[Any]:
        """What is found for the rows asked, one list of them for each name."""
        dialect = connection.dialect.name
        given: dict[str, Any] = dict(also)
        for (name, columns), rows in zip(self._asked.items(), asked, strict=True):
            if dialect == "postgresql":
                for place in range(len(columns)):
                    given[f"{name}_{place}"] = arrays.integers(row[place] for row in rows)
            else:
                given[name] = json.dumps(rows)
        return connection.execute(self._typed[dialect], given).all()


def for_each(
    table: str, columns: str, where: str, *, asked: str = "asked", group_by: str = ""
) -> dict[str, str]:
    """What a table holds for each of the rows asked, found through an index for one after another.

    A plain join would leave PostgreSQL to guess how much lies between bounds it does not know yet:
    it guesses a third, and reads the whole table.
    """
    grouped = f" GROUP BY {group_by}" if group_by else ""
    by_row = f" GROUP BY {asked}.number, {group_by}" if group_by else ""
    return {
        "postgresql": f"SELECT found.* FROM {{{asked}}} CROSS JOIN LATERAL"
        f" (SELECT {columns} FROM {table} WHERE {where}{grouped} OFFSET 0) AS found",
        "sqlite": f"SELECT {columns} FROM {{{asked}}} CROSS JOIN {table} WHERE {where}{by_row}",
    }


def _arrays(name: str, columns: Sequence[str]) -> str:
    given = ", ".join(f"CAST(:{name}_{place} AS int8[])" for place in range(len(columns)))
    return f"unnest({given}) AS {name} ({', '.join(columns)})"


def _json(name: str, columns: Sequence[str]) -> str:
    picked = (f"json_extract(value, '$[{place}]') AS {c}" for place, c in enumerate(columns))
    return f"(SELECT {', '.join(picked)} FROM json_each(:{name})) AS {name}"
