"""Memos of when the flow had steadied, for statuses: one for each grinder."""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

from sqlalchemy import Connection, exists, or_, select
from sqlalchemy.dialects.postgresql import insert as insert_postgresql
from sqlalchemy.dialects.sqlite import insert as insert_sqlite

from .many import Many
from .stream_tables import stream_fold, stream_told
from .tables import grinder_hour


class Told(NamedTuple):
    """What was found of a grinder: for whom and what it holds is said at the table."""

    grinder_no: int
    open_hour: int
    basis: str
    revision: int
    made_ms: int
    steadied_ms: int | None


def of_grinders(
    connection: Connection, account_no: int, grinder_nos: Collection[int]
) -> dict[int, Told]:
    """The memos of these grinders that there are, whether they hold or not."""
    rows = _TOLD.rows(connection, [(number,) for number in grinder_nos], account_no=account_no)
    return {row[0]: Told(*row) for row in rows}


def is_touched(
    connection: Connection, account_no: int, grinder_no: int, *, after_revision: int, to_hour: int
) -> bool:
    """Whether hours before ``to_hour`` were touched by changes after a revision."""
    found: bool = connection.execute(
        select(
            exists().where(
                grinder_hour.c.account_no == account_no,
                grinder_hour.c.grinder_no == grinder_no,
                grinder_hour.c.hour < to_hour,
                grinder_hour.c.touched_revision > after_revision,
            )
        )
    ).scalar_one()
    return bool(found)


def due(connection: Connection, account_no: int, *, open_hour: int, limit: int) -> list[int]:
    """Grinders with cells whose memo is missing or of before an hour."""
    wanted = (
        select(stream_fold.c.grinder_no)
        .join(
            stream_told,
            (stream_told.c.account_no == stream_fold.c.account_no)
            & (stream_told.c.grinder_no == stream_fold.c.grinder_no),
            isouter=True,
        )
        .where(
            stream_fold.c.account_no == account_no,
            or_(stream_told.c.open_hour.is_(None), stream_told.c.open_hour < open_hour),
        )
        .order_by(stream_told.c.open_hour, stream_fold.c.grinder_no)
        .limit(limit)
    )
    return list(connection.execute(wanted).scalars())


def put(connection: Connection, account_no: int, told: Told) -> None:
    """Keep what was found."""
    insert = insert_postgresql if connection.dialect.name == "postgresql" else insert_sqlite
    values = told._asdict()
    connection.execute(
        insert(stream_told)
        .values(account_no=account_no, **values)
        .on_conflict_do_update(
            index_elements=["account_no", "grinder_no"],
            set_={name: value for name, value in values.items() if name != "grinder_no"},
        )
    )


_TOLD = Many(
    "SELECT told.grinder_no, told.open_hour, told.basis, told.revision, told.made_ms,"
    " told.steadied_ms FROM {asked} JOIN stream_told AS told"
    " ON told.account_no = :account_no AND told.grinder_no = asked.grinder_no",
    asked=("grinder_no",),
)
