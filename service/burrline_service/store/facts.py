"""Dated facts: merge patches in force from an instant on, folded in the order of their dates."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from datetime import datetime
from functools import cache
from typing import Any

from sqlalchemy import Connection, Select, Table, and_, bindparam, insert, select, update

from ..core import nameplate


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


def states_from(
    connection: Connection, table: Table, key: dict[str, int], *, since: datetime
) -> list[tuple[datetime, dict[str, Any]]]:
    """What holds at ``since``, and after each later change, each with the instant it begins."""
    state: dict[str, Any] = {}
    states = [(since, state)]
    for effective_at, patch in connection.execute(
        select(table.c.effective_at, table.c.patch)
        .where(*(table.c[name] == value for name, value in key.items()))
        .order_by(table.c.effective_at)
    ):
        state = nameplate.merged(state, patch)
        if effective_at <= since:
            states[0] = (since, state)
        else:
            states.append((effective_at, state))
    return states
