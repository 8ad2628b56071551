"""Dated facts: merge patches in force from an instant on, folded in the order of their dates."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from datetime import datetime
from functools import cache
from typing import Any

from sqlalchemy import (
    CompoundSelect,
    Connection,
    Select,
    Table,
    and_,
    bindparam,
    insert,
    literal_column,
    select,
    union_all,
    update,
)

from ..core import nameplate

Dated = list[tuple[datetime, dict[str, Any]]]


def put(
    connection: Connection,
    table: Table,
    key: dict[str, int],
    *,
    effective_at: datetime,
    patch: dict[str, Any],
    **also: Any,
) -> None:
    """Record a patch; one for the same instant joins the earlier one (and fills ``also``)."""
    this = and_(
        *(table.c[name] == value for name, value in key.items()),
        table.c.effective_at == effective_at,
    )
    earlier = connection.execute(select(table.c.patch).where(this)).first()
    if earlier is None:
        connection.execute(
            insert(table).values(**key, effective_at=effective_at, patch=patch, **also)
        )
    else:
        given = {name: value for name, value in also.items() if value is not None}
        connection.execute(
            update(table)
            .where(this)
            .values(patch=nameplate.composed(earlier.patch, patch), **given)
        )


def folded(
    connection: Connection,
    table: Table,
    account_no: int,
    numbers: Collection[int],
    *,
    as_of: datetime,
) -> dict[int, dict[str, Any]]:
    """What holds at ``as_of`` for each of the numbered things."""
    patches: dict[int, list[dict[str, Any]]] = defaultdict(list)
    for number, patch in connection.execute(
        _patches(table), {"account_no": account_no, "numbers": sorted(numbers), "as_of": as_of}
    ):
        patches[number].append(patch)
    return {number: nameplate.folded(given) for number, given in patches.items()}


@cache
def _patches(table: Table) -> Select[Any]:
    number = table.primary_key.columns[1]
    return (
        select(number, table.c.patch)
        .where(
            table.c.account_no == bindparam("account_no"),
            number.in_(bindparam("numbers", expanding=True)),
            table.c.effective_at <= bindparam("as_of"),
        )
        .order_by(table.c.effective_at)
    )


def patches_of(
    connection: Connection,
    account_no: int,
    asked: Mapping[Table, Collection[int]],
    *,
    as_of: datetime,
) -> list[dict[int, Dated]]:
    """The patches of things of several kinds up to an instant, for each kind and each thing."""
    found: list[dict[int, Dated]] = [defaultdict(list) for _ in asked]
    given: dict[str, Any] = {"account_no": account_no, "as_of": as_of}
    for kind, numbers in enumerate(asked.values()):
        given[f"numbers_{kind}"] = sorted(numbers)
    for kind, number, effective_at, patch in connection.execute(_dated(tuple(asked)), given):
        found[kind][number].append((effective_at, patch))
    return found


@cache
def _dated(tables: tuple[Table, ...]) -> CompoundSelect[Any]:
    parts = [
        select(
            literal_column(str(kind)).label("kind"),
            number.label("number"),
            table.c.effective_at,
            table.c.patch,
        ).where(
            table.c.account_no == bindparam("account_no"),
            number.in_(bindparam(f"numbers_{kind}", expanding=True)),
            table.c.effective_at <= bindparam("as_of"),
        )
        for kind, (table, number) in enumerate(
            (table, table.primary_key.columns[1]) for table in tables
        )
    ]
    return union_all(*parts).order_by("effective_at")


def states(
    dated: Iterable[tuple[datetime, dict[str, Any]]], *, since: datetime
) -> list[tuple[datetime, dict[str, Any]]]:
    """What holds at ``since``, and after each later change, each with the instant it begins."""
    state: dict[str, Any] = {}
    states = [(since, state)]
    for effective_at, patch in dated:
        state = nameplate.merged(state, patch)
        if effective_at <= since:
            states[0] = (since, state)
        else:
            states.append((effective_at, state))
    return states


def states_from(
    connection: Connection, table: Table, key: dict[str, int], *, since: datetime
) -> list[tuple[datetime, dict[str, Any]]]:
    """What holds at ``since`` and later, from all that is known of one thing."""
    dated = connection.execute(
        select(table.c.effective_at, table.c.patch)
        .where(*(table.c[name] == value for name, value in key.items()))
        .order_by(table.c.effective_at)
    )
    return states(((row.effective_at, row.patch) for row in dated), since=since)
