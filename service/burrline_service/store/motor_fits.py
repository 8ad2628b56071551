"""Memos of motors' fits: what was worked out once, for as long as nothing it knows has changed."""

from __future__ import annotations

from sqlalchemy import Connection, bindparam, delete, func, select
from sqlalchemy.dialects.postgresql import insert as insert_postgresql
from sqlalchemy.dialects.sqlite import insert as insert_sqlite

from .motor_tables import motor_fit
from .tables import grinder_state

MOST_COUNT = 400
"""Memos kept for one grinder; beyond it the oldest go."""


def kept(
    connection: Connection, account_no: int, grinder_no: int, *, fitted_ms: int, from_ms: int
) -> str | None:
    """The fit of the window (from, fitted], None when there is none that still holds."""
    found: str | None = connection.execute(
        _KEPT,
        {
            "account_no": account_no,
            "grinder_no": grinder_no,
            "fitted_ms": fitted_ms,
            "from_ms": from_ms,
        },
    ).scalar_one_or_none()
    return found


def put(
    connection: Connection,
    account_no: int,
    grinder_no: int,
    *,
    fitted_ms: int,
    from_ms: int,
    revision: int,
    fit: str,
) -> None:
    """Keep a fit that was worked out at a revision; one of a later revision stays.

    Memos that changes have outdated go.
    """
    mine = (motor_fit.c.account_no == account_no, motor_fit.c.grinder_no == grinder_no)
    early_revision = (
        select(grinder_state.c.early_revision)
        .where(grinder_state.c.account_no == account_no, grinder_state.c.grinder_no == grinder_no)
        .scalar_subquery()
    )
    connection.execute(delete(motor_fit).where(*mine, motor_fit.c.revision < early_revision))
    insert = insert_postgresql if connection.dialect.name == "postgresql" else insert_sqlite
    values = {"from_ms": from_ms, "revision": revision, "fit": fit}
    connection.execute(
        insert(motor_fit)
        .values(account_no=account_no, grinder_no=grinder_no, fitted_ms=fitted_ms, **values)
        .on_conflict_do_update(
            index_elements=["account_no", "grinder_no", "fitted_ms"],
            set_=values,
            where=motor_fit.c.revision <= revision,
        )
    )
    count = connection.execute(select(func.count()).where(*mine)).scalar_one()
    if count > MOST_COUNT:
        oldest = (
            select(motor_fit.c.fitted_ms)
            .where(*mine)
            .order_by(motor_fit.c.fitted_ms)
            .limit(count - MOST_COUNT)
        )
        connection.execute(delete(motor_fit).where(*mine, motor_fit.c.fitted_ms.in_(oldest)))


_KEPT = (
    select(motor_fit.c.fit)
    .join(
        grinder_state,
        (grinder_state.c.account_no == motor_fit.c.account_no)
        & (grinder_state.c.grinder_no == motor_fit.c.grinder_no),
    )
    .where(
        motor_fit.c.account_no == bindparam("account_no"),
        motor_fit.c.grinder_no == bindparam("grinder_no"),
        motor_fit.c.fitted_ms == bindparam("fitted_ms"),
        motor_fit.c.from_ms == bindparam("from_ms"),
        grinder_state.c.early_revision <= motor_fit.c.revision,
    )
)
